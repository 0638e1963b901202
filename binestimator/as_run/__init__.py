"""The year as controllers run it: reset loops, zone loops and rooms with mass, at time steps of minutes."""
