"""Mixed models and looks against statsmodels and published bounds."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from chirr.engine.trials.blocks import within_blocks
from chirr.engine.trials.looks import bounds, spent
from chirr.engine.trials.mixed import fit_mixed


def made_up(rng, bins=10, each=7):
    """Logs of eggs: a way's effect of -0.1, bins that differ by 0.3, clutches by 0.4."""
    bin_ = np.repeat(np.arange(bins), each)
    way = rng.permuted(np.tile([0.0, 1.0], bins * each // 2))
    return 8 - 0.1 * way + rng.normal(0, 0.3, bins)[bin_] + rng.normal(0, 0.4, len(bin_)), way, bin_


@pytest.mark.parametrize("seed", [1, 3])
def test_one_random_intercept_agrees_with_statsmodels(seed):
    """statsmodels 0.15.0, MixedLM by REML."""
    import statsmodels.api as sm

    y, way, bin_ = made_up(np.random.default_rng(seed))
    x = np.column_stack([np.ones(len(y)), way])
    ours = fit_mixed(y, x, [bin_])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = sm.MixedLM(y, x, groups=bin_).fit(reml=True, method="powell")
    assert ours.log_likelihood == pytest.approx(theirs.llf, abs=1e-5)
    assert ours.coef == pytest.approx(theirs.fe_params, abs=1e-3)
    between = float(np.asarray(theirs.cov_re)[0, 0])
    assert ours.variances == pytest.approx([between, theirs.scale], rel=5e-3)
    assert np.sqrt(np.diag(ours.covariance)) == pytest.approx(theirs.bse_fe, rel=1e-2)


def test_bins_and_dates_together_agree_with_statsmodels():
    """statsmodels 0.15.0, MixedLM with two crossed variance components in one group."""
    import statsmodels.api as sm

    rng = np.random.default_rng(5)
    bins, dates = np.repeat(np.arange(8), 9), np.tile(np.arange(9), 8)
    way = ((bins + dates) % 2).astype(float)
    y = 8 - 0.1 * way + rng.normal(0, 0.3, 8)[bins] + rng.normal(0, 0.2, 9)[dates] + rng.normal(0, 0.3, 72)
    x = np.column_stack([np.ones(72), way])
    ours = fit_mixed(y, x, [bins, dates])
    parts = sm.regression.mixed_linear_model.VCSpec(
        ["bin", "date"], [[[f"b{i}" for i in range(8)]], [[f"d{i}" for i in range(9)]]],
        [[np.eye(8)[bins]], [np.eye(9)[dates]]],
    )  # fmt: skip
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = sm.MixedLM(y, x, groups=np.ones(72), exog_re=None, exog_vc=parts).fit(reml=True)
    assert ours.log_likelihood == pytest.approx(theirs.llf, abs=1e-4)
    assert ours.variances == pytest.approx([*theirs.vcomp, theirs.scale], rel=2e-2)


def test_with_whole_blocks_the_mixed_model_is_the_paired_test():
    """Exact theory: with both ways in every block the contrast within blocks has the t test's degrees of freedom."""
    rng = np.random.default_rng(9)
    block = np.repeat(np.arange(12), 2)
    way = np.tile([0.0, 1.0], 12)
    y = rng.normal(0, 1.0, 12)[block] + 0.3 * way + rng.normal(0, 0.4, 24)
    mixed = fit_mixed(y, np.column_stack([np.ones(24), way]), [block]).contrast([0, 1])
    fixed = within_blocks(y, way, block)
    assert (mixed.value, mixed.se, mixed.df) == pytest.approx((fixed.value, fixed.se, 11), rel=1e-4)


def test_bounds_of_five_even_looks():
    """O'Brien-Fleming-like spending (Lan and DeMets 1983), two-sided 5 %: 4.8769, 3.3569, 2.6803, 2.2898, 2.0310.

    From memory, as group-sequential programs print them.
    """
    assert bounds([0.2, 0.4, 0.6, 0.8, 1.0]) == pytest.approx([4.8769, 3.3569, 2.6803, 2.2898, 2.0310], abs=2e-4)


def test_bounds_of_uneven_looks_keep_the_whole_error():
    """A random walk of 200,000 trials, give or take 0.05 %: all looks together pass by chance as often as was spent."""
    rng = np.random.default_rng(4)
    shares = [0.15, 0.5, 0.62, 1.0]
    limit = np.array(bounds(shares))
    steps = np.diff([0.0, *shares])
    z = np.cumsum(rng.normal(0, np.sqrt(steps), (200_000, 4)), axis=1) / np.sqrt(shares)
    passed = np.abs(z) > limit
    assert passed.any(axis=1).mean() == pytest.approx(0.05, abs=0.0017)
    assert passed[:, :2].any(axis=1).mean() == pytest.approx(spent(0.5), abs=0.0006)
