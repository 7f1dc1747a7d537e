"""Answers of the desk as plain JSON: bands as lists of their quantiles, times as ISO with the farm's offset."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import msgspec

from chirr.desk import clock
from chirr.desk.belief import Foresight
from chirr.desk.remarks import odd_entries

LAST_S = 250_000_000_000
"""Times beyond this have no date; they are given as null."""


def plain_json(value: Any, *, times: Collection[str] = ()) -> Any:
    """Plain data with its bands unwrapped, to five digits; what stands under a key of `times` becomes ISO times."""
    if isinstance(value, dict):
        if set(value) == {"q"}:
            return [float(f"{v:.5g}") for v in value["q"]]
        return {k: _times(v) if k in times else plain_json(v, times=times) for k, v in value.items()}
    return [plain_json(v, times=times) for v in value] if isinstance(value, list | tuple) else value


def without(answer: msgspec.Struct, *keys: str) -> dict[str, Any]:
    """An answer as plain data, but for some of its keys: pictures are for pages."""
    return {k: msgspec.to_builtins(v) for k, v in msgspec.structs.asdict(answer).items() if k not in keys}


def left_out_json(f: Foresight) -> list[dict[str, str]]:
    """Entries that are left out of what is believed, or count for little in it, each with why."""
    return [{"entry": entry, "why": why} for entry, why in odd_entries(f).items()]


def _times(value: Any) -> Any:
    if value is None:
        return None
    if isinstance(value, dict):
        return [_times(v) for v in value["q"]]
    return clock.local(value).isoformat(timespec="minutes") if 0 <= value < LAST_S else None
