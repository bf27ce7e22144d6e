"""Work on sites in chunks: cut by content, computed by threads or a cluster, kept, gathered into columns."""

from planner.chunks.loop import Loop, Task, Threads, default_workers
from planner.chunks.sites import engine_sites, to_assess
from planner.chunks.store import Store

__all__ = ["Loop", "Store", "Task", "Threads", "default_workers", "engine_sites", "to_assess"]
