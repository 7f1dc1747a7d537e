"""The one table of biology: complete, ranged, sourced, and the only home of its numbers."""

from __future__ import annotations

import ast
import math
import re
import tomllib
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

import chirr.engine.biology
from chirr.engine.biology.species import MARKS, SPECIES, Constant, Curve, species
from chirr.engine.errors import EngineError, UnknownSpecies

ROOM = Path(chirr.engine.biology.__file__).parent
ONE_NUMBER = [(key, name) for key in SPECIES for name in species(key).constants()]


@pytest.mark.parametrize(("key", "name"), ONE_NUMBER)
def test_a_constant_lies_in_its_range_and_says_where_it_comes_from(key, name):
    constant = species(key).constants()[name]
    assert constant.low <= constant.value <= constant.high
    assert constant.low < constant.high
    assert len(constant.source) > 4
    assert constant.mark in MARKS
    assert constant.unit


@pytest.mark.parametrize("key", SPECIES)
def test_a_curve_lies_in_its_range_at_every_point(key):
    for curve in species(key).curves().values():
        value, low, high = map(np.array, (curve.value, curve.low, curve.high))
        assert (low <= value).all()
        assert (value <= high).all()
        assert (np.diff(curve.at) > 0).all()
        assert curve.mark in MARKS


@pytest.mark.parametrize("key", SPECIES)
def test_what_is_marked_published_names_a_publication(key):
    kind = species(key)
    for name, entry in (kind.constants() | kind.curves()).items():
        if entry.mark == "published":
            assert re.search(r"(19|20)\d\d|et al\.|JoVE|thermoperiod", entry.source), name


@pytest.mark.parametrize("key", SPECIES)
def test_what_is_recalled_or_judged_is_never_marked_published(key):
    kind = species(key)
    for name, entry in (kind.constants() | kind.curves()).items():
        if re.search("recalled|from memory|no figure|assumed|judgement|guess", entry.source):
            assert entry.mark != "published", name


@pytest.mark.parametrize("key", SPECIES)
def test_shares_lie_between_none_and_all(key):
    for name, constant in species(key).constants().items():
        if constant.unit == "share":
            assert constant.low >= 0, name
            assert constant.high <= 1, name


@pytest.mark.parametrize("key", SPECIES)
def test_instars_share_out_the_whole_nymph_period(key):
    kind = species(key)
    assert len(kind.instar_shares.value) == kind.nymph_instars.value
    assert sum(kind.instar_shares.value) == pytest.approx(1)


@pytest.mark.parametrize("key", SPECIES)
def test_corners_of_the_clocks_stand_in_order(key):
    kind = species(key)
    for stage in ("egg", "nymph"):
        corners = [getattr(kind, f"{stage}_{c}").value for c in ("threshold_c", "flat_from_c", "fall_from_c", "stop_c")]
        assert corners == sorted(corners)


@pytest.mark.parametrize("key", SPECIES)
def test_the_length_law_is_the_least_squares_line_through_the_trades_sizes(key):
    """A second method: numpy.polyfit on the logarithms of the table's own chart (common practice)."""
    chart = species(key).length_mass
    exponent, log_factor = np.polyfit(np.log(chart.at), np.log(chart.value), 1)
    assert species(key).length_mass_exponent.value == pytest.approx(exponent, abs=0.005)
    assert species(key).length_mass_mg_at_1mm.value == pytest.approx(math.exp(log_factor), rel=0.01)


@pytest.mark.parametrize("key", SPECIES)
def test_the_spread_on_the_log_scale_gives_the_range_back(key):
    hatch = species(key).hatch_share
    low_odds, high_odds = (math.log(p / (1 - p)) for p in (hatch.low, hatch.high))
    assert hatch.logit_sd * 2 * 1.645 == pytest.approx(high_odds - low_odds)
    eggs = species(key).eggs_per_female_day_peak
    assert eggs.low * math.exp(2 * 1.645 * eggs.log_sd) == pytest.approx(eggs.high)


def test_a_range_without_logarithm_says_so():
    with pytest.raises(EngineError, match="no logarithm"):
        _ = species("gryllus-bimaculatus").size_slope_per_c.log_sd
    with pytest.raises(EngineError, match="no log-odds"):
        _ = species("gryllus-bimaculatus").egg_degree_days.logit_sd


def test_an_unknown_species_is_refused_with_the_known_ones():
    with pytest.raises(UnknownSpecies, match="acheta-domesticus, gryllodes-sigillatus, gryllus-bimaculatus"):
        species("acheta")


def test_a_value_outside_its_range_is_refused():
    with pytest.raises(EngineError, match="outside its own range"):
        Constant(value=3, low=4, high=5, unit="m", source="nowhere at all", mark="judgement")
    with pytest.raises(EngineError, match="increasing points"):
        Curve(
            at=(2, 1), value=(1, 1), low=(1, 1), high=(1, 1), at_unit="m", unit="m", source="nowhere", mark="judgement"
        )


def test_every_species_in_the_file_can_be_asked_for():
    table = tomllib.loads(files("chirr.engine.biology").joinpath("species.toml").read_text(encoding="utf-8"))
    assert set(table) - {"every-species"} == set(SPECIES)


def test_species_are_read_once():
    assert species("acheta-domesticus") is species("acheta-domesticus")


ARITHMETIC = {0, 0.5, 1, 2, 4, 0.25, -1, -2}
"""Numbers of arithmetic, not of biology."""
ALLOWED = {
    "rates.py": {-10.0, 60.0, 10.0},  # the range of a working thermometer
    "survival.py": {30.0, 14.0},  # the conditions under which the table states its survival
    "growth.py": {24},  # nodes of an average
    "delays.py": {1e-300, 1e-6, 1e-9},  # guards of a logarithm and of a division
}


@pytest.mark.parametrize("module", ["rates.py", "growth.py", "survival.py", "laying.py", "delays.py"])
def test_no_number_of_biology_stands_outside_the_table(module):
    tree = ast.parse((ROOM / module).read_text(encoding="utf-8"))
    numbers = {
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool)
    }
    assert numbers - ARITHMETIC - ALLOWED.get(module, set()) == set()
