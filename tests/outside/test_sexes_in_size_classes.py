"""One spread for both sexes, against the two that were weighed apart."""

from __future__ import annotations

import numpy as np
from scipy.stats import lognorm

from chirr.engine.biology.species import species
from chirr.engine.colony.sizes import share_above

FEMALES, MALES = (292.0, 74.09), (200.96, 34.51)
"""Mean and standard deviation of adult mass [mg] of Gryllodes sigillatus at 30 degC (Gs life history 2025)."""


def heavier(bound: float, mean: float, sd: float) -> float:
    """Share of a lognormal sex heavier than a bound."""
    spread = np.log1p((sd / mean) ** 2)
    return float(lognorm.sf(bound, s=np.sqrt(spread), scale=mean * np.exp(-spread / 2)))


def test_a_size_class_of_adults_holds_what_the_two_sexes_weighed_apart_would_put_into_it() -> None:
    """Banded cricket, where the sexes differ most: 5 adults in 100 at most stand beyond a bound."""
    animal = species("gryllodes-sigillatus")
    spread = np.log1p(animal.mass_cv.value**2)
    bounds = np.arange(100.0, 500.0, 5.0)
    log_mean = np.full(len(bounds), np.log(animal.adult_mass_mg.value) - spread / 2)
    one_hump = np.array(
        [float(share_above(b, m, spread)) for b, m in zip(bounds, log_mean, strict=True)]  # type: ignore[arg-type]
    )
    apart = np.array([np.mean([heavier(b, *FEMALES), heavier(b, *MALES)]) for b in bounds])
    assert np.abs(one_hump - apart).max() < 0.055
