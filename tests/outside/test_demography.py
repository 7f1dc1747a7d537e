"""Life tables and stage matrices against published populations."""

from __future__ import annotations

import numpy as np
import pytest

from chirr.engine.biology.demography import (
    damping_ratio,
    elasticities,
    growth_factor,
    life_table,
    reproductive_values,
    stable_stages,
)
from chirr.engine.errors import EngineError


def loggerheads():
    """Published: Crouse, Crowder & Caswell 1987, Ecology 68:1412 (second-hand from a public worksheet)."""
    stay, grow = [0, 0.7370, 0.6610, 0.6907, 0, 0, 0.8089], [0.6747, 0.0486, 0.0147, 0.0518, 0.8091, 0.8091]
    matrix = np.diag(stay) + np.diag(grow, -1)
    matrix[0] += [0, 0, 0, 0, 127, 4, 80]
    return matrix


def caughley_sheep():
    """Published: Caughley 1967, New Zealand sheep (Duke University, Connected Curriculum Project, Leslie models)."""
    births = np.array([0, 0.045, 0.391, 0.472, 0.484, 0.546, 0.543, 0.502, 0.468, 0.459, 0.433, 0.421])
    survival = np.array([0.845, 0.975, 0.965, 0.950, 0.926, 0.895, 0.850, 0.786, 0.691, 0.561, 0.370])
    return births, survival


def test_loggerhead_turtles_shrink_at_the_published_rate():
    """lambda 0.94503098 published; the rest computed (numpy 2.4.6)."""
    matrix = loggerheads()
    assert growth_factor(matrix) == pytest.approx(0.9450310, abs=1e-6)
    assert np.log(growth_factor(matrix)) == pytest.approx(-0.0565376, abs=1e-6)
    stable_pct = [20.650, 66.975, 11.460, 0.662, 0.036, 0.031, 0.185]
    assert 100 * stable_stages(matrix) == pytest.approx(stable_pct, abs=1e-3)
    worth = [1, 1.401, 5.996, 115.845, 568.781, 507.373, 587.669]
    assert reproductive_values(matrix) == pytest.approx(worth, abs=1e-3)


def test_elasticities_of_loggerhead_turtles_add_up():
    """Fecundity 0.05100, stasis 0.66741, growth 0.28159; computed (numpy 2.4.6) from the published matrix."""
    share = elasticities(loggerheads())
    assert share[0].sum() == pytest.approx(0.05100, abs=1e-5)
    assert np.diag(share)[1:].sum() == pytest.approx(0.66741, abs=1e-5)
    assert np.diag(share, -1).sum() == pytest.approx(0.28159, abs=1e-5)
    assert share.sum() == pytest.approx(1)


def test_new_zealand_sheep_grow_at_the_known_rate():
    """Table published (Caughley 1967); results computed (numpy 2.4.6)."""
    births, survival = caughley_sheep()
    leslie = np.diag(survival, -1)
    leslie[0] += births
    assert growth_factor(leslie) == pytest.approx(1.1755714, abs=1e-6)
    stable = [0.2413, 0.1734, 0.1439, 0.1181, 0.0954, 0.0752, 0.0572, 0.0414, 0.0277, 0.0163, 0.0078, 0.0024]
    assert stable_stages(leslie) == pytest.approx(stable, abs=6e-5)
    alive = np.concatenate(([1.0], np.cumprod(survival)))
    table = life_table(np.arange(12), alive, births)
    assert table.net_reproduction == pytest.approx(2.513651, abs=1e-5)
    assert table.cohort_generation == pytest.approx(5.103329, abs=1e-5)


def test_a_line_that_breeds_at_one_age_only_cycles_for_ever():
    """Matrix published (popbio package, eigen.analysis example): three equal moduli, damping ratio 1."""
    matrix = np.array([[0, 0, 2.0], [0.3, 0, 0], [0, 0.6, 0]])
    assert growth_factor(matrix) == pytest.approx(0.7113787, abs=1e-6)
    assert np.abs(np.linalg.eigvals(matrix)) == pytest.approx([0.7113787] * 3, abs=1e-6)
    start = np.array([5.0, 3.0, 1.0])
    assert np.linalg.matrix_power(matrix, 3) @ start == pytest.approx(0.36 * start)
    assert damping_ratio(matrix) == pytest.approx(1.0, abs=1e-9)
    for claim in (stable_stages, reproductive_values, elasticities):
        with pytest.raises(EngineError, match="never settle"):
            claim(matrix)


def test_a_life_table_gives_the_growth_rate_of_euler_and_lotka():
    """s and m published (Amrita University Virtual Labs, Leslie matrix assignment); computed (scipy 1.17.1)."""
    table = life_table(np.arange(5), [1, 0.5, 0.4, 0.2, 0.1], [0, 1, 2, 3, 3])
    assert table.net_reproduction == pytest.approx(2.2, abs=1e-12)
    assert table.cohort_generation == pytest.approx(2.318182, abs=1e-6)
    assert table.growth_rate_approximate == pytest.approx(0.340119, abs=1e-6)
    assert table.growth_rate == pytest.approx(0.366514, abs=1e-6)
    assert table.doubling == pytest.approx(np.log(2) / 0.366514, abs=1e-5)


def test_a_life_table_and_its_leslie_matrix_agree():
    """A second method: for births counted at each birthday lambda of the matrix is exp(r) of the table."""
    alive, daughters = np.array([1, 0.5, 0.4, 0.2, 0.1]), np.array([0, 1, 2, 3, 3.0])
    survival = alive[1:] / alive[:-1]
    leslie = np.zeros((4, 4))
    leslie[0] = survival * daughters[1:]
    leslie += np.diag(survival[:-1], -1)
    r = life_table(np.arange(5), alive, daughters).growth_rate
    assert np.log(growth_factor(leslie)) == pytest.approx(r, abs=1e-9)


@pytest.mark.parametrize(
    ("ages", "alive", "daughters", "words"),
    [
        ([0, 1], [1, 0.5], [0, 1, 2], "one survival and one number"),
        ([0, 1], [1, np.nan], [0, 1], "missing or negative"),
        ([0, 1], [1, 0.5], [0, -1], "missing or negative"),
        ([0, 1], [1, 0.5], [0, 0], "No daughters"),
    ],
)
def test_a_faulty_life_table_is_refused_in_plain_words(ages, alive, daughters, words):
    with pytest.raises(EngineError, match=words):
        life_table(ages, alive, daughters)


def test_a_faulty_matrix_is_refused_in_plain_words():
    with pytest.raises(EngineError, match="square"):
        growth_factor([[1, 2, 3], [4, 5, 6]])
    with pytest.raises(EngineError, match="missing or negative"):
        growth_factor([[1, -2], [4, 5]])
