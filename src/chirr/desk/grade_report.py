"""From scored forecasts to what is said of them: how often bands held, how far off, how much better than the rivals.

The shape below is kept beside the book and given by `chirr grade --json`.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from chirr.desk.grade_cases import DAY, KINDS, UNITS
from chirr.desk.shapes import QUANTILES
from chirr.desk.spoken import again, say
from chirr.engine.colony import scores

Floats = NDArray[np.float64]

BANDS = (50, 80, 90)
RIVALS = ("calendar", "keeper", "published")
"""Fixed days and numbers; the farm's own averages so far; published values with nothing learnt."""

HORIZONS = ((0, REACH := 35), (0, 6), (7, 35), (7, 20), (21, 35))
"""Days ahead, both ends included; the first takes all."""

RECENT_DAYS = 84
DRIFT_FROM = 10
"""Fewer recent answers than this say nothing of drift."""

DRIFT_CHANCE = 0.02
"""So improbable a run of misses is told (judgement)."""


class Case(msgspec.Struct, frozen=True, kw_only=True):
    """A forecast and what came of it: `said` holds, for 'chirr' and each rival, the values at the seven quantiles."""

    kind: str
    thing: str
    asked_at: int
    answered_at: int
    truth: float
    said: dict[str, tuple[float, ...]]

    @property
    def days(self) -> float:
        return (self.answered_at - self.asked_at) / DAY


class Held(msgspec.Struct, frozen=True, kw_only=True):
    """How often one band held the truth. `low` and `high` bound the share, 95 %, each thing counted once."""

    band: int
    inside: int
    share: float
    low: float
    high: float


class KindGrade(msgspec.Struct, frozen=True, kw_only=True):
    """The forecasts of one kind and horizon.

    n: forecasts scored; things: different clutches or lots among them. bias: middle forecast less truth, the median
    over cases: in days for first pinheads, else as a share of the truth (0.1 = forecast a tenth too high). score: mean
    weighted interval score, in `unit`, of 'chirr' and each rival. ratio: of Chirr's score to each rival's.
    """

    kind: str
    unit: str
    from_days: int
    to_days: int
    n: int
    things: int
    held: tuple[Held, ...]
    bias: float
    score: dict[str, float]
    ratio: dict[str, float]


class Drift(msgspec.Struct, frozen=True, kw_only=True):
    """Recent answers of one kind, one for each clutch or lot: how many lay inside the 80 % band, how odd that is."""

    kind: str
    inside: int
    of: int
    chance: float
    too_high: int
    """Of those outside, how often the forecast was above the truth."""


class Grade(msgspec.Struct, frozen=True, kw_only=True):
    """The whole report. Times are epoch seconds; `first_entry` and `newest_entry` tie it to its book."""

    made_at: int
    farm: str
    first_entry: str
    asked: tuple[int, ...]
    draws: int
    kinds: tuple[KindGrade, ...]
    drift: tuple[Drift, ...]
    newest_entry: str = ""
    """The entry that had come last when it was made; '' in a report from before this was noted."""


def grade_kinds(cases: Sequence[Case]) -> tuple[KindGrade, ...]:
    """Every kind at every horizon that was asked at all."""
    found = []
    for kind in KINDS:
        for low, high in HORIZONS:
            part = [c for c in cases if c.kind == kind and low <= c.days < high + 1]
            if part:
                found.append(grade_one(kind, low, high, part))
    return tuple(found)


def grade_one(kind: str, low: int, high: int, cases: Sequence[Case]) -> KindGrade:
    """The grade of some cases of one kind; there must be at least one."""
    truth = np.array([c.truth for c in cases])
    there = [who for who in ("chirr", *RIVALS) if all(who in c.said for c in cases)]
    said = {who: np.array([c.said[who] for c in cases]) for who in there}
    score = {who: float(scores.weighted_interval_score(truth, q, QUANTILES).mean()) for who, q in said.items()}
    middle = said["chirr"][:, 3]
    off = middle - truth if kind == KINDS[0] else np.log(np.maximum(middle, 1e-9) / np.maximum(truth, 1e-9))
    bias = float(np.median(off))
    return KindGrade(
        kind=kind, unit=UNITS.get(kind, kind), from_days=low, to_days=high, n=len(cases),
        things=len({c.thing for c in cases}),
        held=tuple(_held(band, truth, said["chirr"], [c.thing for c in cases]) for band in BANDS),
        bias=bias if kind == KINDS[0] else float(np.expm1(bias)), score=score,
        ratio={who: score["chirr"] / score[who] for who in score if who != "chirr" and score[who] > 0},
    )  # fmt: skip


def ends(band: int) -> tuple[int, int]:
    """Where the ends of a band stand among the quantiles."""
    low = min(range(len(QUANTILES)), key=lambda i: abs(QUANTILES[i] - (100 - band) / 200))
    return low, len(QUANTILES) - 1 - low


def inside(band: int, truth: Floats, said: Floats) -> NDArray[np.bool_]:
    """Which truths, shape (n,), lie inside a band of what was said, shape (n, 7)."""
    a, b = ends(band)
    return np.asarray((said[:, a] <= truth) & (truth <= said[:, b]))


def _held(band: int, truth: Floats, said: Floats, things: list[str]) -> Held:
    """Forecasts of one clutch or lot made on many days fail together, so they count as one in the interval."""
    held = inside(band, truth, said)
    share, independent = float(held.mean()), len(set(things))
    low, high = scores.binomial_interval(share * independent, independent)
    return Held(band=band, inside=int(held.sum()), share=share, low=low, high=high)


def find_drift(cases: Sequence[Case], now: int) -> tuple[Drift, ...]:
    """Recent answers by kind: of each clutch or lot the forecast made nearest to a fortnight ahead."""
    found = []
    for kind in KINDS:
        best: dict[str, Case] = {}
        for c in cases:
            if c.kind != kind or c.answered_at < now - RECENT_DAYS * DAY:
                continue
            old = best.get(c.thing)
            if old is None or abs(c.days - 14) < abs(old.days - 14):
                best[c.thing] = c
        if not best:
            continue
        truth = np.array([c.truth for c in best.values()])
        said = np.array([c.said["chirr"] for c in best.values()])
        held = inside(80, truth, said)
        high = int((said[~held, 3] > truth[~held]).sum())
        n = int(held.sum())
        found.append(
            Drift(kind=kind, inside=n, of=len(best), chance=scores.chance_of_so_few(n, len(best), 0.8), too_high=high)
        )
    return tuple(found)


def drift_sentence(drift: Sequence[Drift]) -> str | None:
    """A warning when recent bands held less often than they promise; None while all is well."""
    bad = [d for d in drift if d.of >= DRIFT_FROM and d.chance < DRIFT_CHANCE]
    if not bad:
        return None
    worst = min(bad, key=lambda d: d.chance)
    return say(
        "Of late the forecasts of {kind} promise too much: of the last {of} answers only {inside} lay in the band that"
        " should hold 8 in 10{mostly}. Take these bands as wider than shown, and look for what has changed:"
        " temperature, feed, strain, or how it is counted.",
        kind=again(worst.kind), of=worst.of, inside=worst.inside, mostly=_mostly(worst),
    )  # fmt: skip


def _mostly(d: Drift) -> str:
    """On which side of the truth the forecasts that missed lay, where most lay on one."""
    above, below = (
        (say(", mostly too late"), say(", mostly too early"))
        if d.kind == KINDS[0]
        else (say(", mostly too high"), say(", mostly too low"))
    )
    missed = d.of - d.inside
    if d.too_high >= 0.7 * missed:
        return above
    return below if d.too_high <= 0.3 * missed else ""
