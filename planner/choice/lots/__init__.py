"""Lots for tender: funded sites in groups that hang together around a base."""
