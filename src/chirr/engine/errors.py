"""What the engine says when a number cannot be used: what was wrong, where, and what to do."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


class EngineError(Exception):
    """Any refusal of the engine; its text is a plain sentence that may be shown as it stands."""


class UnknownSpecies(EngineError, LookupError):  # noqa: N818  named for what happened
    """The species asked for is not in the table of biology."""

    def __init__(self, name: str, known: tuple[str, ...]) -> None:
        super().__init__(f"'{name}' is not a species that Chirr knows. Use one of: {', '.join(known)}.")


class OutOfRange(EngineError, ValueError):  # noqa: N818  named for what happened
    """A number lies outside the range in which a model holds.

    Examples
    --------
    >>> str(OutOfRange("air_temp_c", (3,), 212.0, low=-10, high=60, advice="Check the sensor or its unit."))
    'air_temp_c[3] is 212; it must lie between -10 and 60. Check the sensor or its unit.'
    """

    def __init__(
        self, name: str, index: tuple[int, ...], value: float, *, low: float, high: float, advice: str
    ) -> None:
        where = f"{name}[{', '.join(str(i) for i in index)}]" if index else name
        super().__init__(f"{where} is {value:g}; it must lie between {low:g} and {high:g}. {advice}")
        self.index = index
        self.value = value


def require_within(
    name: str, values: ArrayLike, low: float, high: float, advice: str = "Check the value and its unit."
) -> None:
    """Raise `OutOfRange` at the first of `values` that lies outside [low, high]; NaN (not known) passes.

    Examples
    --------
    >>> require_within("air_temp_c", [21.0, float("nan")], -10, 60)
    """
    array = np.asarray(values, dtype=np.float64)
    bad = (array < low) | (array > high)
    if not bad.any():
        return
    index = tuple(int(i) for i in np.argwhere(bad)[0])
    raise OutOfRange(name, index, float(array[index]), low=low, high=high, advice=advice)
