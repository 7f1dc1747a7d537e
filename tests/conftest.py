"""What all tests share."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("chirr", deadline=None, derandomize=True)
settings.load_profile("chirr")
