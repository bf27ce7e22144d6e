"""Commands with work of their own."""
