"""The door of `planner draft` to the readers of tables."""

from planner.tables.files.raw_table import RawTable, clip
from planner.tables.files.table_file import open_table

__all__ = ["RawTable", "clip", "open_table"]
