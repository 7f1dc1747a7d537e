"""The search for the unknowns that fit best: damped Gauss-Newton with derivatives taken through the walk itself.

Lots that share no crickets are independent once the farm's level is given. So one step is tried at several lengths at
once and each family of lots takes the length that suits it: one stubborn lot never holds the others back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import ndtri, stdtrit

from chirr.engine.colony.arrow import Arrow
from chirr.engine.colony.facts import TAIL, Facts, predict, pull, spread
from chirr.engine.colony.history import Kind
from chirr.engine.colony.latents import Latents
from chirr.engine.colony.schedule import ClutchArrays, Schedule
from chirr.engine.colony.walk import Biology, Laid, Told, walk

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_STEP, _LONGEST = 0.05, 3.0
PRIOR_TAIL, _FAR, _EARLY = 3.0, 4.0, 1
NEAR, NEAR_ENOUGH_TO_GO_ON = 0.02, 10.0
"""A step that gains less log posterior than the first ends the search: no number lies further than a fifth of its
spread from the best. Less than the second ends one whose outcome is only where the next begins."""

_FARM_LENGTHS, _OWN_LENGTHS = (1.0, 0.3), (1.0, 0.5, 0.2, 0.0)
"""Lengths at which a step of the farm's level, and of each family's own unknowns, is tried."""


@dataclass(slots=True, kw_only=True)
class Point:
    """One set of unknowns with everything that was worked out there.

    off: how many spreads each fact lies off; score: log posterior, up to a constant.
    """

    z: Floats
    told: Told
    sd: Floats
    off: Floats
    gradient: Floats
    curve: Floats
    jacobian: Any
    prior_weight: Floats
    score: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmPrior:
    """A normal prior of the farm's unknowns: mean, shape (farm's unknowns,), and precision, (same, same)."""

    mean: Floats
    precision: Floats

    @classmethod
    def published(cls, unknowns: int) -> FarmPrior:
        """That of published values: the unknowns are in their standard units."""
        return cls(mean=np.zeros(unknowns), precision=np.eye(unknowns))

    def log(self, z: Floats) -> float:
        """Log density of the farm's unknowns (farm's unknowns,), up to a constant."""
        return float(0.5 * (z - self.mean) @ self.pull(z))

    def pull(self, z: Floats) -> Floats:
        """Gradient of it."""
        return np.asarray(-self.precision @ (z - self.mean))


class Search:
    """A farm's facts and the walk that should explain them; `farm_prior` is that of published values by default."""

    def __init__(
        self,
        latents: Latents,
        schedule: Schedule,
        arrays: ClutchArrays,
        bio: Biology,
        facts: Facts,
        laid: Laid,
        farm_prior: FarmPrior | None = None,
    ) -> None:
        self.farm = int((latents.families.family < 0).sum())
        self.farm_prior = farm_prior or FarmPrior.published(self.farm)
        self.latents, self.schedule, self.arrays = latents, schedule, arrays
        self.bio, self.facts, self.laid = bio, facts, laid
        self.columns = _Columns.of(facts, latents, schedule)
        self.shifts = self.columns.shifts(latents)
        self.family = latents.families.family
        self.fact_family = self.columns.families(self.family)
        accidents = np.concatenate([latents.clutch[1:].ravel(), latents.lot[1:3].ravel()])
        self.heavy = np.zeros(latents.size, dtype=bool)
        self.heavy[accidents[accidents >= 0]] = True

    def look(self, z: Floats, *, blur: float = 1.0) -> Point:
        """Walk at `z` and beside it in every direction."""
        batch = walk(z[:, None] + self.shifts, self.latents, self.schedule, self.arrays, self.laid, self.bio)
        said = predict(batch, self.facts)
        told = _first_draw(batch)
        sd = spread(told, self.facts)
        gradient, curve, loglik = pull(said[:, 0], sd, self.facts, blur=blur)
        return Point(
            z=z,
            told=told,
            sd=sd,
            off=np.where(self.facts.bounded, 0.0, (self.facts.value - said[:, 0]) / sd),
            gradient=gradient,
            curve=curve,
            jacobian=self.columns.sparse((said[:, 1:] - said[:, :1]) / _STEP),
            prior_weight=np.where(self.heavy, (PRIOR_TAIL + 1) / (PRIOR_TAIL + z**2), 1.0),
            score=float(loglik.sum() + self.log_prior(z)[self.farm :].sum()) + self.farm_prior.log(z[: self.farm]),
        )

    def log_prior(self, z: Floats) -> Floats:
        """Log prior of each unknown but the farm's, up to a constant: normal, with Student's tails for accidents.

        Mould, a dried-out tray, a sick lot: one clutch or lot may be far from all others without that saying anything
        of the farm.
        """
        tail = -0.5 * (PRIOR_TAIL + 1) * np.log1p(z**2 / PRIOR_TAIL)
        return np.asarray(np.where(self.heavy, tail, -0.5 * z**2))

    def climb(self, point: Point, *, blur: float = 1.0, steps: int, near: float = NEAR) -> Point:
        """At most so many gaining steps from a point, fewer once they gain next to nothing."""
        for _ in range(steps):
            arrow = Arrow(self.precision(point), self.family)
            pull_of_prior = -point.prior_weight * point.z
            pull_of_prior[: self.farm] = self.farm_prior.pull(point.z[: self.farm])
            step = arrow.solve(point.jacobian.T @ point.gradient + pull_of_prior)
            z, score = self._best_lengths(point, np.clip(step, -_LONGEST, _LONGEST), blur=blur)
            if score < point.score + near:
                return point
            new = self.look(z, blur=blur)
            if new.score <= point.score:
                return point
            point = new
        return point

    def as_sure_as_tails_allow(self, point: Point) -> Point:
        """A point with the weights of facts and priors that have Student's tails lowered for the final precision.

        The weights of the search, averaged over errors as they come, are 1; what such an error really tells is its
        Fisher information, (v + 1) / (v + 3) for v degrees of freedom (Lange, Little and Taylor 1989, J. Am. Stat.
        Assoc. 84:881). Priors with such tails matter where facts say little; there the lower weight gives the
        normal the 80 % band of Student's t.
        """
        facts = (TAIL + 1) / (TAIL + 3)
        at_middle = (PRIOR_TAIL + 1) / PRIOR_TAIL
        prior = (ndtri(0.9) / stdtrit(PRIOR_TAIL, 0.9)) ** 2 / at_middle
        return replace(
            point,
            curve=np.where(self.facts.bounded, point.curve, facts * point.curve),
            prior_weight=np.where(self.heavy, prior * point.prior_weight, point.prior_weight),
        )

    def believe_accidents(self, point: Point) -> Point:
        """Where a lot was counted far below what is believed, try that it met with an accident; keep what fits better.

        From far off a lost hatch and a slip of the pen look alike to a search that climbs, so both ends are tried.
        """
        low = np.flatnonzero((point.off < -_FAR) & np.isin(self.facts.what, (0, 2)))
        z = point.z.copy()
        for i in low:
            lot = self.schedule.lot[self.facts.row[i]]
            slot = self.latents.lot[_EARLY, lot]
            pull_of = float(point.jacobian[i, slot]) if slot >= 0 else 0.0
            if pull_of > 0:
                z[slot] = min(z[slot], point.z[slot] + point.off[i] * point.sd[i] / pull_of)
        if np.array_equal(z, point.z):
            return point
        scores = self._family_scores(np.stack([point.z, z], axis=1), point.sd, blur=1.0)
        lost = scores[:, 1] > scores[:, 0]
        z = np.where((self.family >= 0) & lost[self.family], z, point.z)
        return point if np.array_equal(z, point.z) else self.look(z)

    def _family_scores(self, z: Floats, sd: Floats, *, blur: float) -> Floats:
        """Log posterior of each family's own part under columns of `z`, shape (families + 1, columns)."""
        batch = walk(z, self.latents, self.schedule, self.arrays, self.laid, self.bio)
        said = predict(batch, self.facts)
        local = self.family >= 0
        scores = np.zeros((int(self.family.max(initial=-1)) + 2, z.shape[1]))
        for k in range(z.shape[1]):
            np.add.at(scores[:, k], self.fact_family, pull(said[:, k], sd, self.facts, blur=blur)[2])
            np.add.at(scores[:, k], self.family, np.where(local, self.log_prior(z[:, k]), 0.0))
        return scores

    def _best_lengths(self, point: Point, step: Floats, *, blur: float = 1.0) -> tuple[Floats, float]:
        """The best of the lengths tried, for the farm as a whole and for each family by itself."""
        local = self.family >= 0
        tried = [(f, own) for f in _FARM_LENGTHS for own in _OWN_LENGTHS]
        z = np.stack([point.z + np.where(local, own, f) * step for f, own in tried], axis=1)
        scores = self._family_scores(z, point.sd, blur=blur)
        best, best_score = point.z, -np.inf
        for n, length in enumerate(_FARM_LENGTHS):
            mine = scores[:, n * len(_OWN_LENGTHS) : (n + 1) * len(_OWN_LENGTHS)]
            choice = mine.argmax(axis=1)
            own = np.asarray(_OWN_LENGTHS)[choice]
            new = point.z + np.where(local, own[self.family], length) * step
            total = float(mine.max(axis=1).sum()) + self.farm_prior.log(new[: self.farm])
            if total > best_score:
                best, best_score = new, total
        return best, best_score

    def precision(self, point: Point) -> Any:
        """Precision of the unknowns at a point: the prior's, near one each, and what the facts add."""
        prior = sparse.block_diag(
            [self.farm_prior.precision, sparse.diags(point.prior_weight[self.farm :])], format="csr"
        )
        return (prior + point.jacobian.T @ sparse.diags(point.curve) @ point.jacobian).tocsc()

    def who_laid(self, told: Told) -> None:
        """Take the females and their age when each tray went in as now believed; the usual ones where nobody knows."""
        rows = np.flatnonzero(self.schedule.kind == Kind.LAY)
        females, age = self.laid.females.copy(), self.laid.age_days.copy()
        females[self.schedule.other[rows]] = np.maximum(self.bio.female_share * np.exp(told.log_number[rows, 0]), 1.0)
        clutch = self.schedule.other[rows]
        age[clutch] = told.adult_days[rows, 0] + 0.5 * self.arrays.days_in[clutch]
        unknown = np.setdiff1d(np.arange(len(females)), self.schedule.other[rows])
        if len(rows) and len(unknown):
            females[unknown] = np.median(females[self.schedule.other[rows]])
            age[unknown] = np.median(age[self.schedule.other[rows]])
        self.laid = Laid(females=females, age_days=age, warmth_factor=self.laid.warmth_factor)


