"""What really happened on the made-up farm, as plain dictionaries, to score beliefs and forecasts against."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np

from chirr.demo.animals import Clutch, mean_mass_mg
from chirr.demo.dairy import Dairy

SHARES = (0.01, 0.05, 0.25, 0.5, 0.75, 0.95)


def truth_of(dairy: Dairy) -> dict[str, Any]:
    """The hidden truth: `farm`, `clutches` and `lots`.

    A clutch has `eggs`, `pinheads` (that hatch, or will if it stays where it is), `hatched_at` (epoch seconds by which
    each of `shares` has hatched, empty if nothing does) and `lot`. A lot has, for each morning at six, `days` (ISO),
    `alive`, `mean_mg` and `kg`, and the `ended` day or None.
    """
    clutches = [*dairy.done_clutches, *(c for c in dairy.clutches.values() if c.pulled_h is not None)]
    return {
        "farm": {
            key: getattr(dairy.nature, key)
            for key in ("egg_speed", "nymph_speed", "hatch_share", "adult_mg", "to_day14")
        },
        "shares": list(SHARES),
        "clutches": {c.name: _clutch(dairy, c) for c in sorted(clutches, key=lambda c: c.name)},
        "lots": {lot.name: lot_truth for lot, lot_truth in _lots(dairy)},
    }


def _clutch(dairy: Dairy, clutch: Clutch) -> dict[str, Any]:
    hours = [clutch.hour_of(dairy.climate, share) for share in SHARES]
    times = [round(dairy.climate.start_s + h * 3600) for h in hours if h is not None]
    return {"eggs": clutch.eggs, "pinheads": len(clutch.due), "hatched_at": times, "lot": clutch.lot}


def _lots(dairy: Dairy) -> list[tuple[Any, dict[str, Any]]]:
    found = []
    for lot in sorted([*dairy.ended, *dairy.lots.values()], key=lambda x: x.name):
        past = np.asarray(lot.past, dtype=np.float64).reshape(-1, 3)
        mass = mean_mass_mg(past[:, 1], past[:, 2], dairy.nature)
        found.append((lot, {
            "days": [_iso(dairy, day) for day in lot.days],
            "alive": past[:, 0].astype(int).tolist(),
            "mean_mg": np.round(mass, 3).tolist(),
            "kg": np.round(past[:, 0] * mass * 1e-6, 4).tolist(),
            "ended": None if lot.ended_day is None else _iso(dairy, lot.ended_day),
        }))  # fmt: skip
    return found


def _iso(dairy: Dairy, day: int) -> str:
    return (dairy.first_day + timedelta(days=day)).isoformat()
