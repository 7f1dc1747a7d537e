"""The observations of a farm, on the log scale: what each should have shown, and how hard it pulls on belief.

Errors have the tails of Student's t, so a fact far from all others pulls with less and less weight. A hatch seen
between two looks, or not yet seen, is a pair of bounds.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, log, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from chirr.engine.colony.hatching import log_speed_if_first_at
from chirr.engine.colony.history import FarmHistory, Kind
from chirr.engine.colony.schedule import ClutchArrays, Schedule, egg_readings
from chirr.engine.colony.walk import Told

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

TAIL = 5.0
"""Degrees of freedom of the errors: facts further off than about three spreads lose weight."""

WEIGH_LOG_SD, HARVEST_LOG_SD, COUNT_LOG_SD, HATCH_LOG_SD = 0.04, 0.06, 0.05, 0.01
"""What the model itself leaves open in a weighing, a harvest, a count, a hatch (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Every observation as arrays of shape (facts,): what is predicted, where, and how it was seen.

    what: 0 a lot's number, 1 its mean mass, 2 its kilograms, 3 a clutch's eggs, 4 its pinheads, 5 its speed;
    row: happening (0-2) or clutch (3-5). A fact that only says between which bounds the truth lies has `low` < `high`
    (either may be infinite) and no value; the others have both bounds nan.
    """

    what: Ints
    row: Ints
    value: Floats
    log_sd: Floats
    sample: Ints
    young: NDArray[np.bool_]
    low: Floats
    high: Floats
    entry: tuple[str, ...]

    def take(self, some: Ints) -> Facts:
        """Some of them, by number; without their names."""
        arrays = ("what", "row", "value", "log_sd", "sample", "young", "low", "high")
        return Facts(**{name: getattr(self, name)[some] for name in arrays}, entry=())

    @property
    def counted(self) -> tuple[NDArray[np.bool_], ...]:
        """Which facts are counts of eggs, of pinheads, of crickets."""
        of_lot = self.what == 0
        return self.what == 3, (self.what == 4) | (of_lot & self.young), of_lot & ~self.young

    @property
    def bounded(self) -> NDArray[np.bool_]:
        """Which facts are bounds only."""
        return np.asarray(~np.isnan(self.high))


@dataclass(frozen=True, slots=True)
class _Fact:
    """One observation, on its way into the arrays of `Facts`."""

    what: int
    row: int
    value: float
    log_sd: float
    entry: str
    sample: int = 0
    young: bool = False
    low: float = np.nan
    high: float = np.nan


def gather(history: FarmHistory, arrays: ClutchArrays, schedule: Schedule, *, egg_cv: float) -> Facts:
    """Every observation of a history, on the log scale."""
    found: list[_Fact] = []
    seen = np.flatnonzero(np.isin(schedule.kind, (Kind.COUNT, Kind.WEIGH, Kind.HARVEST)))
    for i, kind, q, sd in zip(
        *(a.tolist() for a in (seen, schedule.kind[seen], schedule.quantity[seen], schedule.log_sd[seen])), strict=True
    ):
        entry = schedule.entry[i]
        if kind == Kind.COUNT:
            young = bool(schedule.young[i])
            found.append(_Fact(0, i, log(max(q, 0.5)), hypot(sd, COUNT_LOG_SD), entry, young=young))
        elif kind == Kind.WEIGH and q > 0:
            found.append(_Fact(1, i, log(q), hypot(sd, WEIGH_LOG_SD), entry, sample=int(schedule.sample[i])))
        elif q > 0:
            found.append(_Fact(2, i, log(q * 1e6), hypot(sd, HARVEST_LOG_SD), entry))
    for c, k in enumerate(history.clutches):
        for what, counts in ((3, k.egg_counts), (4, k.pinhead_counts)):
            found += [_Fact(what, c, log(max(q, 0.5)), hypot(sd, COUNT_LOG_SD), e) for _, q, sd, e in counts]
    found += _hatch_facts(history, arrays, egg_cv)
    return Facts(
        what=np.array([f.what for f in found], dtype=np.int64),
        row=np.array([f.row for f in found], dtype=np.int64),
        value=np.array([f.value for f in found], dtype=np.float64),
        log_sd=np.array([f.log_sd for f in found], dtype=np.float64),
        sample=np.array([f.sample for f in found], dtype=np.int64),
        young=np.array([f.young for f in found], dtype=bool),
        low=np.array([f.low for f in found], dtype=np.float64),
        high=np.array([f.high for f in found], dtype=np.float64),
        entry=tuple(f.entry for f in found),
    )


_NARROW = 0.2
"""Bounds on a log speed closer than this (two or three days) are taken as their middle with an even spread."""


def _hatch_facts(history: FarmHistory, arrays: ClutchArrays, egg_cv: float) -> list[_Fact]:
    """First pinheads seen between two looks, or none at the last look, as bounds on the log of a clutch's speed."""
    seen = [(c, k, *k.first_between) for c, k in enumerate(history.clutches) if k.first_between is not None]
    none = [
        (c, k, k.unseen_until_h)
        for c, k in enumerate(history.clutches)
        if k.first_between is None and k.unseen_until_h is not None and not k.dud
    ]

    def speed_at(which: list[int], hours: list[float]) -> Floats:
        i = np.array(which, dtype=np.int64)
        reading = egg_readings(arrays.rows[i], arrays.laid_h[i], np.array(hours, dtype=np.float64))
        return log_speed_if_first_at(reading, window=arrays.window[i], cv=egg_cv)

    out: list[_Fact] = []
    if seen:
        fast = speed_at([f[0] for f in seen], [f[2] for f in seen])
        slow = speed_at([f[0] for f in seen], [f[3] for f in seen])
        for (c, k, _, _), high, low in zip(seen, fast, slow, strict=True):
            if not np.isfinite(low):
                continue
            if high - low <= _NARROW:
                sd = hypot((high - low) / sqrt(12), HATCH_LOG_SD)
                out.append(_Fact(5, c, 0.5 * (low + high), sd, k.first_entry))
            else:
                out.append(_Fact(5, c, np.nan, HATCH_LOG_SD, k.first_entry, low=low, high=high))
    if none:
        bound = speed_at([f[0] for f in none], [f[2] for f in none])
        out += [
            _Fact(5, c, np.nan, HATCH_LOG_SD, "", low=-np.inf, high=b)
            for (c, _, _), b in zip(none, bound, strict=True)
            if np.isfinite(b)
        ]
    return out


def predict(told: Told, facts: Facts) -> Floats:
    """What a walk says each fact should have been, shape (facts, draws)."""
    out = np.empty((len(facts.what), told.log_number.shape[1]))
    for what, source in (
        (0, told.log_number),
        (1, told.log_mg),
        (3, told.clutches.eggs),
        (4, told.clutches.pinheads),
        (5, told.clutches.log_speed),
    ):
        chosen = facts.what == what
        shown = source[facts.row[chosen]]
        out[chosen] = np.log(shown) if what in (3, 4) else shown
    both = facts.what == 2
    out[both] = told.log_number[facts.row[both]] + told.log_mg[facts.row[both]]
    for bias, counted in zip(told.farm.seen, facts.counted, strict=True):
        out[counted] += bias
    return out


def spread(told: Told, facts: Facts) -> Floats:
    """Standard deviation of each fact's error; a weighing's falls with the size of its sample."""
    variance = facts.log_sd**2
    weighed = (facts.what == 1) & (facts.sample > 0)
    between = np.expm1(np.minimum(told.log_variance[facts.row[weighed], 0], 3.0))
    variance[weighed] += between / facts.sample[weighed]
    return np.asarray(np.sqrt(variance))


def pull(said: Floats, sd: Floats, facts: Facts, *, blur: float = 1.0) -> tuple[Floats, Floats, Floats]:
    """Gradient of the log likelihood by the prediction, its curvature, and the log likelihood itself, fact by fact.

    `blur` multiplies every spread: a search that begins blurred is not led astray by which facts look odd from its
    start.
    """
    sd = sd * blur
    u = (facts.value - said) / sd
    curve = (TAIL + 1) / (TAIL + u**2) / sd**2
    gradient = curve * (facts.value - said)
    loglik = -0.5 * (TAIL + 1) * np.log1p(u**2 / TAIL)
    i = facts.bounded
    if i.any():
        gradient[i], curve[i], loglik[i] = between(facts.low[i] - said[i], facts.high[i] - said[i], sd[i])
    return gradient, curve, loglik


def between(low: Floats, high: Floats, sd: Floats) -> tuple[Floats, Floats, Floats]:
    """The same for 'the truth lies between these bounds', blurred by `sd`; bounds relative to the prediction."""
    a, b = low / sd, high / sd
    flip = a > 0
    a, b = np.where(flip, -high / sd, a), np.where(flip, -low / sd, b)
    top, bottom = log_ndtr(b), log_ndtr(a)
    logp = top + np.log1p(-np.exp(np.minimum(bottom - top, -1e-12)))

    def density(u: Floats) -> Floats:
        with np.errstate(over="ignore"):
            return np.asarray(np.exp(-0.5 * u**2 - 0.5 * np.log(2 * np.pi) - logp))

    da, db = density(a), density(b)
    slope = np.where(flip, db - da, da - db) / sd
    wide_a, wide_b = np.where(np.isfinite(a), a, 0.0), np.where(np.isfinite(b), b, 0.0)
    curve = ((da - db) ** 2 + wide_b * db - wide_a * da) / sd**2
    return np.asarray(slope), np.maximum(curve, 0.0), np.asarray(logp)
