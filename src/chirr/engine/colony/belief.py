"""Learning from the book: the unknowns that fit published values and the farm's own facts together.

On the log scale the model is close to linear and its errors close to normal, so belief is a normal distribution: its
mode is found by damped Gauss-Newton steps with derivatives taken through the walk itself, its precision is the
curvature there. A fact far from all others pulls with less and less weight and is named (Student t errors).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import splu
from scipy.special import log_ndtr

from chirr.engine.biology.species import Species
from chirr.engine.colony.clocks import Clocks
from chirr.engine.colony.hatching import log_speed_if_first_at
from chirr.engine.colony.history import FarmHistory, Kind
from chirr.engine.colony.latents import FARM, Latents, make_latents, rescaled
from chirr.engine.colony.schedule import ClutchArrays, Schedule, _read_rows, clutch_arrays, make_schedule
from chirr.engine.colony.walk import Biology, Laid, Told, walk

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

TAIL = 5.0
"""Degrees of freedom of the errors: facts further off than about three spreads lose weight."""

WEIGH_LOG_SD, HARVEST_LOG_SD, COUNT_LOG_SD, HATCH_LOG_SD = 0.04, 0.06, 0.05, 0.015
"""What the model itself leaves open in a weighing, a harvest, a count, a hatch (judgement)."""

ODD_BEYOND = 4.0
"""A fact this many spreads from what the rest says is named."""

SPREAD_ROUNDS, SPREAD_FROM, SPREAD_WEIGHT = 3, 30, 20.0
"""Rounds in which spreads are learnt, facts from which on they are, and the weight of the prior spreads in things."""

_STEP = 0.05
_ROUNDS = 8
_NEAR = 0.25
"""A step that gains less log posterior than this ends the search: far below what any figure shown can tell."""


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
    low: Floats
    high: Floats
    entry: tuple[str, ...]

    @property
    def bounded(self) -> NDArray[np.bool_]:
        """Which facts are bounds only."""
        return np.asarray(~np.isnan(self.high))


@dataclass(frozen=True, slots=True, kw_only=True)
class Odd:
    """A fact that does not go with the rest: its entry, and how many spreads it lies off."""

    entry: str
    spreads: float


@dataclass(slots=True, kw_only=True)
class Belief:
    """What the facts leave open: mode and precision of the unknowns, and what is needed to run them on."""

    mode: Floats
    precision: Any
    jacobian: Any
    weight: Floats
    latents: Latents
    schedule: Schedule
    arrays: ClutchArrays
    laid: Laid
    bio: Biology
    history: FarmHistory
    facts: Facts
    told: Told
    odd: tuple[Odd, ...]


def believe(history: FarmHistory, clocks: Clocks, clutch_temp_c: Floats, species: Species) -> Belief:
    """Form belief from a farm's history.

    Parameters
    ----------
    history : FarmHistory
    clocks : Clocks
        Clocks of its places.
    clutch_temp_c : ndarray, shape (clutches,)
        Mean temperature while each tray was in its breeding bin [degC].
    species : Species

    Returns
    -------
    Belief
        With no facts at all, the published values and their spreads.
    """
    bio = Biology.of(species)
    cv = species.egg_cv.value
    arrays = clutch_arrays(history, clocks, egg_cv=cv)
    schedule = make_schedule(history, arrays, clocks, egg_cv=cv)
    latents = make_latents(history, schedule)
    facts = gather(history, arrays, schedule, egg_cv=cv)
    warmth = np.interp(clutch_temp_c, species.laying_at_temperature.at, species.laying_at_temperature.value)
    laid = Laid(females=arrays.area_cm2.copy(), age_days=np.full(len(arrays.laid_h), 12.0), warmth_factor=np.maximum(warmth, 0.05))
    z = np.zeros(latents.size)
    for _ in range(2):
        told = walk(z[:, None], latents, schedule, arrays, laid, bio)
        laid = _who_laid(told, schedule, laid, bio)
    belief = _fit(z, latents, schedule, arrays, laid, bio, history, facts)
    for _ in range(SPREAD_ROUNDS if len(facts.what) >= SPREAD_FROM else 0):
        belief = _with_learnt_spreads(belief)
    return belief


def _with_learnt_spreads(belief: Belief) -> Belief:
    """One step of expectation-maximisation for the spreads between clutches and between lots.

    Each spread moves to what its standardised unknowns show, held by `SPREAD_WEIGHT` clutches' worth of the prior.
    """
    z = draw(belief, 40, np.random.default_rng(5))
    square = (z**2).mean(axis=1)
    known = np.zeros(belief.latents.size, dtype=bool)
    known[np.unique(belief.jacobian.indices)] = True

    def factors(index: Ints) -> Floats:
        out = []
        for row in index:
            mine = row[row >= 0]
            mine = mine[known[mine]]
            out.append(np.sqrt((SPREAD_WEIGHT + square[mine].sum()) / (SPREAD_WEIGHT + len(mine))))
        return np.array(out)

    clutch, lot = factors(belief.latents.clutch), factors(belief.latents.lot)
    latents = rescaled(belief.latents, clutch, lot)
    start = belief.mode.copy()
    for row, factor in zip((*latents.clutch, *latents.lot), (*clutch, *lot), strict=True):
        start[row[row >= 0]] /= factor
    return _fit(start, latents, belief.schedule, belief.arrays, belief.laid, belief.bio, belief.history, belief.facts, rounds=2)


@dataclass(frozen=True, slots=True)
class _Fact:
    """One observation, on its way into the arrays of `Facts`."""

    what: int
    row: int
    value: float
    log_sd: float
    entry: str
    sample: int = 0
    low: float = np.nan
    high: float = np.nan


def gather(history: FarmHistory, arrays: ClutchArrays, schedule: Schedule, *, egg_cv: float) -> Facts:
    """Every observation of a history, on the log scale."""
    found: list[_Fact] = []
    for i in np.flatnonzero(np.isin(schedule.kind, (Kind.COUNT, Kind.WEIGH, Kind.HARVEST))):
        kind, q, sd, entry = schedule.kind[i], float(schedule.quantity[i]), schedule.log_sd[i], schedule.entry[i]
        if kind == Kind.COUNT:
            found.append(_Fact(0, i, np.log(max(q, 0.5)), np.hypot(sd, COUNT_LOG_SD), entry))
        elif kind == Kind.WEIGH and q > 0:
            found.append(_Fact(1, i, np.log(q), np.hypot(sd, WEIGH_LOG_SD), entry, sample=int(schedule.sample[i])))
        elif q > 0:
            found.append(_Fact(2, i, np.log(q * 1e6), np.hypot(sd, HARVEST_LOG_SD), entry))
    for c, k in enumerate(history.clutches):
        for what, counts in ((3, k.egg_counts), (4, k.pinhead_counts)):
            found += [_Fact(what, c, np.log(max(q, 0.5)), np.hypot(sd, COUNT_LOG_SD), e) for _, q, sd, e in counts]
    found += _hatch_facts(history, arrays, egg_cv)
    return Facts(
        what=np.array([f.what for f in found], dtype=np.int64), row=np.array([f.row for f in found], dtype=np.int64),
        value=np.array([f.value for f in found], dtype=np.float64), log_sd=np.array([f.log_sd for f in found], dtype=np.float64),
        sample=np.array([f.sample for f in found], dtype=np.int64), low=np.array([f.low for f in found], dtype=np.float64),
        high=np.array([f.high for f in found], dtype=np.float64), entry=tuple(f.entry for f in found),
    )  # fmt: skip


_NARROW = 0.2
"""Bounds on a log speed closer than this (two or three days) are taken as their middle with an even spread."""


def _hatch_facts(history: FarmHistory, arrays: ClutchArrays, egg_cv: float) -> list[_Fact]:
    """First pinheads seen between two looks, or none at the last look, as bounds on the log of a clutch's speed."""
    seen = [(c, k, *k.first_between) for c, k in enumerate(history.clutches) if k.first_between is not None]
    none = [
        (c, k, k.unseen_until_h) for c, k in enumerate(history.clutches)
        if k.first_between is None and k.unseen_until_h is not None and not k.dud
    ]  # fmt: skip

    def speed_at(which: list[int], hours: list[float]) -> Floats:
        i = np.array(which, dtype=np.int64)
        reading = _read_rows(arrays.rows[i], arrays.laid_h[i], np.array(hours, dtype=np.float64))
        return log_speed_if_first_at(reading, window=arrays.window[i], cv=egg_cv)

    out: list[_Fact] = []
    if seen:
        fast = speed_at([f[0] for f in seen], [f[2] for f in seen])
        slow = speed_at([f[0] for f in seen], [f[3] for f in seen])
        for (c, k, _, _), high, low in zip(seen, fast, slow, strict=True):
            if high - low <= _NARROW:
                sd = np.hypot((high - low) / np.sqrt(12), HATCH_LOG_SD)
                out.append(_Fact(5, c, 0.5 * (low + high), sd, k.first_entry))
            elif np.isfinite(low):
                out.append(_Fact(5, c, np.nan, HATCH_LOG_SD, k.first_entry, low=low, high=high))
    if none:
        bound = speed_at([f[0] for f in none], [f[2] for f in none])
        out += [
            _Fact(5, c, np.nan, HATCH_LOG_SD, "", low=-np.inf, high=b)
            for (c, _, _), b in zip(none, bound, strict=True) if np.isfinite(b)
        ]  # fmt: skip
    return out


