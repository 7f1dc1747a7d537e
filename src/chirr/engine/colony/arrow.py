"""Solving and drawing with a precision matrix of arrow shape.

The farm's unknowns touch everything; every other unknown touches only its own family. So each family is one small
dense block beside a thin border, blocks of one size are worked on together, and the cost grows with the number of
families and no faster.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocks:
    """Families of one size: their names (families,), members (families, size), blocks (families, size, size), and
    their border with the farm's unknowns (families, size, farm's)."""

    family: Ints
    member: Ints
    block: Floats
    border: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class _Solved(Blocks):
    """The same with the inverse of each block, and with the border solved against the blocks."""

    inverse: Floats
    solved: Floats

    @classmethod
    def of(cls, b: Blocks) -> _Solved:
        inverse = np.asarray(np.linalg.inv(b.block), dtype=np.float64)
        return cls(
            family=b.family, member=b.member, block=b.block, border=b.border, inverse=inverse,
            solved=inverse @ b.border,
        )  # fmt: skip


class Arrow:
    """A precision matrix of shape (unknowns, unknowns), the farm's unknowns first.

    Parameters
    ----------
    precision : scipy sparse matrix
        Symmetric and positive definite; no entry between two families.
    family : ndarray of int, shape (unknowns,)
        Family of each unknown, -1 for the farm's.
    """

    def __init__(self, precision: Any, family: Ints) -> None:
        entries = precision.tocoo()
        row, column, value = entries.row.astype(np.int64), entries.col.astype(np.int64), entries.data
        farm, size = int((family < 0).sum()), len(family)
        corner = np.zeros((farm, farm))
        own = (row < farm) & (column < farm)
        corner[row[own], column[own]] = value[own]
        border = np.zeros((size, farm))
        side = (row >= farm) & (column < farm)
        border[row[side], column[side]] = value[side]
        inside = (row >= farm) & (column >= farm)
        blocks = _group(family, border, row[inside], column[inside], value[inside])
        self._put_together(corner, blocks, np.ones(size))

    @classmethod
    def of_blocks(cls, corner: Floats, blocks: Sequence[Blocks], alone: Floats) -> Arrow:
        """From the farm's own part, shape (farm's, farm's), and some families.

        alone: precision of the unknowns that are in none of these, shape (unknowns,), above 0 for the others as well.
        """
        new = cls.__new__(cls)
        new._put_together(corner, blocks, alone)
        return new

    def _put_together(self, corner: Floats, blocks: Sequence[Blocks], alone: Floats) -> None:
        self.farm, self.size, self.alone = len(corner), len(alone), alone
        self.groups = [_Solved.of(b) for b in blocks]
        schur = corner
        for g in self.groups:
            schur = schur - g.border.reshape(-1, self.farm).T @ g.solved.reshape(-1, self.farm)
        self.schur = 0.5 * (schur + schur.T)

    def solve(self, wanted: Floats) -> Floats:
        """The solution x of precision @ x = wanted, shape (unknowns,)."""
        right = wanted[: self.farm].copy()
        first = []
        for g in self.groups:
            y = (g.inverse @ wanted[g.member][..., None])[..., 0]
            right -= y.ravel() @ g.border.reshape(-1, self.farm)
            first.append(y)
        out = wanted / self.alone
        out[: self.farm] = np.linalg.solve(self.schur, right)
        for g, y in zip(self.groups, first, strict=True):
            out[g.member] = y - g.solved @ out[: self.farm]
        return out

    def solve_families(self, wanted: Floats) -> Floats:
        """The same with the farm's unknowns held at 0."""
        out = wanted / self.alone
        out[: self.farm] = 0.0
        for g in self.groups:
            out[g.member] = (g.inverse @ wanted[g.member][..., None])[..., 0]
        return out

    def variances(self) -> Floats:
        """Variance of every unknown, shape (unknowns,)."""
        out = 1.0 / self.alone
        farm = np.linalg.inv(self.schur)
        out[: self.farm] = np.diag(farm)
        root = np.linalg.cholesky(farm)
        for g in self.groups:
            own = np.diagonal(g.inverse, axis1=1, axis2=2)
            out[g.member] = own + ((g.solved @ root) ** 2).sum(axis=-1)
        return out

    def draw_farm(self, draws: int, rng: np.random.Generator) -> Floats:
        """Draws of the farm's unknowns, mean zero, shape (farm's unknowns, draws)."""
        root = np.linalg.cholesky(self.schur)
        return np.asarray(np.linalg.solve(root.T, rng.standard_normal((self.farm, draws))))

    def draw_families(
        self, farm: Floats, rng: np.random.Generator, families: Ints | None = None
    ) -> Iterator[tuple[Ints, Floats]]:
        """Draws of some families (default all) given those of the farm: their unknowns and a row for each of them."""
        for g in self.groups:
            keep = slice(None) if families is None else np.isin(g.family, families)
            member, block, solved = g.member[keep], g.block[keep], g.solved[keep]
            if not len(member):
                continue
            lower = np.linalg.cholesky(block)
            noise = rng.standard_normal((*member.shape, farm.shape[1]))
            own = np.linalg.solve(np.swapaxes(lower, 1, 2), noise) - solved @ farm
            yield member.ravel(), own.reshape(-1, farm.shape[1])


def _group(family: Ints, border: Floats, row: Ints, column: Ints, value: Floats) -> list[Blocks]:
    """Families gathered by size, each with its block and its border."""
    local = np.flatnonzero(family >= 0)
    if not local.size:
        return []
    order = local[np.argsort(family[local], kind="stable")]
    names, first, sizes = np.unique(family[order], return_index=True, return_counts=True)
    place = np.zeros(len(family), dtype=np.int64)
    place[order] = np.arange(len(order)) - np.repeat(first, sizes)
    of = np.zeros(len(family), dtype=np.int64)
    of[order] = np.repeat(np.arange(len(names)), sizes)
    kinds, kind = np.unique(sizes, return_inverse=True)
    by_kind = np.argsort(kind[of[row]], kind="stable")
    parts = np.split(by_kind, np.searchsorted(kind[of[row]][by_kind], np.arange(1, len(kinds))))
    slot = np.zeros(len(names), dtype=np.int64)
    groups = []
    for n, (size, mine) in enumerate(zip(kinds, parts, strict=True)):
        which = np.flatnonzero(kind == n)
        slot[which] = np.arange(len(which))
        block = np.zeros((len(which), size, size))
        block[slot[of[row[mine]]], place[row[mine]], place[column[mine]]] = value[mine]
        member = order[first[which][:, None] + np.arange(size)]
        groups.append(Blocks(family=names[which], member=member, block=block, border=border[member]))
    return groups