def _first_draw(told: Told) -> Told:
    return Told(
        lots=told.lots,
        clutches=told.clutches,
        farm=told.farm,
        log_number=told.log_number[:, :1],
        log_mg=told.log_mg[:, :1],
        log_variance=told.log_variance[:, :1],
        adult_days=told.adult_days[:, :1],
    )


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
        farm = int((latents.families.family < 0).sum())
        fact, column = [], []
        for i, (what, row) in enumerate(zip(facts.what, facts.row, strict=True)):
            local = latents.families.bearing[schedule.lot[row]] if what <= 2 else latents.clutch[:, row]
            fact.append(np.full(len(local), i))
            column.append(local)
        f = np.concatenate([*fact, np.zeros(0, dtype=np.int64)]).astype(np.int64)
        c = np.concatenate([*column, np.zeros(0, dtype=np.int64)]).astype(np.int64)
        return cls(
            farm=farm,
            fact=f,
            column=c,
            source=farm + latents.families.colour[c],
            size=latents.size,
            facts=len(facts.what),
            own_only=np.isneginf(facts.low),
        )

    def shifts(self, latents: Latents) -> Floats:
        """Steps from the point itself: none, each farm unknown alone, each colour together; (latents, 1 + ...)."""
        out = np.zeros((self.size, 1 + self.farm + latents.families.colours))
        out[np.arange(self.farm), 1 + np.arange(self.farm)] = _STEP
        local = np.arange(self.farm, self.size)
        out[local, 1 + self.farm + latents.families.colour[local]] = _STEP
        return out

    def sparse(self, slope: Floats) -> Any:
        """The derivatives of all facts by all unknowns, shape (facts, latents).

        'Not yet hatched' tells of its own clutch only: an overdue tray is a failure more often than a sign that all
        the farm's eggs are slow.
        """
        dense = sparse.csr_matrix(np.where(self.own_only[:, None], 0.0, slope[:, : self.farm]))
        wide = sparse.csr_matrix((dense.data, dense.indices, dense.indptr), shape=(self.facts, self.size))
        local = sparse.csr_matrix(
            (slope[self.fact, self.source], (self.fact, self.column)), shape=(self.facts, self.size)
        )
        return (wide + local).tocsr()

    def families(self, family: Ints) -> Ints:
        """The family of each fact, the last one where it has none."""
        fact = np.full(self.facts, int(family.max(initial=-1)) + 1, dtype=np.int64)
        fact[self.fact] = family[self.column]
        return fact
