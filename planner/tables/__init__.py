"""Steps over the whole table: each reads named columns and returns new ones; none imports another."""
