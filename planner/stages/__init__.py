"""Stages of a run on the whole table, after sizing and choice."""
