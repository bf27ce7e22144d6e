"""The first call of an equation compiles it, which no deadline of a property test foresees."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("compiled", deadline=None)
settings.load_profile("compiled")