def _who_laid(told: Told, schedule: Schedule, old: Laid, bio: Biology) -> Laid:
    """Females and their age when each tray went in, as now believed."""
    rows = np.flatnonzero(schedule.kind == Kind.LAY)
    females, age = old.females.copy(), old.age_days.copy()
    females[schedule.other[rows]] = np.maximum(bio.female_share * np.exp(told.log_number[rows, 0]), 1.0)
    age[schedule.other[rows]] = told.adult_days[rows, 0]
    return Laid(females=females, age_days=age, warmth_factor=old.warmth_factor)


def _predict(told: Told, facts: Facts) -> Floats:
    """What a walk says each fact should have been, shape (facts, draws)."""
    out = np.empty((len(facts.what), told.log_number.shape[1]))
    for what, source in (
        (0, told.log_number), (1, told.log_mg), (3, np.log(told.clutches.eggs)), (4, np.log(told.clutches.pinheads)),
        (5, told.clutches.log_speed),
    ):  # fmt: skip
        chosen = facts.what == what
        out[chosen] = source[facts.row[chosen]]
    both = facts.what == 2
    out[both] = told.log_number[facts.row[both]] + told.log_mg[facts.row[both]]
    return out


def _spread(told: Told, facts: Facts) -> Floats:
    """Standard deviation of each fact's error; a weighing's falls with the size of its sample."""
    variance = facts.log_sd**2
    weighed = (facts.what == 1) & (facts.sample > 0)
    between = np.expm1(np.minimum(told.log_variance[facts.row[weighed], 0], 3.0))
    variance[weighed] += between / facts.sample[weighed]
    return np.asarray(np.sqrt(variance))


