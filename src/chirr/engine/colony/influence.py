"""Why a figure is what it is: how far each fact moved it, and how far one measurement more would narrow it.

Belief is a normal distribution, so both answers are the textbook's: leaving a fact out of a linear fit, and the
variance that a new observation takes away. What a figure rests on is its own family of lots, looked at fact by fact,
and the farm's level, through which the facts of all other lots speak; those are gathered by kind.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chirr.engine.colony.arrow import Arrow
from chirr.engine.colony.belief import Belief
from chirr.engine.colony.facts import Facts, predict, pull, spread
from chirr.engine.colony.walk import walk

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

KINDS = ("hatches", "looks in vain", "egg counts", "pinhead counts", "cricket counts", "weighings", "harvests")
"""Kinds of facts, in the order of `kind_of`."""


def kind_of(facts: Facts) -> Ints:
    """Kind of each fact, an index into KINDS, shape (facts,)."""
    eggs, pinheads, crickets = facts.counted
    unseen = (facts.what == 5) & np.isneginf(facts.low)
    chosen = [facts.what == 5, unseen, eggs, pinheads, crickets, facts.what == 1, facts.what == 2]
    out = np.zeros(len(facts.what), dtype=np.int64)
    for k, mine in enumerate(chosen):
        out[mine] = k
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """How far facts moved a figure: its value with them less its value without them.

    facts: shape (n,), one fact of the thing's own family, or all those of one kind elsewhere on the farm.
    """

    by: float
    kind: int
    facts: Ints
    own: bool


class Ground:
    """What all figures of one belief share: the pull of each fact, and the farm's level without those of a kind."""

    def __init__(self, belief: Belief) -> None:
        self.belief = belief
        told = walk(
            belief.mode[:, None], belief.latents, belief.schedule, belief.arrays, belief.laid, belief.bio
        )  # fmt: skip
        sd = spread(told, belief.facts)
        self.gradient = pull(predict(told, belief.facts)[:, 0], sd, belief.facts)[0]
        self.arrow = belief.arrow
        self.kind = kind_of(belief.facts)
        self.fact_family = _fact_families(belief)
        self.place = {
            int(name): (n, k) for n, g in enumerate(self.arrow.groups) for k, name in enumerate(g.family)
        }  # fmt: skip
        self._without: dict[int, tuple[Floats, Floats]] = {}

    def without(self, kind: int) -> tuple[Floats, Floats]:
        """Precision of the farm's level without any fact of a kind, and how those facts pulled at it.

        Everything else is integrated out: shapes (farm, farm) and (farm,).
        """
        if kind not in self._without:
            b, mine = self.belief, self.kind == kind
            j = b.jacobian[mine]
            less = (b.precision - j.T @ j.multiply(b.weight[mine][:, None]).tocsr()).tocsc()
            arrow = Arrow(less, b.family)
            self._without[kind] = arrow.schur, _reduced(arrow, j.T @ self.gradient[mine])
        return self._without[kind]

    def around(self, unknowns: Ints) -> Surroundings:
        """The surroundings of figures that rest on these unknowns and on the farm's level."""
        names = np.unique(self.belief.family[unknowns])
        return Surroundings.of(self, names[names >= 0])


def _fact_families(belief: Belief) -> Ints:
    """Family of each fact; -1 for one that bears on the farm's level only."""
    facts, latents = belief.facts, belief.latents
    out = np.full(len(facts.what), -1, dtype=np.int64)
    of_lot = facts.what <= 2
    first = np.array([int(g[0]) if len(g) else -1 for g in latents.families.bearing], dtype=np.int64)
    if of_lot.any():
        local = first[belief.schedule.lot[facts.row[of_lot]]]
        out[of_lot] = np.where(local >= 0, belief.family[local], -1)
    out[~of_lot] = belief.family[latents.clutch[0, facts.row[~of_lot]]]
    return out


