"""Size classes of adults, against two sexes that were weighed apart."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import lognorm

from chirr.engine.biology.species import Species, species
from chirr.engine.colony.cohort_ahead import CohortAhead
from chirr.engine.colony.size_classes import Sizes
from chirr.engine.colony.sizes import Sex, sexes_apart

FEMALES, MALES = (292.0, 74.09), (200.96, 34.51)
"""Mean and standard deviation of adult mass [mg] of Gryllodes sigillatus at 30 degC (Gs life history 2025)."""

BANDED, HOUSE = species("gryllodes-sigillatus"), species("acheta-domesticus")
BOUNDS = np.arange(100.0, 500.0, 5.0)


def cohort(animal: Species, grown: float) -> CohortAhead:
    """One day and one draw of a cohort whose mean cricket weighs what an adult does."""
    spread, one = np.float32(np.log1p(animal.mass_cv.value**2)), np.ones((1, 1), dtype=np.float32)
    return CohortAhead(
        number=one, grown=one * np.float32(grown), log_mg=np.log(one * animal.adult_mass_mg.value) - spread / 2,
        log_variance=one * spread, ready_h=np.zeros(1), kg_at_ready=np.zeros(1), x_now=1.0,
        adult_days_now=1.0,
    )  # fmt: skip


def shares(one: CohortAhead, sexes: tuple[Sex, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Shares of the crickets and of their mass above each of the bounds."""
    sizes = Sizes(one, sexes)
    parts = [next(iter(sizes.above(float(b))), (slice(None), np.float32(0), np.float32(0))) for b in BOUNDS]
    return np.array([np.max(p[1]) for p in parts]), np.array([np.max(p[2]) for p in parts])


def of_sex(mean: float, sd: float) -> tuple[np.ndarray, np.ndarray]:
    """Shares of a lognormal sex, and of its mass, heavier than each of the bounds."""
    spread = np.log1p((sd / mean) ** 2)
    middle = mean * np.exp(-spread / 2)
    of_mass = lognorm.sf(BOUNDS, s=np.sqrt(spread), scale=middle * np.exp(spread))
    return lognorm.sf(BOUNDS, s=np.sqrt(spread), scale=middle), of_mass


def test_size_classes_of_adults_hold_what_the_two_sexes_weighed_apart_would_put_into_them() -> None:
    """Half and half; one adult in a hundred at most stands beyond a bound that it should not stand beyond."""
    crickets, mass = shares(cohort(BANDED, 1.0), sexes_apart(BANDED))
    (females, female_mass), (males, male_mass) = of_sex(*FEMALES), of_sex(*MALES)
    weighed = FEMALES[0] + MALES[0]
    assert np.abs(crickets - (females + males) / 2).max() < 0.01
    assert np.abs(mass - (female_mass * FEMALES[0] + male_mass * MALES[0]) / weighed).max() < 0.01


def test_one_hump_for_both_would_put_five_adults_in_a_hundred_beyond_the_wrong_bound() -> None:
    crickets, _ = shares(cohort(BANDED, 1.0), ())
    females, males = of_sex(*FEMALES)[0], of_sex(*MALES)[0]
    assert np.abs(crickets - (females + males) / 2).max() == pytest.approx(0.05, abs=0.01)


def test_hatchlings_of_both_sexes_are_alike() -> None:
    apart, together = shares(cohort(BANDED, 0.0), sexes_apart(BANDED)), shares(cohort(BANDED, 0.0), ())
    assert np.allclose(apart, together, atol=1e-3)


def test_a_species_whose_sexes_nobody_weighed_apart_has_one_hump() -> None:
    assert sexes_apart(HOUSE) == ()


@pytest.mark.parametrize("grown", [0.0, 0.3, 0.8, 1.0])
def test_both_sexes_together_weigh_what_the_cohort_weighs(grown: float) -> None:
    one = cohort(BANDED, grown)
    humps = Sizes(one, sexes_apart(BANDED))._humps
    each = [h.share * np.exp(h.mean + h.sd**2 / 2) for h in humps if h.share is not None]
    assert float(sum(each).item()) == pytest.approx(float(one.mean_mg.item()), rel=1e-5)