def _pull(said: Floats, sd: Floats, facts: Facts) -> tuple[Floats, Floats, Floats]:
    """Gradient of the log likelihood by the prediction, its curvature, and the log likelihood itself, fact by fact."""
    u = (facts.value - said) / sd
    curve = (TAIL + 1) / (TAIL + u**2) / sd**2
    gradient, loglik = curve * (facts.value - said), -0.5 * (TAIL + 1) * np.log1p(u**2 / TAIL)
    i = facts.bounded
    if i.any():
        gradient[i], curve[i], loglik[i] = _between(facts.low[i] - said[i], facts.high[i] - said[i], sd[i])
    return gradient, curve, loglik


def _between(low: Floats, high: Floats, sd: Floats) -> tuple[Floats, Floats, Floats]:
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


def _fit(
    z: Floats, latents: Latents, schedule: Schedule, arrays: ClutchArrays, laid: Laid, bio: Biology,
    history: FarmHistory, facts: Facts, *, rounds: int = _ROUNDS,
) -> Belief:
    """Damped Gauss-Newton to the mode, and the precision there."""
    columns = _Columns.of(facts, latents, schedule)
    shifts = columns.shifts(latents)
    best = -np.inf
    kept, shrink = z.copy(), 1.0
    step = np.zeros_like(z)
    for turn in range(rounds + 1):
        batch = walk(z[:, None] + shifts, latents, schedule, arrays, laid, bio)
        said = _predict(batch, facts)
        told = _first_draw(batch)
        sd = _spread(told, facts)
        gradient, curve, loglik = _pull(said[:, 0], sd, facts)
        score = float(loglik.sum() - 0.5 * z @ z)
        if score < best - 1e-6 and shrink > 0.1 and turn < rounds:
            shrink *= 0.4
            z = kept + shrink * step
            continue
        jacobian = columns.sparse((said[:, 1:] - said[:, :1]) / _STEP)
        precision = sparse.identity(latents.size, format="csc") + (jacobian.T @ sparse.diags(curve) @ jacobian).tocsc()
        if turn == rounds or (turn > 0 and abs(score - best) < _NEAR):
            break
        best, kept, shrink = score, z.copy(), 1.0
        step = _solver(precision)(jacobian.T @ gradient - z)
        step *= min(1.0, 3.0 / max(float(np.abs(step).max(initial=0.0)), 1e-9))
        z = z + step
        laid = _who_laid(told, schedule, laid, bio)
    off = np.where(facts.bounded, 0.0, (facts.value - said[:, 0]) / sd)
    odd = [Odd(entry=facts.entry[i], spreads=float(off[i])) for i in np.flatnonzero(np.abs(off) > ODD_BEYOND)]
    return Belief(
        mode=z, precision=precision, jacobian=jacobian, weight=curve, latents=latents, schedule=schedule, arrays=arrays,
        laid=laid, bio=bio, history=history, facts=facts, told=told, odd=tuple(odd),
    )  # fmt: skip


