"""Sampling arithmetic against textbook examples and scipy's own sums; the source stands beside each number."""

from __future__ import annotations

import pytest
from scipy import stats

from chirr.engine.counting import packs, sample, wall
from chirr.engine.counting.agreement import agreement
from chirr.engine.counting.packs import Transit

# Girth and volume of 31 black cherry trees: R's data set `trees` (data from memory; the sums agree with the textbook).
GIRTH = [8.3, 8.6, 8.8, 10.5, 10.7, 10.8, 11.0, 11.0, 11.1, 11.2, 11.3, 11.4, 11.4, 11.7, 12.0, 12.9, 12.9, 13.3, 13.7,
         13.8, 14.0, 14.2, 14.5, 16.0, 16.3, 17.3, 17.5, 17.9, 18.0, 18.0, 20.6]  # fmt: skip
VOLUME = [10.3, 10.3, 10.2, 16.4, 18.8, 19.7, 15.6, 18.2, 22.6, 19.9, 24.2, 21.0, 21.4, 21.3, 19.1, 22.2, 33.8, 27.4,
          25.7, 24.9, 34.5, 31.7, 36.3, 38.3, 42.6, 55.4, 55.7, 58.3, 51.5, 51.0, 77.0]  # fmt: skip


def test_ratio_estimator_matches_the_textbook_cherry_trees() -> None:
    # Lohr, Sampling: Design and Analysis: N 2967, total girth 41835, total volume 95,272; errors recomputed with numpy.
    assert (sum(GIRTH), sum(VOLUME)) == pytest.approx((410.7, 935.3))
    found = sample.ratio_total(VOLUME, GIRTH, 41835, 2967)
    assert found.total == pytest.approx(95272.16, abs=0.01)
    assert found.se == pytest.approx(5140.93, abs=0.01)
    assert sample.ratio_total(VOLUME, GIRTH, 41835, 2967, adjusted=True).se == pytest.approx(5471.43, abs=0.01)


def test_ratio_of_sums_matches_cochrans_49_cities() -> None:
    # Cochran, Sampling Techniques, ratio example (from memory): 22919 x 6262 / 5054 = 28397.
    assert sample.ratio_total([3000, 3262], [2500, 2554], 22919).total == pytest.approx(28397, abs=1)


@pytest.mark.parametrize(("whole", "look"), [(100, 80), (500, 217), (1000, 278), (10_000, 370)])
def test_finite_population_sizes_match_krejcie_and_morgan(whole: int, look: int) -> None:
    # Krejcie and Morgan (1970), Educational and Psychological Measurement 30, table 1 (from memory).
    assert round(sample.looks_for_share(whole)) == look


def test_an_endless_population_needs_384() -> None:
    assert sample.looks_for_share() == pytest.approx(384.15, abs=0.02)  # derived: 3.8415 x 0.25 / 0.0025


@pytest.mark.parametrize(
    ("found", "low", "high"),
    [(0, 0, 3.688879), (1, 0.025318, 5.571643), (10, 4.795389, 18.390356), (400, 361.756297, 441.186648)],
)
def test_poisson_intervals_are_garwoods(found: int, low: float, high: float) -> None:
    # Garwood (1936), computed with scipy.
    assert sample.count_interval(found) == pytest.approx((low, high), abs=1e-5)


@pytest.mark.parametrize(
    ("found", "of", "low", "high"),
    [(0, 10, 0, 0.308497), (8, 10, 0.443905, 0.974789), (45, 50, 0.781865, 0.966725), (263, 300, 0.834027, 0.911656)],
)
def test_share_intervals_are_clopper_and_pearsons(found: int, of: int, low: float, high: float) -> None:
    # Clopper and Pearson (1934), computed with statsmodels 0.15.0 (proportion_confint, method "beta").
    assert sample.share_interval(found, of) == pytest.approx((low, high), abs=1e-6)


@pytest.mark.parametrize(("wanted", "chance", "share"), [(500, 0.95, 0.02), (1000, 0.99, 0.0115), (50, 0.9, 0.1)])
def test_over_count_matches_exact_binomial_sums(wanted: int, chance: float, share: float) -> None:
    packed = packs.to_pack(wanted, chance, Transit(share=share))
    enough = sum(stats.binom.pmf(k, packed, 1 - share) for k in range(wanted, packed + 1))
    one_less = sum(stats.binom.pmf(k, packed - 1, 1 - share) for k in range(wanted, packed))
    assert one_less < chance <= enough


def test_over_count_between_uneven_consignments_matches_an_integral_over_beta() -> None:
    transit = Transit(share=0.03, sd=0.01)
    packed = packs.to_pack(300, 0.95, transit)
    together = 0.97 * 0.03 / 0.01**2 - 1
    law = stats.beta(0.97 * together, 0.03 * together)
    chance = law.expect(lambda alive: stats.binom.sf(299, packed, alive))
    assert packs.chance_enough(packed, 300, transit) == pytest.approx(chance, abs=1e-6)


def test_agreement_matches_bland_and_altmans_flow_meters() -> None:
    # Bland and Altman (1986), Lancet 327, 307-310: peak flow, two meters (data from memory); -2.1, 38.8, -79.7 to 75.5.
    wright = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
    mini = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
    found = agreement(wright, mini)
    assert (found.bias, found.sd) == pytest.approx((-2.117647, 38.765130), abs=1e-4)
    assert (found.low, found.high) == pytest.approx((-78.097, 73.862), abs=1e-3)
    assert found.concordance == pytest.approx(0.942743, abs=1e-4)
    twice = agreement(wright, mini, reach=2)
    assert (twice.low, twice.high) == pytest.approx((-79.648, 75.413), abs=1e-3)


def test_eggs_swell_as_published() -> None:
    # Douan et al. 2020, Int. J. Trop. Insect Sci.: 0.66 to 1.92 mm3 and 2.53 to 3.32 mm, mainly on days 4 to 8.
    assert (wall.egg_volume_mm3(1), wall.egg_volume_mm3(12)) == pytest.approx((0.66, 1.92))
    assert (wall.egg_length_mm(1), wall.egg_length_mm(12)) == pytest.approx((2.53, 3.32))
    assert (wall.egg_volume_mm3(8) - wall.egg_volume_mm3(4)) / (1.92 - 0.66) > 0.9
