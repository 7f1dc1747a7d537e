"""Slopes of all facts by all unknowns, and what they add to the precision: family by family, as small dense blocks.

A fact has slopes by the farm's unknowns and by those of its own family only. Families with as many unknowns and about
as many facts are worked on together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from itertools import groupby
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from chirr.engine.colony.arrow import Arrow, Blocks
from chirr.engine.colony.handfuls import Handful
from chirr.engine.colony.slopes import Seen

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_FACTS_ALIKE = 4
"""Families whose numbers of facts lie within so many are worked on together, the smaller ones padded with nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Alike:
    """Families of one size with about as many facts.

    facts: shape (families, most facts), the number of all facts for none; pairs: which local slopes are theirs, and
    `place` where these stand in an array of shape (families, most facts, size).
    """

    family: Ints
    member: Ints
    facts: Ints
    pairs: Ints
    place: Ints


class Layout:
    """Which unknown bears on which fact, and how the families are put together.

    fact, unknown: shape (pairs,); family: of each unknown, -1 for the farm's; of_fact: of each fact, -1 for none.
    """

    def __init__(self, handfuls: Sequence[Handful], family: Ints, facts: int) -> None:
        none = np.zeros(0, dtype=np.int64)
        self.family, self.farm, self.facts = family, int((family < 0).sum()), facts
        self.fact = np.concatenate([none, *(h.facts[h.of_fact] for h in handfuls)])
        self.unknown = np.concatenate([none, *(h.part.unknowns[h.bears] for h in handfuls)])
        self.of_fact = np.full(facts, -1, dtype=np.int64)
        self.of_fact[self.fact] = family[self.unknown]

    @cached_property
    def alike(self) -> list[_Alike]:
        """The families that have facts, put together."""
        families = int(self.family.max(initial=-1)) + 1
        told = np.zeros(families + 1, dtype=bool)
        told[self.of_fact], told[-1] = True, False
        local = np.flatnonzero(told[self.family])
        member, place, sizes = _listed(local, self.family[local], families, len(self.family))
        own = np.flatnonzero(self.of_fact >= 0)
        facts, row, many = _listed(own, self.of_fact[own], families, self.facts)
        most = -(-many // _FACTS_ALIKE) * _FACTS_ALIKE
        kinds, kind = np.unique(np.stack([sizes, most]), axis=1, return_inverse=True)
        of_pair = self.of_fact[self.fact]
        by_kind = np.argsort(kind[of_pair], kind="stable")
        bounds = np.searchsorted(kind[of_pair][by_kind], np.arange(kinds.shape[1] + 1))
        start, first = np.cumsum(sizes) - sizes, np.cumsum(many) - many
        number, out = np.zeros(families, dtype=np.int64), []
        for n, (size, width) in enumerate(kinds.T.tolist()):
            if not size:
                continue
            which = np.flatnonzero(kind == n)
            number[which] = np.arange(len(which))
            pairs = by_kind[bounds[n] : bounds[n + 1]]
            at = (number[of_pair[pairs]] * width + row[self.fact[pairs]]) * size + place[self.unknown[pairs]]
            columns = first[which][:, None] + np.arange(width)
            there = np.arange(width) < many[which][:, None]
            padded = np.append(facts, self.facts)
            out.append(
                _Alike(
                    family=which, member=member[start[which][:, None] + np.arange(size)],
                    facts=padded[np.where(there, columns, len(facts))], pairs=pairs, place=at,
                )
            )  # fmt: skip
        return out


def _listed(things: Ints, family: Ints, families: int, all_of_them: int) -> tuple[Ints, Ints, Ints]:
    """Things sorted by family, the place of each among those of its family, and how many each family has."""
    order = things[np.argsort(family, kind="stable")]
    many = np.bincount(family, minlength=families)
    place = np.zeros(all_of_them, dtype=np.int64)
    place[order] = np.arange(len(order)) - np.repeat(np.cumsum(many) - many, many)
    return order, place, many


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """Precision that facts add: that of the farm's unknowns, shape (farm's, farm's), and of each family."""

    corner: Floats
    blocks: tuple[Blocks, ...]

    def arrow(self, corner: Floats, own: Floats) -> Arrow:
        """Together with a prior's: precision of the farm's unknowns, and of each unknown above 0, shape (unknowns,)."""
        with_prior = []
        for b in self.blocks:
            block = b.block.copy()
            each = np.arange(block.shape[1])
            block[:, each, each] += own[b.member]
            with_prior.append(replace(b, block=block))
        return Arrow.of_blocks(self.corner + corner, with_prior, own)

    def scaled(self, scale: Floats) -> Evidence:
        """The same where a unit of each local unknown is so many of the old ones, shape (unknowns,)."""
        return replace(
            self,
            blocks=tuple(
                replace(
                    b,
                    block=b.block * scale[b.member][:, :, None] * scale[b.member][:, None, :],
                    border=b.border * scale[b.member][:, :, None],
                )
                for b in self.blocks
            ),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Jacobian:
    """Slopes of every fact: by_farm, shape (facts, farm's unknowns), and local, (pairs of the layout,)."""

    layout: Layout
    by_farm: Floats
    local: Floats

    @classmethod
    def of(
        cls, layout: Layout, handfuls: Sequence[Handful], seen: Sequence[Seen], own_only: NDArray[np.bool_]
    ) -> Jacobian:
        """From what was seen of each handful; facts marked `own_only` are taken to tell of their own family only."""
        by_farm = np.zeros((layout.facts, layout.farm))
        for h, one in zip(handfuls, seen, strict=True):
            by_farm[h.facts] = one.by_farm
        by_farm[own_only] = 0.0
        return cls(layout=layout, by_farm=by_farm, local=np.concatenate([np.zeros(0), *(s.local for s in seen)]))

    def pulled(self, by_fact: Floats) -> Floats:
        """Pulls at facts (facts,) as pulls at unknowns (unknowns,)."""
        local = np.bincount(
            self.layout.unknown, weights=self.local * by_fact[self.layout.fact], minlength=len(self.layout.family)
        )
        local[: self.layout.farm] = by_fact @ self.by_farm
        return np.asarray(local)

    def moved(self, z: Floats) -> Floats:
        """How far facts move (facts,) when unknowns move (unknowns,)."""
        weights = self.local * z[self.layout.unknown]
        return self.by_farm @ z[: self.layout.farm] + np.bincount(
            self.layout.fact, weights=weights, minlength=self.layout.facts
        )

    def by(self, unknown: int) -> Floats:
        """Slopes by one local unknown, shape (facts,)."""
        mine = np.flatnonzero(self.layout.unknown == unknown)
        of_facts = np.bincount(self.layout.fact[mine], weights=self.local[mine], minlength=self.layout.facts)
        return of_facts.astype(np.float64)

    def evidence(self, curve: Floats) -> Evidence:
        """What facts of this curvature (facts,) add to the precision."""
        farm = self.layout.farm
        by_farm, weight = np.vstack([self.by_farm, np.zeros(farm)]), np.append(curve, 0.0)
        blocks = []
        for a in self.layout.alike:
            own = np.zeros((*a.facts.shape, a.member.shape[1]))
            own.ravel()[a.place] = self.local[a.pairs]
            weighed = np.swapaxes(own * weight[a.facts][..., None], 1, 2)
            blocks.append(
                Blocks(family=a.family, member=a.member, block=weighed @ own, border=weighed @ by_farm[a.facts])
            )
        return Evidence(corner=self.by_farm.T @ (curve[:, None] * self.by_farm), blocks=tuple(_by_size(blocks)))

    def sparse(self) -> Any:
        """All of them as a sparse matrix of shape (facts, unknowns)."""
        facts, farm = self.by_farm.shape
        row = np.concatenate([np.repeat(np.arange(facts), farm), self.layout.fact])
        column = np.concatenate([np.tile(np.arange(farm), facts), self.layout.unknown])
        data = np.concatenate([self.by_farm.ravel(), self.local])
        return sparse.csr_matrix((data, (row, column)), shape=(facts, len(self.layout.family)))


def _by_size(blocks: Sequence[Blocks]) -> list[Blocks]:
    """Those of one size, which follow one another, as one."""
    out = []
    for _, some in groupby(blocks, key=lambda b: b.block.shape[1]):
        same = list(some)
        parts = {f.name: np.concatenate([getattr(b, f.name) for b in same]) for f in fields(Blocks)}
        out.append(same[0] if len(same) == 1 else Blocks(**parts))
    return out
