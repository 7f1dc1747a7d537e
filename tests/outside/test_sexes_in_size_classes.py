"""One spread for both sexes, against the two that were weighed apart."""

from __future__ import annotations

import numpy as np
from scipy.stats import lognorm

from chirr.engine.biology.species import species
from chirr.engine.colony.cohort_ahead import CohortAhead, shares_above

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
    one = np.ones((1, 1), dtype=np.float32)
    adults = CohortAhead(
        number=one, log_mg=one * np.float32(np.log(animal.adult_mass_mg.value) - spread / 2),
        log_variance=one * np.float32(spread), ready_h=np.zeros(1), kg_at_ready=np.zeros(1), x_now=1.0,
        adult_days_now=1.0,
    )  # fmt: skip
    one_hump = np.array([shares_above(adults, float(b))[0].item() for b in bounds])
    apart = np.array([np.mean([heavier(b, *FEMALES), heavier(b, *MALES)]) for b in bounds])
    assert np.abs(one_hump - apart).max() < 0.055
