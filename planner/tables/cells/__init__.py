"""Single cells of an inventory: numbers with units and bounds, dates, words."""
