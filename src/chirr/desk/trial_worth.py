"""What a new way is worth: minutes and output in money a week, with the chance that it pays; needs no farm."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from chirr.desk.trial_answers import Answer
from chirr.desk.trial_tables import TableFault
from chirr.engine.trials.worth import QUANTILES, Effect, Stakes, best_next, what_if, worth

SEED = 11
CHANGED = ("what", "value", "low", "middle", "high", "chance_it_pays")
Z90 = 1.6448536269514722


def effect(middle: float, low: float, high: float, *, log: bool) -> Effect:
    """An effect known by its middle and its 90 % interval."""
    if not -1e15 < low < middle < high < 1e15 or (log and low <= 0):
        raise TableFault("An interval must go from below its middle to above it" + (", above nought." if log else "."))
    if log:
        return Effect(value=math.log(middle), se=math.log(high / low) / (2 * Z90))
    return Effect(value=middle, se=(high - low) / (2 * Z90))


def decided(
    ratio: Effect | None,
    minutes: Effect | None,
    stakes: Stakes,
    *,
    cost_of_clutch: float | None = None,
    sd_of_clutch: float = 0.5,
) -> Answer:
    """Money and hours a week, the chance that the new way pays, how that changes, and whether to try further.

    sd_of_clutch: spread of single clutches on the log scale; cost_of_clutch: what counting one more costs, in money.
    """
    if ratio is None and minutes is None and stakes.material_saved_per_tray == 0:
        raise TableFault("Give what the new way changes: output, minutes, or material.")
    found = worth(ratio, minutes, stakes, rng=np.random.default_rng(SEED))
    grid: dict[str, Any] = {
        "wages": [x * stakes.wage_per_hour for x in (0.5, 1.5, 2.0)] if stakes.wage_per_hour else [],
        "worths": [x * stakes.worth_per_output for x in (0.0, 0.5, 2.0)] if stakes.worth_per_output else [],
        "trays": [x * stakes.trays_per_week for x in (0.5, 2.0, 4.0)],
    }
    rows = what_if(ratio, minutes, stakes, seed=SEED, **grid)
    out: Answer = {
        "quantiles": list(QUANTILES), "gain_per_week": found.gain_per_week.tolist(),
        "hours_saved_per_week": found.hours_per_week.tolist(), "chance_it_pays": found.chance_pays,
        "mean_gain_per_week": found.mean_per_week, "weeks": stakes.weeks, "worth_of_certainty": found.knowing_all,
        "what_if": [dict(zip(CHANGED, r, strict=True)) for r in rows],
        "picture": _picture(found.gains),
    }  # fmt: skip
    if cost_of_clutch is not None and ratio is not None and stakes.worth_per_output > 0:
        per_log = stakes.trays_per_week * stakes.output_per_tray * stakes.worth_per_output
        n, net = best_next(
            found.mean_per_week, float(found.gains.std()), per_log * sd_of_clutch * math.sqrt(2), 2 * cost_of_clutch,
            stakes.weeks,
        )  # fmt: skip
        out["try_further"] = {"clutches_of_each": n, "worth_after_cost": net}
    return out


def _picture(gains: np.ndarray) -> list[dict[str, float]]:
    """The distribution of the gain as bars, its outermost hundredths left out."""
    low, high = np.quantile(gains, (0.01, 0.99))
    counts, edges = np.histogram(gains, bins=24, range=(float(low), float(high) + 1e-9))
    return [
        {"from": float(a), "to": float(b), "share": float(c / len(gains))}
        for a, b, c in zip(edges[:-1], edges[1:], counts, strict=True)
    ]


__all__ = ["Effect", "Stakes", "decided", "effect"]
