"""Physics of one air handler in arrays of conditions: loads, terminals, fan, air side, plant.

Every function takes rows of conditions (hours or bins) along the first axis and knows
nothing of files, clocks or global state.
"""
