"""Inventory files of every kind, read into text cells."""
