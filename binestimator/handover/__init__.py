"""What a controls contractor and a reviewer need of one option: setpoints, points, sequence, tests, upkeep, "
"reversal."""
