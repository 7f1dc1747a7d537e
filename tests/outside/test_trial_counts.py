"""Rates, shares, count models and times against published values and other libraries."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from chirr.engine.trials import rates
from chirr.engine.trials.blocks import Confounded, anova, crossed, dummies, one_way, tukey
from chirr.engine.trials.counts import fit_counts, fit_overdispersed
from chirr.engine.trials.judge import Margin, Question, judge
from chirr.engine.trials.lifetimes import kaplan_meier, log_rank

SPRAYS = {
    "A": [10, 7, 20, 14, 14, 12, 10, 23, 17, 20, 14, 13], "B": [11, 17, 21, 11, 16, 14, 17, 17, 19, 21, 7, 13],
    "C": [0, 1, 7, 2, 3, 1, 2, 1, 3, 0, 1, 4], "D": [3, 5, 12, 6, 4, 3, 5, 5, 5, 5, 2, 4],
    "E": [3, 5, 3, 5, 3, 6, 1, 1, 3, 2, 6, 4], "F": [11, 9, 15, 22, 15, 16, 13, 10, 26, 26, 24, 13],
}  # fmt: skip
"""Beall 1942, insects left on plots after spraying; data from memory (R `InsectSprays`)."""


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [(0, 0, 3.688879), (1, 0.025318, 5.571643), (5, 1.623486, 11.668332), (10, 4.795389, 18.390356),
     (25, 16.178682, 36.904932), (100, 81.363991, 121.626794), (400, 361.756297, 441.186648)],
)  # fmt: skip
def test_exact_intervals_of_counts(count, low, high):
    """Garwood 1936; computed (scipy 1.17.1)."""
    assert rates.poisson_exact(count) == pytest.approx((low, high), abs=1e-5)


def test_intervals_and_tests_of_a_rate_of_15_in_400():
    """statsmodels package tests of Poisson rates; values from R DescTools, exactci, ratesci."""
    near = {"rel": 1e-12}
    assert rates.poisson_exact(15, 400) == pytest.approx((0.0209884653319583, 0.0618505471787146), **near)
    assert rates.poisson_score(15, 400) == pytest.approx((0.0227264749053794, 0.0618771721463559), **near)
    assert rates.poisson_wald(15, 400) == pytest.approx((0.0185227303217751, 0.0564772696782249), **near)
    assert rates.poisson_jeffreys(15, 400) == pytest.approx((0.0219234232268444, 0.0602898619930649), **near)
    assert rates.poisson_p_exact(15, 400 * 0.05) == pytest.approx(0.313026269279486, **near)
    assert rates.poisson_p_score(15, 400 * 0.05) == pytest.approx(0.263552477282973, **near)


@pytest.mark.parametrize(
    ("count", "of", "exact", "score"),
    [(0, 10, (0, 0.308497), (0, 0.277533)), (8, 10, (0.443905, 0.974789), (0.490162, 0.943318)),
     (45, 50, (0.781865, 0.966725), (0.786398, 0.956524)), (90, 100, (0.823777, 0.950995), (0.825634, 0.944771)),
     (263, 300, (0.834027, 0.911656), (0.834626, 0.909183))],
)  # fmt: skip
def test_intervals_of_a_share(count, of, exact, score):
    """Clopper-Pearson and Wilson; computed (statsmodels 0.15.0)."""
    assert rates.share_exact(count, of) == pytest.approx(exact, abs=1e-6)
    assert rates.share_score(count, of) == pytest.approx(score, abs=1e-6)


def test_two_rates_of_gu_and_others():
    """Gu et al. 2008, Biometrical J. 50:283; statsmodels package tests; exact and intervals computed (0.15.0)."""
    r = rates.TwoRates(count_a=60, exposure_a=51477.5, count_b=30, exposure_b=54308.7)
    assert r.ratio == pytest.approx(2.1099975717546497, rel=1e-14)
    z = {"wald": 3.384913, "score": 3.417402, "log": 3.3393, "log score": 3.5406, "root": 3.445485}
    for method, value in z.items():
        assert r.z(method) == pytest.approx(value, abs=6e-5), method
    one_sided = {"wald": 0.000356, "score": 0.000316, "log": 0.000420, "log score": 0.000200, "root": 0.000285}
    for method, p in one_sided.items():
        assert r.p(method) / 2 == pytest.approx(p, abs=6e-7), method
    assert r.p_exact() == pytest.approx(0.0006751827, abs=1e-9)
    assert r.p_expected() == pytest.approx(0.0005672618, abs=1e-9), "E-test, computed (statsmodels 0.15.0)"
    assert r.interval_log() == pytest.approx((1.361280, 3.270517), abs=1e-6)
    assert r.interval_score() == pytest.approx((1.365962, 3.259306), abs=1e-6)
    assert r.p_above(1.2) == pytest.approx(0.006651774552714537, rel=1e-10)
    assert r.p_above(1.2, mid=True) == pytest.approx(0.005094603529853279, rel=1e-10)


@pytest.mark.parametrize("method", ["score", "wald"])
@pytest.mark.parametrize(("a", "b", "null"), [(3, 9, 1.0), (0, 4, 1.0), (14, 2, 2.0), (40, 31, 1.5)])
def test_the_e_test_agrees_with_statsmodels(method, a, b, null):
    """statsmodels, etest_poisson_2indep: Krishnamoorthy and Thomson 2004, J. Stat. Plan. Inference 119:23."""
    from statsmodels.stats.rates import etest_poisson_2indep

    ours = rates.TwoRates(count_a=a, exposure_a=80.0, count_b=b, exposure_b=110.0).p_expected(null, method)
    _, theirs = etest_poisson_2indep(a, 80.0, b, 110.0, value=null, method=method)
    assert ours == pytest.approx(theirs, abs=1e-8)


def _cpunish():
    from statsmodels.datasets import cpunish

    data = cpunish.load_pandas()
    x = data.exog.assign(VC100k96=np.log(data.exog["VC100k96"]))
    return data.endog.to_numpy(float), np.column_stack([x.to_numpy(float), np.ones(len(x))])


def test_poisson_regression_of_executions():
    """statsmodels package test results for GLM, from R; the data ship with statsmodels."""
    fit = fit_counts(*_cpunish())
    coef = [2.611017e-04, 7.781801e-02, -9.493111e-02, 0.2969349, 2.301183, -18.72207, -6.801480]
    se = [5.187e-05, 0.0794, 0.02292, 0.4375, 0.4284, 4.284, 4.1469]
    assert fit.coef == pytest.approx(coef, rel=1e-5)
    assert fit.se == pytest.approx(se, rel=1e-3)
    assert fit.deviance == pytest.approx(18.59164, abs=1e-5)
    assert fit.log_likelihood == pytest.approx(-31.92733, abs=1e-5)
    assert fit.pearson == pytest.approx(24.75375, abs=1e-4)
    y, _ = _cpunish()
    assert fit_counts(y, np.ones((len(y), 1))).deviance == pytest.approx(136.57282, abs=1e-5)


def test_negative_binomial_regression_of_doctor_visits():
    """statsmodels package test results for discrete models, from R MASS and Stata; 20,190 rows, packaged."""
    from statsmodels.datasets import randhie

    data = randhie.load_pandas()
    fit = fit_overdispersed(
        data.endog.to_numpy(float), np.column_stack([data.exog.to_numpy(float), np.ones(len(data.endog))])
    )
    coef = [-0.0579469537, -0.2677877188, 0.0412060771, -0.0381376804, 0.2689157722, 0.0381637446, -0.0441338846,
            0.0172521803, 0.1779607874, 0.6635560872]  # fmt: skip
    assert fit.coef == pytest.approx(coef, abs=2e-6)
    assert fit.alpha == pytest.approx(1.2929533, abs=1e-5)


def test_insects_after_spraying():
    """Results computed (statsmodels 0.15.0, scipy 1.17.1), equal to published R output."""
    raw = one_way(list(SPRAYS.values())).line("ways")
    assert raw.f == pytest.approx(34.70228, abs=1e-5)
    assert raw.p == pytest.approx(3.183e-17, rel=1e-3)
    root = one_way([np.sqrt(v) for v in SPRAYS.values()])
    assert root.line("ways").f == pytest.approx(44.79933, abs=1e-5)
    assert (root.line("ways").ss, root.residual.ss) == pytest.approx((88.43787, 26.05798), abs=1e-5)
    y = np.concatenate([np.asarray(v, float) for v in SPRAYS.values()])
    x = np.column_stack([np.ones(72), dummies(np.repeat(list(SPRAYS), 12))])
    poisson = fit_counts(y, x)
    assert (poisson.deviance, poisson.df) == (pytest.approx(98.32866, abs=1e-5), 66)
    assert fit_counts(y, np.ones((72, 1))).deviance == pytest.approx(409.04119, abs=1e-5)
    assert poisson.coef == pytest.approx([2.674149, 0.055880, -1.940179, -1.081518, -1.421386, 0.139262], abs=1e-6)
    over = fit_overdispersed(y, x)
    assert 1 / over.alpha == pytest.approx(28.0972, rel=1e-4)
    assert over.log_likelihood == pytest.approx(-180.1089, abs=1e-4)


def _npk():
    """Venables and Ripley: six blocks of four plots; data from memory."""
    yields = [49.5, 62.8, 46.8, 57.0, 59.8, 58.5, 55.5, 56.0, 62.8, 55.8, 69.5, 55.0, 62.0, 48.8, 45.5, 44.2,
              52.0, 51.5, 49.8, 48.8, 57.2, 59.0, 53.2, 56.0]  # fmt: skip
    n, p, k = (list("010111000110110010101100"), list("110001011100010110010110"), list("100101100101011000111010"))
    return np.array(yields), np.repeat(np.arange(6), 4), n, p, k


def test_peas_in_blocks_and_the_term_that_blocks_hide():
    """Published table (Venables and Ripley, from memory), computed again (statsmodels 0.15.0)."""
    y, block, n, p, k = _npk()
    terms = {
        "block": dummies(block), "N": dummies(n), "P": dummies(p), "K": dummies(k), "N:P": crossed(n, p),
        "N:K": crossed(n, k), "P:K": crossed(p, k), "N:P:K": crossed(n, p, k),
    }  # fmt: skip
    table = anova(y, terms)
    ss = {
        "block": 343.29500,
        "N": 189.28167,
        "P": 8.40167,
        "K": 95.20167,
        "N:P": 21.28167,
        "N:K": 33.13500,
        "P:K": 0.48167,
    }
    for term, value in ss.items():
        assert table.line(term).ss == pytest.approx(value, abs=1e-4), term
    f = {"block": (4.44667, 0.01594), "N": (12.25873, 0.00437), "P": (0.54413, 0.47490), "K": (6.16569, 0.02880)}
    for term, (value, chance) in f.items():
        assert (table.line(term).f, table.line(term).p) == pytest.approx((value, chance), abs=1e-5), term
    assert (table.residual.ss, table.residual.df) == (pytest.approx(185.28667, abs=1e-4), 12)
    assert table.residual_ms == pytest.approx(15.44056, abs=1e-4)
    with pytest.raises(Confounded, match="N:P:K"):
        table.line("N:P:K")


def test_plant_growth_in_all_pairs():
    """Data from memory (R `PlantGrowth`); computed (statsmodels 0.15.0), equal to published R output."""
    groups = [
        [4.17, 5.58, 5.18, 6.11, 4.50, 4.61, 5.17, 4.53, 5.33, 5.14],
        [4.81, 4.17, 4.41, 3.59, 5.87, 3.83, 6.03, 4.89, 4.32, 4.69],
        [6.31, 5.12, 5.54, 5.50, 5.37, 5.29, 4.92, 6.15, 5.80, 5.26],
    ]
    line = one_way(groups).line("ways")
    assert (line.f, line.p) == (pytest.approx(4.846088, abs=1e-6), pytest.approx(0.01591, abs=1e-5))
    found = {(j, i): (-gap, p) for i, j, gap, _, _, p in tukey(groups)}
    assert found[1, 0] == (pytest.approx(-0.371), pytest.approx(0.39087, abs=1e-5))
    assert found[2, 0] == (pytest.approx(0.494), pytest.approx(0.19800, abs=1e-5))
    assert found[2, 1] == (pytest.approx(0.865), pytest.approx(0.01201, abs=1e-5))
    _, _, _, low, high, _ = tukey(groups)[2]
    assert (-high, -low) == pytest.approx((0.1738, 1.5562), abs=1e-4)


SIX_MP = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
PLACEBO = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"


def test_remission_of_leukaemia():
    """Freireich 1963, data from memory; computed (lifelines 0.30.3), matching textbook values."""
    times = [[float(x.rstrip("+")) for x in arm.split()] for arm in (SIX_MP, PLACEBO)]
    ended = [[not x.endswith("+") for x in arm.split()] for arm in (SIX_MP, PLACEBO)]
    curve = kaplan_meier(times[0], ended[0])
    assert curve.times.tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert curve.at_risk.tolist() == [21, 17, 15, 12, 11, 7, 6]
    assert curve.share == pytest.approx(
        [0.857143, 0.806723, 0.752941, 0.690196, 0.627451, 0.537815, 0.448179], abs=1e-6
    )
    assert curve.se == pytest.approx([0.0764, 0.0869, 0.0963, 0.1068, 0.1141, 0.1282, 0.1346], abs=5e-5)
    assert (curve.median, kaplan_meier(times[1], ended[1]).median) == (23, 8)
    low, high = curve.interval()
    assert (low[0], high[0]) == pytest.approx((0.619718, 0.951552), abs=1e-6)
    chi2, df, p = log_rank(times[0] + times[1], ended[0] + ended[1], [0] * 21 + [1] * 21)
    assert (chi2, df, p) == (pytest.approx(16.792941, abs=1e-5), 1, pytest.approx(4.169e-05, abs=1e-8))


def test_six_sprays_differ_by_ranks_as_r_has_it():
    """Kruskal-Wallis 54.69134 on 5 degrees of freedom, published R output; noughts rule out logs."""
    values = np.concatenate([np.asarray(v, float) for v in SPRAYS.values()])
    found = judge(values, list(np.repeat(list(SPRAYS), 12)), None, Question(margin=Margin(amount=0.1, share=True)))
    assert found.overall_p == pytest.approx(stats.chi2.sf(54.69134, 5), rel=1e-4)
    assert len(found.pairs) == 15


def test_counts_of_two_sprays_agree_with_statsmodels_poisson_family():
    """statsmodels 0.15.0: GLM, Poisson family, log link, Pearson's scale."""
    import statsmodels.api as sm

    y = np.array(SPRAYS["E"] + SPRAYS["D"], float)
    r = judge(y, ["E"] * 12 + ["D"] * 12, None, Question(margin=Margin(amount=0.1, share=True))).pairs[0][0]
    x = np.column_stack([np.ones(24), np.repeat([1.0, 0.0], 12)])
    theirs = sm.GLM(y, x, family=sm.families.Poisson()).fit(scale="X2", use_t=True)
    assert r.method == "count model with log link"
    assert r.estimate is not None
    assert r.effect == pytest.approx(sum(SPRAYS["E"]) / sum(SPRAYS["D"]))
    if theirs.scale <= 1:
        assert (r.estimate.se, r.p) == pytest.approx((theirs.bse[1], theirs.pvalues[1]), rel=1e-6)
    else:
        assert r.estimate.se == pytest.approx(theirs.bse[1], rel=0.02), "alpha takes up the spread instead of a scale"
