"""The first call of a kernel compiles it, which no deadline of a property test foresees."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("compiled", deadline=None, max_examples=25)
settings.load_profile("compiled")
