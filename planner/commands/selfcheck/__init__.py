"""`planner selfcheck`: whether this installation is whole and computes what it should."""
