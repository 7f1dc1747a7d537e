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
from chirr.engine.colony.evidence import Jacobian, Layout
from chirr.engine.colony.facts import TAIL, Facts, pull
from chirr.engine.colony.handfuls import Handful, make_handfuls, of_each
from chirr.engine.colony.history import Kind
from chirr.engine.colony.latents import Latents
from chirr.engine.colony.schedule import ClutchArrays, Schedule
from chirr.engine.colony.slopes import see
from chirr.engine.colony.walk import Biology, Laid, Told, walk

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_LONGEST = 3.0
PRIOR_TAIL, _FAR, _EARLY = 3.0, 4.0, 1
NEAR, EACH_FAMILY, NEAR_ENOUGH_TO_GO_ON = 0.02, 0.0005, 10.0
"""The search ends when a step would gain no family as much log posterior as the first, and the whole farm no more than
that and so much for each family: numbers lie within about a third of their spread from the best. A search whose
outcome is only where the next one begins ends when the whole farm would gain less than the third."""

FEW_FAMILIES, _OWN_STEPS = 0.2, 8
"""While at most this share of the families that have facts gain by a step, they are brought near their best, in at most
so many steps, before the whole farm is walked again."""

_FARM_LENGTHS, _OWN_LENGTHS = (1.0, 0.3), (1.8, 1.0, 0.4, 0.0)
"""Lengths at which a step of the farm's level, and of each family's own unknowns, is tried."""


