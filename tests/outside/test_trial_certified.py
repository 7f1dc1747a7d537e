"""Analysis of variance and plain summaries against NIST's certified values, which come with SciPy."""

from __future__ import annotations

from importlib.resources import files

import numpy as np
import pytest

from chirr.engine.trials.blocks import one_way
from chirr.engine.trials.doubts import lag_one
from chirr.engine.trials.estimates import summary


def nist(name):
    """Groups of a NIST StRD one-way data set from the test data of the SciPy package."""
    text = (files("scipy.stats.tests") / "data" / "nist_anova" / f"{name}.dat").read_text()
    rows = [line.split() for line in text.splitlines()[60:] if line.strip()]
    groups: dict[str, list[float]] = {}
    for way, value in rows:
        groups.setdefault(way, []).append(float(value))
    return list(groups.values())


def test_silicon_resistivity():
    """NIST StRD, SiRstv: certified to 15 digits."""
    table = one_way(nist("SiRstv"))
    line = table.line("ways")
    assert (line.df, table.residual.df) == (4, 20)
    assert line.ss == pytest.approx(5.11462616000000e-02, rel=1e-10)
    assert table.residual.ss == pytest.approx(2.16636560000000e-01, rel=1e-10)
    assert line.f == pytest.approx(1.18046237440255, rel=1e-10)
    assert line.ss / (line.ss + table.residual.ss) == pytest.approx(0.190999039051129, rel=1e-10)
    assert np.sqrt(table.residual_ms) == pytest.approx(0.104076068334656, rel=1e-10)


def test_atomic_weight_of_silver():
    """NIST StRD, AtmWtAg: seven leading digits are the same in every value."""
    table = one_way(nist("AtmWtAg"))
    assert table.line("ways").f == pytest.approx(15.9467335677930, rel=1e-7)
    assert table.residual_ms == pytest.approx(2.28155932971014e-10, rel=1e-7)


@pytest.mark.parametrize(("name", "rel"), [("SmLs01", 1e-10), ("SmLs04", 1e-7), ("SmLs07", 2e-2)])
def test_simon_and_lesage(name, rel):
    """NIST StRD: F is 21 exactly; SmLs07 has 13 constant digits, and a float keeps about three more."""
    table = one_way(nist(name))
    line = table.line("ways")
    assert line.f == pytest.approx(21, rel=rel)
    assert line.ss / (line.ss + table.residual.ss) == pytest.approx(0.482758620689655, rel=rel)
    assert np.sqrt(table.residual_ms) == pytest.approx(0.1, rel=rel)


@pytest.mark.parametrize("base", [1_000_000, 10_000_000])
def test_spread_of_numbers_with_a_large_offset(base):
    """NIST StRD, NumAcc3 and NumAcc4 (from memory): mean base + 0.2, spread 0.1, neighbours -0.999."""
    values = [base + 0.2, *([base + 0.1, base + 0.3] * 500)]
    found = summary(values)
    assert found.mean == pytest.approx(base + 0.2, rel=1e-15)
    assert found.sd == pytest.approx(0.1, rel=1e-8)
    assert lag_one(values) == pytest.approx(-0.999, rel=1e-8)
