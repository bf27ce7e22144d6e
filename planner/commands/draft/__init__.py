"""`planner draft`: a plan file guessed from a table, with the reason of every guess."""
