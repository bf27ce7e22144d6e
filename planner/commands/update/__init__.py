"""The way back of the field form: an updated copy of inventory and plan, a new run, and what it changed."""
