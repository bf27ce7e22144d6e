"""Draw and write only: nothing here computes a result."""