def _reduced(arrow: Arrow, wanted: Floats) -> Floats:
    """A pull on all unknowns as it comes through to the farm's level, shape (farm,)."""
    right = wanted[: arrow.farm].copy()
    for g in arrow.groups:
        right -= np.einsum("ksf,ks->f", g.solved, wanted[g.member])
    return right


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """The farm's level and some families, all others integrated out.

    unknowns: shape (n,), the farm's first; precision, covariance: (n, n); facts: own facts (m,); jacobian: (m, n).
    """

    ground: Ground
    unknowns: Ints
    precision: Floats
    covariance: Floats
    facts: Ints
    jacobian: Floats

    @classmethod
    def of(cls, ground: Ground, families: Ints) -> Surroundings:
        """Farm and families, with what the other families say of the farm kept in."""
        arrow, belief = ground.arrow, ground.belief
        parts = [(arrow.groups[n], k) for n, k in (ground.place[int(name)] for name in families)]
        unknowns = np.concatenate([np.arange(arrow.farm), *(g.member[k] for g, k in parts)])
        precision = np.zeros((len(unknowns), len(unknowns)))
        precision[: arrow.farm, : arrow.farm] = arrow.schur
        at = arrow.farm
        for g, k in parts:
            here = slice(at, at + len(g.member[k]))
            precision[here, here] = g.block[k]
            precision[here, : arrow.farm] = g.border[k]
            precision[: arrow.farm, here] = g.border[k].T
            precision[: arrow.farm, : arrow.farm] += g.border[k].T @ g.solved[k]
            at = here.stop
        facts = np.flatnonzero(np.isin(ground.fact_family, families))
        return cls(
            ground=ground,
            unknowns=unknowns,
            precision=precision,
            covariance=np.asarray(np.linalg.inv(precision), dtype=np.float64),
            facts=facts,
            jacobian=belief.jacobian[facts][:, unknowns].toarray(),
        )

    def spread_on(self, slope: Floats) -> Floats:
        """Slopes by all unknowns (latents,) as slopes by those here, shape (n,)."""
        return np.asarray(slope[self.unknowns])

    def variance(self, slope: Floats) -> float:
        """Variance of a figure with this slope by all unknowns (latents,)."""
        g = self.spread_on(slope)
        return float(g @ self.covariance @ g)

    def taken_away(self, figure: Floats, measurement: Floats, noise_sd: float) -> float:
        """Variance that one measurement would take from a figure: cov^2 / (variance of its prediction + noise^2).

        Parameters
        ----------
        figure, measurement : ndarray, shape (latents,)
            Slopes of the figure and of what the measurement should show.
        noise_sd : float
            Standard deviation of its error, on the same scale.

        References
        ----------
        Rasmussen and Williams (2006), Gaussian Processes for Machine Learning, eq. A.6: conditioning a normal.
        """
        g, m = self.spread_on(figure), self.covariance @ self.spread_on(measurement)
        return float((g @ m) ** 2 / (self.spread_on(measurement) @ m + noise_sd**2))

    def moved(self, slope: Floats) -> list[Moved]:
        """Own facts one by one and all others by kind, the one that moved the figure most first.

        References
        ----------
        Leaving out one observation of a linear fit: Cook and Weisberg (1982), Residuals and Influence in Regression,
        ch. 2; here with the prior as so many observations more.
        """
        g = self.spread_on(slope)
        weight, pulled = self.ground.belief.weight[self.facts], self.ground.gradient[self.facts]
        reach = self.jacobian @ self.covariance
        known = np.minimum(weight * np.einsum("mn,mn->m", reach, self.jacobian), 1 - 1e-6)
        each = (reach @ g) * pulled / (1 - known)
        found = [
            Moved(by=float(by), kind=int(self.ground.kind[i]), facts=np.array([i]), own=True)
            for i, by in zip(self.facts, each, strict=True)
        ]
        elsewhere = np.setdiff1d(np.arange(len(self.ground.kind)), self.facts)
        for kind in np.unique(self.ground.kind[elsewhere]).tolist():
            those = elsewhere[self.ground.kind[elsewhere] == kind]
            found.append(Moved(by=self._moved_by_others(kind, g), kind=kind, facts=those, own=False))
        return sorted(found, key=lambda m: -abs(m.by))

    def _moved_by_others(self, kind: int, g: Floats) -> float:
        """What all facts of a kind outside these families did to a figure with slope `g` (n,)."""
        farm, ground = self.ground.arrow.farm, self.ground
        schur, pulled = ground.without(kind)
        kept = ground.kind[self.facts] != kind
        weight = ground.belief.weight[self.facts]
        j, gone = self.jacobian, self.jacobian[~kept]
        own = self.precision - gone.T @ (weight[~kept, None] * gone)  # these families without their facts of the kind
        block, border = own[farm:, farm:], own[farm:, :farm]
        pull_own = gone.T @ ground.gradient[self.facts][~kept]
        through = np.linalg.solve(block, np.column_stack([border, pull_own[farm:]])) if len(block) else None
        said = j[kept][:, :farm].T @ (weight[kept, None] * j[kept][:, :farm])
        if through is not None:
            said = said - border.T @ through[:, :-1]
            pulled = pulled - (pull_own[:farm] - border.T @ through[:, -1])
        precision = self.precision.copy()
        everything = j[:, :farm].T @ (weight[:, None] * j[:, :farm])
        precision[:farm, :farm] = schur - said + everything
        right = np.concatenate([pulled, np.zeros(len(g) - farm)])
        return float(g @ np.linalg.solve(precision, right))
