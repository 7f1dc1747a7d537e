"""How big a trial must be: bins, clutches and weeks, from the spreads at hand; needs no farm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from chirr.desk.trial_answers import Answer
from chirr.desk.trial_tables import TableFault
from chirr.desk.trial_words import BY, OUTCOMES
from chirr.engine.trials.rows import Spread
from chirr.engine.trials.sizing import MOST_WEEKS, Sized, sized, smallest_margin

USUAL = Spread(bin_sd=0.2, clutch_sd=math.hypot(0.40, 0.34))
"""Before any data, on logs: between bins, and between clutches of a bin with a core sample's error of 35 % (judgement;
the error of counting is common practice, no published source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What a plan rests on: the spreads and where they come from, breeding bins, clutches from a bin in a week."""

    spread: Spread = USUAL
    source: str = "usual spreads, as no farm was asked"
    bins: int = 12
    clutches_per_bin_week: float = 7 / 3


def plan(
    ways: Sequence[str],
    ground: Ground,
    *,
    by: str = "tray_type",
    outcome: str = "eggs",
    margin: float = 0.1,
    alpha: float = 0.05,
    wanted: float = 0.8,
    bins: int | None = None,
    clutches_per_bin_week: float | None = None,
) -> Answer:
    """How many bins and clutches for how many weeks, each bin keeping one way or having all in turn."""
    asked(ways, by, outcome, margin, alpha, wanted)
    spread, source = ground.spread, ground.source
    have = ground.bins if bins is None else bins
    rhythm = ground.clutches_per_bin_week if clutches_per_bin_week is None else clutches_per_bin_week
    if not (bins is None or 2 <= bins <= 10_000) or not 0.1 <= rhythm <= 100:
        raise TableFault("A plan needs 2 to 10,000 bins, and 0.1 to 100 clutches from each in a week.")
    bound = -math.log1p(-margin)
    common: dict[str, Any] = {
        "bins": have, "ways": len(ways), "clutches_per_bin_week": rhythm, "low": -bound, "high": bound, "alpha": alpha,
        "wanted": wanted,
    }  # fmt: skip
    options = [o for kind in ("apart", "crossing") if (o := sized(kind, spread, **common)) is not None]
    return {
        "ways": list(ways), "by": by, "outcome": outcome, "margin": [1 - margin, 1 / (1 - margin)], "alpha": alpha,
        "wanted": wanted, "bins": have, "clutches_per_bin_week": rhythm,
        "spread": {"between_bins": spread.bin_sd, "between_clutches": spread.clutch_sd, "from": source},
        "options": [_option(o, spread, len(ways), alpha, wanted) for o in options],
        "advice": _advice(options, have, len(ways)),
    }  # fmt: skip


def asked(ways: Sequence[str], by: str, outcome: str, margin: float, alpha: float, wanted: float) -> None:
    """Raise TableFault when a question cannot be asked."""
    if len(set(ways)) < 2 or len(set(ways)) < len(ways):
        raise TableFault("Name at least two different ways, such as --ways short,long.")
    if by not in BY:
        raise TableFault(f"Ways cannot be told apart by {by}; use one of {', '.join(BY)}.")
    if outcome not in OUTCOMES:
        raise TableFault(f"{outcome} is not an outcome; use one of {', '.join(OUTCOMES)}.")
    if not 0 < margin < 1:
        raise TableFault("A plan needs a margin between 0 and 100 %: how big a loss would matter.")
    if not 0 < alpha < 0.5 or not alpha < wanted < 1:
        raise TableFault("The error must lie under 0.5, and the power above it and under 1.")


def _option(o: Sized, spread: Spread, ways: int, alpha: float, wanted: float) -> Answer:
    per_way = o.bins // ways if o.kind == "apart" else o.bins
    each = max(o.clutches // (per_way * ways), 1)
    margin = smallest_margin(o.kind, spread, per_way=per_way, clutches_each=each, alpha=alpha, wanted=wanted)
    return {k: getattr(o, k) for k in Sized.__slots__} | {"smallest_margin": margin}


def _advice(options: list[Sized], bins: int, ways: int) -> str:
    if not options:
        return f"{bins} bins are too few for {ways} ways; at least {2 * ways} are needed, or 2 with every way in turn."
    good = [o for o in options if o.enough]
    if not good:
        return (
            f"Not even in {MOST_WEEKS} weeks: take more bins, a wider margin, or count more closely; "
            "the margin that each plan can show stands beside it."
        )
    best = min(good, key=lambda o: (o.clutches, o.weeks))
    other = next((o for o in options if o.kind != best.kind), None)
    words = {"apart": "Let each bin keep one way", "crossing": "Let each bin have every way in turn"}[best.kind]
    saves = ""
    if other is not None and other.clutches > best.clutches:
        least = "" if other.enough else "more than "
        saves = f", instead of {least}{other.clutches} in {least}{other.weeks} weeks the other way"
    carry = "; only where nothing carries over from one way to the next" if best.kind == "crossing" else ""
    return f"{words}: {best.clutches} clutches in {best.weeks} weeks{saves}{carry}."