@dataclass(slots=True, kw_only=True)
class Point:
    """One set of unknowns with everything that was worked out there.

    off: how many spreads each fact lies off; score: log posterior, up to a constant, and the part of it that is each
    family's own, shape (families + 1,).
    """

    z: Floats
    sd: Floats
    off: Floats
    gradient: Floats
    curve: Floats
    jacobian: Jacobian
    prior_weight: Floats
    score: float
    of_family: Floats


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
        handfuls: list[Handful] | None = None,
    ) -> None:
        self.farm = int((latents.families.family < 0).sum())
        self.farm_prior = farm_prior or FarmPrior.published(self.farm)
        self.latents, self.schedule, self.arrays = latents, schedule, arrays
        self.bio, self.facts, self.laid = bio, facts, laid
        self.family = latents.families.family
        self.handfuls = handfuls or make_handfuls(latents, schedule, arrays, facts)
        self.layout = Layout(self.handfuls, self.family, len(facts.what))
        nobody = int(self.family.max(initial=-1)) + 1
        self.fact_family = np.where(self.layout.of_fact < 0, nobody, self.layout.of_fact)
        self.told = len(np.unique(self.fact_family))
        self.own_only = np.isneginf(facts.low)
        """'Not yet hatched' tells of its own clutch only: an overdue tray is a failure more often than a sign that all
        the farm's eggs are slow."""
        accidents = np.concatenate([latents.clutch[1:].ravel(), latents.lot[1:3].ravel()])
        self.heavy = np.zeros(latents.size, dtype=bool)
        self.heavy[accidents[accidents >= 0]] = True

    def with_latents(self, latents: Latents) -> Search:
        """The same search with the unknowns scaled otherwise."""
        handfuls = [h.with_spreads_of(latents) for h in self.handfuls]
        return Search(latents, self.schedule, self.arrays, self.bio, self.facts, self.laid, self.farm_prior, handfuls)

    def with_spreads_of(self, other: Search) -> Search:
        """The same search with the spreads, and who laid what, of another one of the same farm."""
        new = self.with_latents(other.latents)
        new.laid = other.laid
        return new

    def with_facts(self, some: Ints) -> Search:
        """The same search on some of its facts, by number."""
        facts = self.facts.take(some)
        return Search(self.latents, self.schedule, self.arrays, self.bio, facts, self.laid, self.farm_prior)

    def look(self, z: Floats, *, blur: float = 1.0) -> Point:
        """Walk at `z` and beside it in every direction."""
        seen = of_each(self.handfuls, lambda h: see(h, z[h.part.unknowns], self.laid, self.bio))
        said, sd = np.empty(len(self.facts.what)), np.empty(len(self.facts.what))
        for h, one in zip(self.handfuls, seen, strict=True):
            said[h.facts], sd[h.facts] = one.said, one.sd
        gradient, curve, loglik = pull(said, sd, self.facts, blur=blur)
        of_family = self._prior_of_families(z) + self._of_families(loglik)
        return Point(
            z=z,
            sd=sd,
            off=np.where(self.facts.bounded, 0.0, (self.facts.value - said) / sd),
            gradient=gradient,
            curve=curve,
            jacobian=Jacobian.of(self.layout, self.handfuls, seen, self.own_only),
            prior_weight=np.where(self.heavy, (PRIOR_TAIL + 1) / (PRIOR_TAIL + z**2), 1.0),
            score=float(of_family.sum()) + self.farm_prior.log(z[: self.farm]),
            of_family=of_family,
        )

    def log_prior(self, z: Floats) -> Floats:
        """Log prior of each unknown but the farm's, up to a constant: normal, with Student's tails for accidents.

        Mould, a dried-out tray, a sick lot: one clutch or lot may be far from all others without that saying anything
        of the farm.
        """
        tail = -0.5 * (PRIOR_TAIL + 1) * np.log1p(z**2 / PRIOR_TAIL)
        return np.asarray(np.where(self.heavy, tail, -0.5 * z**2))

    def climb(self, point: Point, *, blur: float = 1.0, steps: int, near: float | None = None) -> Point:
        """At most so many gaining steps from a point, fewer once they gain next to nothing."""
        final, near = near is None, NEAR if near is None else near
        near += EACH_FAMILY * (int(self.family.max(initial=-1)) + 1)
        for _ in range(steps):
            step = self._arrow(point).solve(self._pull(point))
            z, score, of_family = self._best_lengths(point, step, _FARM_LENGTHS, blur=blur)
            gaining = of_family >= point.of_family + NEAR
            done = score < point.score + near
            if score <= point.score or (done and not (final and gaining.any())):
                return point
            few = final and gaining.sum() <= FEW_FAMILIES * self.told
            new = self.look(self._settled(z, gaining, blur=blur) if few else z, blur=blur)
            if new.score <= point.score:
                return point
            point = new
            if done and few:
                return point
        return point

    def _settled(self, z: Floats, families: NDArray[np.bool_], *, blur: float, steps: int = _OWN_STEPS) -> Floats:
        """Unknowns with some families brought near their own best while the farm's level stays where it is.

        Where only a few still move, the others need not be walked again and again for their sake.
        """
        own = self.with_facts(np.flatnonzero(families[self.fact_family]))
        point = own.look(z, blur=blur)
        for done in range(1, steps + 1):
            step = np.where(families[self.family], own._arrow(point).solve_families(own._pull(point)), 0.0)
            z, _, of_family = own._best_lengths(point, step, (0.0,), blur=blur)
            gaining = of_family >= point.of_family + NEAR
            if not gaining.any():
                return point.z
            if gaining.sum() <= FEW_FAMILIES * own.told:
                return own._settled(z, gaining, blur=blur, steps=steps - done)
            new = own.look(z, blur=blur)
            if new.score <= point.score:
                return point.z
            point = new
        return point.z

    def _arrow(self, point: Point) -> Arrow:
        """The precision at a point."""
        return point.jacobian.evidence(point.curve).arrow(self.farm_prior.precision, point.prior_weight)

    def _pull(self, point: Point) -> Floats:
        """Gradient of the log posterior at a point, shape (latents,)."""
        prior = -point.prior_weight * point.z
        prior[: self.farm] = self.farm_prior.pull(point.z[: self.farm])
        return np.asarray(point.jacobian.pulled(point.gradient) + prior)

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
            pull_of = float(point.jacobian.by(slot)[i]) if slot >= 0 else 0.0
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
        said = of_each(self.handfuls, lambda h: h.said(h.tell(z[h.part.unknowns], self.laid, self.bio)))
        every = np.empty((len(self.facts.what), z.shape[1]))
        for h, one in zip(self.handfuls, said, strict=True):
            every[h.facts] = one
        scores = np.stack([self._prior_of_families(one) for one in z.T], axis=1)
        for k in range(z.shape[1]):
            scores[:, k] += self._of_families(pull(every[:, k], sd, self.facts, blur=blur)[2])
        return scores

    def _of_families(self, by_fact: Floats) -> Floats:
        """What facts add up to in each family, and those of no family, shape (families + 1,)."""
        families = int(self.family.max(initial=-1)) + 1
        return np.bincount(self.fact_family, weights=by_fact, minlength=families + 1).astype(np.float64)

    def _prior_of_families(self, z: Floats) -> Floats:
        """Log prior of each family's own unknowns, and 0 for no family, shape (families + 1,)."""
        families = int(self.family.max(initial=-1)) + 1
        own = self.log_prior(z)[self.farm :]
        return np.bincount(self.family[self.farm :], weights=own, minlength=families + 1).astype(np.float64)

    def _best_lengths(
        self, point: Point, step: Floats, of_farm: tuple[float, ...], *, blur: float = 1.0
    ) -> tuple[Floats, float, Floats]:
        """The best of the lengths tried, for the farm as a whole and for each family by itself, with its scores."""
        local, step = self.family >= 0, np.clip(step, -_LONGEST, _LONGEST)
        tried = [(f, own) for f in of_farm for own in _OWN_LENGTHS]
        z = np.stack([point.z + np.where(local, own, f) * step for f, own in tried], axis=1)
        scores = self._family_scores(z, point.sd, blur=blur)
        best, best_score, of_family = point.z, -np.inf, point.of_family
        for n, length in enumerate(of_farm):
            mine = scores[:, n * len(_OWN_LENGTHS) : (n + 1) * len(_OWN_LENGTHS)]
            choice = mine.argmax(axis=1)
            own = np.asarray(_OWN_LENGTHS)[choice]
            new = point.z + np.where(local, own[self.family], length) * step
            total = float(mine.max(axis=1).sum()) + self.farm_prior.log(new[: self.farm])
            if total > best_score:
                best, best_score, of_family = new, total, mine.max(axis=1)
        return best, best_score, of_family

    def precision(self, point: Point) -> Any:
        """Precision of the unknowns at a point as a sparse matrix: the prior's, and what the facts add."""
        prior = sparse.block_diag(
            [self.farm_prior.precision, sparse.diags(point.prior_weight[self.farm :])], format="csr"
        )
        jacobian = point.jacobian.sparse()
        return (prior + jacobian.T @ sparse.diags(point.curve) @ jacobian).tocsc()

    def tell(self, z: Floats) -> Told:
        """The story of every lot at `z`."""
        return walk(z[:, None], self.latents, self.schedule, self.arrays, self.laid, self.bio)

    def who_laid_at(self, z: Floats) -> None:
        """Take the females and their age when each tray went in as believed at `z`; the usual ones if nobody knows."""
        told = self.tell(z)
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
