"""Does a breeding line grow? Life tables and stage matrices.

Interface: `life_table`, `growth_factor`, `stable_stages`, `reproductive_values`, `elasticities`, `damping_ratio`.

A stage matrix says how the count in each stage (column) at one step feeds each stage (row) at the next. The dominant
eigenvalue is the factor by which the line grows per step in the long run.

References
----------
Caswell (2001), Matrix Population Models, 2nd edition, Sinauer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from chirr.engine.biology import Floats
from chirr.engine.errors import EngineError

_SAME_MODULUS = 1e-9
"""Two eigenvalues whose moduli differ by less than this share are taken as equal: the line cycles for ever."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeTable:
    """What a life table says of a breeding line.

    net_reproduction : daughters per newborn female, R0
    cohort_generation : mean age of mothers, in the unit of the ages, Tc
    growth_rate : r, per unit of age, exact root of the Euler-Lotka equation
    growth_rate_approximate : ln R0 / Tc
    """

    net_reproduction: float
    cohort_generation: float
    growth_rate: float
    growth_rate_approximate: float

    @property
    def doubling(self) -> float:
        """Time in which the line doubles, in the unit of the ages; infinite if it does not grow."""
        return float(np.log(2) / self.growth_rate) if self.growth_rate > 0 else float("inf")


def life_table(age: ArrayLike, alive: ArrayLike, daughters: ArrayLike) -> LifeTable:
    """Reproduction and growth of a line from survival and births by age.

    Parameters
    ----------
    age : array_like, shape (ages,)
        Ages, increasing, any unit.
    alive : array_like, shape (ages,)
        Share of newborn females alive at each age, l.
    daughters : array_like, shape (ages,)
        Female offspring of a female of that age, m; an egg count times the female share.

    Raises
    ------
    EngineError
        If the lengths differ, a number is negative or missing, or no female ever has a daughter.

    Examples
    --------
    >>> table = life_table([0, 1, 2, 3, 4], [1, 0.5, 0.4, 0.2, 0.1], [0, 1, 2, 3, 3])
    >>> round(table.net_reproduction, 6), round(table.growth_rate, 6)
    (2.2, 0.366514)
    """
    x, l, m = (np.asarray(column, dtype=np.float64) for column in (age, alive, daughters))  # noqa: E741
    if not x.ndim == 1 or not x.shape == l.shape == m.shape:
        raise EngineError("A life table needs one survival and one number of daughters for each age.")
    births = l * m
    if not (np.isfinite(births).all() and (l >= 0).all() and (m >= 0).all()):
        raise EngineError("A life table cannot have missing or negative numbers. Fill in 0 where nothing was born.")
    if births.sum() <= 0 or (x[births > 0] <= 0).any():
        raise EngineError("No daughters after age 0 in this life table, so no growth can be worked out.")
    R0 = float(births.sum())
    Tc = float((x * births).sum() / R0)
    rough = float(np.log(R0) / Tc)
    return LifeTable(
        net_reproduction=R0,
        cohort_generation=Tc,
        growth_rate=_euler_lotka(x[births > 0], births[births > 0]),
        growth_rate_approximate=rough,
    )


def _euler_lotka(age: Floats, births: Floats) -> float:
    """Root r of sum exp(-r x) l m = 1: falling in r, and bracketed by the first and last age of birth."""
    log_R0 = np.log(births.sum())
    low, high = sorted((log_R0 / age.min(), log_R0 / age.max()))
    root = brentq(lambda r: np.log((np.exp(-r * age) * births).sum()), low - 1e-9, high + 1e-9, xtol=1e-14)
    return float(root)


def growth_factor(matrix: ArrayLike) -> float:
    """Factor by which the line grows per step in the long run: the dominant eigenvalue, lambda.

    Raises
    ------
    EngineError
        If the matrix is not square, or has a negative or missing entry.

    Examples
    --------
    The example matrix of the popbio package's eigen.analysis:

    >>> round(growth_factor([[0, 0, 2], [0.3, 0, 0], [0, 0.6, 0]]), 7)
    0.7113787
    """
    values, _ = _eigen(_square(matrix))
    return float(values[0].real)


def stable_stages(matrix: ArrayLike) -> Floats:
    """Shares of the stages once the line has settled, shape (stages,), summing to 1.

    Raises
    ------
    EngineError
        As `growth_factor`, and where the line cycles for ever and so never settles.
    """
    square = _square(matrix)
    values, vectors = _eigen(square)
    _require_settling(values)
    shares = np.abs(vectors[:, 0].real)
    return np.asarray(shares / shares.sum())


def reproductive_values(matrix: ArrayLike) -> Floats:
    """What an individual of each stage adds to the future line, relative to the first stage; shape (stages,).

    Raises as `stable_stages`.
    """
    square = _square(matrix)
    values, vectors = _eigen(square.T)
    _require_settling(values)
    worth = np.abs(vectors[:, 0].real)
    return np.asarray(worth / worth[0])


def elasticities(matrix: ArrayLike) -> Floats:
    """Share of each entry of the matrix in the growth factor, shape (stages, stages), summing to 1.

    Raises as `stable_stages`.
    """
    square = _square(matrix)
    sensitivity = np.outer(reproductive_values(square), stable_stages(square))
    weighted = sensitivity * square
    return np.asarray(weighted / weighted.sum())


def damping_ratio(matrix: ArrayLike) -> float:
    """How fast waves of age die out: the dominant eigenvalue over the modulus of the next; 1 means never.

    Infinite where no second wave exists. Raises as `growth_factor`.
    """
    values, _ = _eigen(_square(matrix))
    moduli = np.abs(values)
    if len(moduli) == 1 or moduli[1] == 0:
        return float("inf")
    return float(moduli[0] / moduli[1])


def _square(matrix: ArrayLike) -> Floats:
    square = np.asarray(matrix, dtype=np.float64)
    if square.ndim != 2 or square.shape[0] != square.shape[1]:
        raise EngineError(f"A stage matrix must be square; this one has the shape {square.shape}.")
    if not np.isfinite(square).all() or (square < 0).any():
        raise EngineError("A stage matrix cannot have missing or negative numbers.")
    return square


def _eigen(square: Floats) -> tuple[np.ndarray, np.ndarray]:
    """Eigenvalues and vectors, largest modulus first, the positive real one leading among equals."""
    values, vectors = np.linalg.eig(square)
    order = np.lexsort((-values.real, -np.abs(values).round(12)))
    return values[order], vectors[:, order]


def _require_settling(values: np.ndarray) -> None:
    moduli = np.abs(values)
    if len(moduli) > 1 and moduli[1] >= moduli[0] * (1 - _SAME_MODULUS):
        raise EngineError("This line goes round in cycles that never fade, so its stages never settle at fixed shares.")
