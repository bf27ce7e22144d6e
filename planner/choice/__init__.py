"""Choices over the whole table: decision, rank, and later the programme."""
