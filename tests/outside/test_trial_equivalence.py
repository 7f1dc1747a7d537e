"""Equivalence, differences and sample sizes against published examples and other libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from chirr.engine.trials.estimates import (
    Group,
    difference_p,
    equivalence,
    fieller,
    interval,
    one_sample,
    paired,
    paired_from_summaries,
    summary,
    unpaired,
)
from chirr.engine.trials.judge import Margin, Question, judge
from chirr.engine.trials.power import (
    Design,
    difference_power,
    difference_size,
    equivalence_power,
    equivalence_size,
    sd_of_log,
)

SLEEP_1 = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0, 2]
SLEEP_2 = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]
BOUNDS_80_125 = (math.log(0.8), math.log(1.25))


def test_lakens_two_groups_are_equivalent_as_published():
    """Lakens 2017, Soc. Psychol. Personal. Sci. 8:355; TOSTER package examples; last digits computed (scipy 1.17.1)."""
    a, b = Group(n=95, mean=5.25, sd=0.95), Group(n=89, mean=5.22, sd=0.83)
    e = unpaired(a, b)
    bound = 0.43 * math.sqrt((0.95**2 + 0.83**2) / 2)
    assert bound == pytest.approx(0.3835687, abs=1e-7)
    assert (e.se, e.df) == (pytest.approx(0.131303, abs=1e-6), pytest.approx(181.1344, abs=1e-4))
    q = equivalence(e, -bound, bound)
    assert (q.t_lower, q.t_upper) == (pytest.approx(3.149730, abs=1e-6), pytest.approx(-2.692771, abs=1e-6))
    assert q.p_lower == pytest.approx(0.0009560083, rel=1e-4)
    assert q.p_upper == pytest.approx(0.003875522, rel=1e-4)
    assert q.equivalent
    assert interval(e, 0.90) == pytest.approx((-0.1870843, 0.2470843), abs=1e-6)
    assert interval(e, 0.95) == pytest.approx((-0.2290799, 0.2890799), abs=1e-6)
    raw = equivalence(e, -0.384, 0.384)
    assert (raw.t_lower, raw.t_upper) == (pytest.approx(3.153015, abs=1e-6), pytest.approx(-2.696056, abs=1e-6))
    assert (raw.p_lower, raw.p_upper) == (pytest.approx(0.0009458745, rel=1e-4), pytest.approx(0.003838994, rel=1e-4))


def test_lakens_one_sample_and_pairs():
    """Same source as above."""
    one = equivalence(one_sample(Group(n=100, mean=0.54, sd=1.2), 0.5), -0.3 * 1.2, 0.3 * 1.2)
    assert (one.t_lower, one.t_upper) == (pytest.approx(3.333333, abs=1e-6), pytest.approx(-2.666667, abs=1e-6))
    assert (one.p_lower, one.p_upper) == (pytest.approx(0.0006040021, rel=1e-4), pytest.approx(0.004474619, rel=1e-4))
    e = paired_from_summaries(Group(n=65, mean=5.83, sd=1.17), Group(n=65, mean=5.75, sd=1.29), 0.75)
    bound = 0.4 * e.se * math.sqrt(65)
    assert bound == pytest.approx(0.350782, abs=1e-6)
    two = equivalence(e, -bound, bound)
    assert (two.t_lower, two.t_upper) == (pytest.approx(3.960381, abs=1e-6), pytest.approx(-2.489426, abs=1e-6))
    assert (two.p_lower, two.p_upper) == (pytest.approx(9.531728e-05, rel=1e-4), pytest.approx(0.00770235, rel=1e-4))


def test_small_groups_as_in_the_pingouin_documentation_and_in_statsmodels():
    """pingouin documentation, tost: p 0.965097 and 0.954854; statsmodels 0.15.0 asked here again."""
    from statsmodels.stats.weightstats import ttost_ind, ttost_paired

    a, b = np.array([4.0, 7, 8, 6, 3, 2]), np.array([6.0, 8, 7, 10, 11, 9])
    apart = unpaired(summary(a), summary(b), equal_spread=True)
    assert apart.df == 10
    assert equivalence(apart, -1, 1).p == pytest.approx(0.965097, abs=1e-6)
    assert equivalence(apart, -1, 1).p == pytest.approx(ttost_ind(a, b, -1, 1)[0], rel=1e-12)
    assert equivalence(unpaired(summary(a), summary(b)), -1, 1).p == pytest.approx(
        ttost_ind(a, b, -1, 1, usevar="unequal")[0], rel=1e-9
    )
    together = paired(summary(a - b))
    assert together.df == 5
    assert equivalence(together, -0.5, 0.5).p == pytest.approx(0.954854, abs=1e-6)
    assert equivalence(together, -0.5, 0.5).p == pytest.approx(ttost_paired(a, b, -0.5, 0.5)[0], rel=1e-12)


def test_students_sleep_data_as_r_prints_them():
    """Data from memory (R `sleep`); results computed (scipy 1.17.1, statsmodels 0.15.0), equal to R output."""
    q = Question(margin=Margin(amount=2, share=False), paired=True)
    r = judge(np.array(SLEEP_1 + SLEEP_2), ["1"] * 10 + ["2"] * 10, None, q).pairs[0][0]
    assert r.estimate is not None
    assert r.estimate.value / r.estimate.se == pytest.approx(-4.062128, abs=1e-6)
    assert r.estimate.df == 9
    assert r.p == pytest.approx(0.00283289, abs=1e-8)
    assert r.interval_two_sided == pytest.approx((-2.459886, -0.700114), abs=1e-6)
    assert r.interval == pytest.approx((-2.293005, -0.866995), abs=1e-6)
    assert r.equivalence is not None
    assert r.equivalence.p == pytest.approx(0.154157, abs=1e-6)
    apart = unpaired(summary(SLEEP_1), summary(SLEEP_2))
    assert apart.value / apart.se == pytest.approx(-1.860813, abs=1e-6)
    assert apart.df == pytest.approx(17.77647, abs=1e-5)
    assert difference_p(apart) == pytest.approx(0.0793941, abs=1e-7)


@pytest.mark.parametrize(("cv", "n", "power"), [(0.2, 20, 0.834680), (0.3, 40, 0.815845)])
def test_sizes_of_crossover_trials_on_logs(cv, n, power):
    """Bounds 80-125 %, true ratio 0.95: computed (scipy 1.17.1, exact); .8347, .8158 from memory (PowerTOST manual)."""
    d = Design(kind="crossover", sd=sd_of_log(cv))
    assert equivalence_size(d, math.log(0.95), *BOUNDS_80_125) == n
    assert equivalence_power(math.log(0.95), *BOUNDS_80_125, d.se(n), d.df(n)) == pytest.approx(power, abs=1e-5)
    if cv == 0.3:
        assert equivalence_power(math.log(0.95), *BOUNDS_80_125, d.se(38), d.df(38)) == pytest.approx(
            0.795328, abs=1e-5
        )


@pytest.mark.parametrize("n", [3, 4, 6, 12])
def test_power_of_the_two_tests_is_exact_where_numbers_are_small(n):
    """A simulation of the tests themselves, 400,000 trials: give or take 0.0008; the shifted-t rule is far off here."""
    rng = np.random.default_rng(n)
    trials, sd, bound = 400_000, 0.5, 1.0
    a, b = rng.normal(0.2, sd, (trials, n)), rng.normal(0, sd, (trials, n))
    gap = a.mean(1) - b.mean(1)
    se = np.sqrt((a.var(1, ddof=1) + b.var(1, ddof=1)) / n)
    t = stats.t.ppf(0.95, 2 * n - 2)
    found = float(((gap - t * se > -bound) & (gap + t * se < bound)).mean())
    d = Design(kind="parallel", sd=sd)
    assert equivalence_power(0.2, -bound, bound, d.se(n), d.df(n)) == pytest.approx(found, abs=0.0035)


def test_ordinary_sizes_of_two_groups_and_of_pairs():
    """statsmodels 0.15.0; 64 and 26 a group are Cohen 1988's (from memory)."""
    from statsmodels.stats.power import TTestIndPower, TTestPower

    d = Design(kind="parallel", sd=1.0)
    assert [difference_size(d, x) for x in (0.2, 0.5, 0.8)] == [394, 64, 26]
    assert [difference_size(d, x, wanted=0.9) for x in (0.2, 0.5, 0.8)] == [527, 86, 34]
    assert difference_size(Design(kind="paired", sd=1.0), 0.5) == 34
    for n in (3, 10, 64):
        assert difference_power(0.5, d.se(n), d.df(n)) == pytest.approx(TTestIndPower().power(0.5, n, 0.05), abs=1e-9)
    p = Design(kind="paired", sd=1.0)
    assert difference_power(0.5, p.se(33.367), p.df(33.367)) == pytest.approx(0.8, abs=1e-5)
    assert TTestPower().power(0.5, 33.367, 0.05) == pytest.approx(0.8, abs=1e-5)


def test_an_interval_for_a_ratio_of_means_covers_as_often_as_it_says():
    """No table at hand: the witness is a simulation of 20,000 trials, give or take 0.2 %, with unlike spreads."""
    rng = np.random.default_rng(8)
    a, b = rng.normal(8, 2, (20_000, 9)), rng.normal(10, 1, (20_000, 15))
    held = 0
    for x, y in zip(a[:4000], b[:4000], strict=True):
        low, high = fieller(summary(x), summary(y), 0.90)
        held += low <= 0.8 <= high
    assert held / 4000 == pytest.approx(0.90, abs=3.5 * math.sqrt(0.9 * 0.1 / 4000))
