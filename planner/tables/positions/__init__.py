"""Positions: what a pair of cells can mean, and which reading the programme area allows."""