def _first_draw(told: Told) -> Told:
    return Told(
        lots=told.lots, clutches=told.clutches, farm=told.farm, log_number=told.log_number[:, :1],
        log_mg=told.log_mg[:, :1], log_variance=told.log_variance[:, :1], adult_days=told.adult_days[:, :1],
    )  # fmt: skip


def _solver(precision: Any) -> Any:
    """Solve with the precision matrix: symmetric, so no pivoting."""
    factor = splu(
        precision.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
    )
    return factor.solve


@dataclass(frozen=True, slots=True, kw_only=True)
class _Columns:
    """Which unknown each derivative belongs to: the farm's one by one, the local ones by colour."""

    farm: int
    fact: Ints
    column: Ints
    source: Ints
    size: int
    facts: int
    own_only: NDArray[np.bool_]

    @classmethod
    def of(cls, facts: Facts, latents: Latents, schedule: Schedule) -> _Columns:
        farm = len(FARM) + len(latents.tray_type)
        fact, column = [], []
        for i, (what, row) in enumerate(zip(facts.what, facts.row, strict=True)):
            local = latents.bearing[schedule.lot[row]] if what <= 2 else latents.clutch[:, row]
            fact.append(np.full(len(local), i))
            column.append(local)
        f = np.concatenate([*fact, np.zeros(0, dtype=np.int64)]).astype(np.int64)
        c = np.concatenate([*column, np.zeros(0, dtype=np.int64)]).astype(np.int64)
        return cls(farm=farm, fact=f, column=c, source=farm + latents.colour[c], size=latents.size, facts=len(facts.what),
                   own_only=np.isneginf(facts.low))  # fmt: skip

    def shifts(self, latents: Latents) -> Floats:
        """Steps from the point itself: none, each farm unknown alone, each colour together; (latents, 1 + ...)."""
        out = np.zeros((self.size, 1 + self.farm + latents.colours))
        out[np.arange(self.farm), 1 + np.arange(self.farm)] = _STEP
        local = np.flatnonzero(latents.colour >= 0)
        out[local, 1 + self.farm + latents.colour[local]] = _STEP
        return out

    def sparse(self, slope: Floats) -> Any:
        """The derivatives of all facts by all unknowns, shape (facts, latents).

        'Not yet hatched' tells of its own clutch only: an overdue tray is a failure more often than a sign that all
        the farm's eggs are slow.
        """
        dense = sparse.csr_matrix(np.where(self.own_only[:, None], 0.0, slope[:, : self.farm]))
        wide = sparse.csr_matrix((dense.data, dense.indices, dense.indptr), shape=(self.facts, self.size))
        local = sparse.csr_matrix((slope[self.fact, self.source], (self.fact, self.column)), shape=(self.facts, self.size))
        return (wide + local).tocsr()


def draw(belief: Belief, draws: int, rng: np.random.Generator, *, lots: NDArray[np.bool_] | None = None) -> Floats:
    """Joint draws of the unknowns, shape (latents, draws).

    Parameters
    ----------
    belief : Belief
    draws : int
    rng : numpy Generator
    lots : ndarray of bool, shape (lots,), optional
        Lots whose unknowns are wanted (with their parents); the others keep their mode. Given the farm's level, lots
        that share no crickets are independent, so what is left out changes nothing.

    Returns
    -------
    ndarray
    """
    farm = int((belief.latents.colour < 0).sum())
    wanted = _wanted(belief, lots)
    z = np.repeat(belief.mode[:, None], draws, axis=1)
    solve = _solver(belief.precision)
    unit = np.zeros((belief.latents.size, farm))
    unit[:farm] = np.eye(farm)
    covariance = solve(unit)[:farm]
    root = np.linalg.cholesky(0.5 * (covariance + covariance.T) + 1e-12 * np.eye(farm))
    off = root @ rng.standard_normal((farm, draws))
    z[:farm] += off
    if wanted.size:
        block = belief.precision[wanted][:, wanted]
        facts = belief.jacobian[:, wanted]
        touched = np.flatnonzero(np.diff(facts.indptr))
        part = facts[touched]
        noise = part.T @ (np.sqrt(belief.weight[touched])[:, None] * rng.standard_normal((len(touched), draws)))
        noise = noise + rng.standard_normal((len(wanted), draws)) - belief.precision[wanted][:, :farm] @ off
        z[wanted] += _solver(block)(np.asarray(noise))
    return z


def _wanted(belief: Belief, lots: NDArray[np.bool_] | None) -> Ints:
    local = belief.latents.colour >= 0
    if lots is None:
        return np.flatnonzero(local)
    chosen = np.zeros(belief.latents.size, dtype=bool)
    for i in np.flatnonzero(lots):
        chosen[belief.latents.bearing[i]] = True
    open_clutch = ~belief.arrays.arrived
    chosen[belief.latents.clutch[:, open_clutch].ravel()] = True
    return np.flatnonzero(chosen & local)
