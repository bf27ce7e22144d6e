"""`planner why`: the calculation of one site, from what was read to the cost of a cubic metre."""
