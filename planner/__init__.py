"""Which boreholes of a district to equip with solar pumping, with what, in which order and at what cost."""

__version__ = "0.1.0"
