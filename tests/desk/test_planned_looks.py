"""Looks at a trial at planned numbers: their bounds decide, and together they keep the error."""

from __future__ import annotations

import numpy as np
import pytest

from chirr.desk.trial_answers import Margin, Question, looked

QUESTION = Question(margin=Margin(amount=0.0, share=False), ratio=False, equal_spread=True)


def look(gap, n, planned, seed=1):
    rng = np.random.default_rng(seed)
    values = [*rng.normal(gap, 1, n), *rng.normal(0, 1, n)]
    return looked(values, ["a"] * n + ["b"] * n, None, QUESTION, planned)


def test_each_planned_look_has_its_own_bound_and_it_falls():
    """Bounds of three equal looks by the O'Brien-Fleming-like spending function: 3.7103, 2.5114, 1.9930 at 0.05 two-
    sided, from memory (Lan and DeMets 1983 as tabled by general group-sequential software)."""
    found = [look(0.0, n, [20, 40, 60])["planned_look"] for n in (20, 40, 60)]
    assert [p["number"] for p in found] == [1, 2, 3]
    assert [p["bound"] for p in found] == pytest.approx([3.7103, 2.5114, 1.9930], abs=2e-3)
    assert all(p["as_planned"] for p in found)


def test_with_several_looks_the_bound_decides_and_not_the_other_interval():
    answer = look(0.9, 40, [20, 40, 60])
    assert answer["stop"] is True
    assert "a is better than b, by the bound of planned look 2" in answer["verdict"]
    assert any("spend the error twice" in r for r in answer["remarks"])
    assert look(0.05, 40, [20, 40, 60])["verdict"].startswith("go on")


def test_a_look_between_two_planned_ones_says_so():
    p = look(0.0, 30, [20, 40, 60])["planned_look"]
    assert (p["number"], p["as_planned"]) == (2, False)


def test_three_looks_together_err_no_more_often_than_promised():
    """400 trials without any effect at alpha 0.05: Monte Carlo error 0.011."""
    rng = np.random.default_rng(8)
    wrong = 0
    for _ in range(400):
        a, b = rng.normal(0, 1, 30), rng.normal(0, 1, 30)
        for n in (10, 20, 30):
            if looked([*a[:n], *b[:n]], ["a"] * n + ["b"] * n, None, QUESTION, [10, 20, 30])["stop"]:
                wrong += 1
                break
    assert wrong / 400 < 0.05 + 3 * 0.011
