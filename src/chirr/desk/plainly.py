"""Answers of the desk as plain JSON: bands as lists of their quantiles, times as ISO with the farm's offset."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from chirr.desk import clock

LAST_S = 250_000_000_000
"""Times beyond this have no date; they are given as null."""


def plain_json(value: Any, *, times: Collection[str] = ()) -> Any:
    """Plain data with its bands unwrapped, to five digits; what stands under a key of `times` becomes ISO times."""
    if isinstance(value, dict):
        if set(value) == {"q"}:
            return [float(f"{v:.5g}") for v in value["q"]]
        return {k: _times(v) if k in times else plain_json(v, times=times) for k, v in value.items()}
    return [plain_json(v, times=times) for v in value] if isinstance(value, list | tuple) else value


def _times(value: Any) -> Any:
    if value is None:
        return None
    if isinstance(value, dict):
        return [_times(v) for v in value["q"]]
    return clock.local(value).isoformat(timespec="minutes") if 0 <= value < LAST_S else None
