"""What growers say of large and small laying trays, as check values: common practice, no published source."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chirr.engine.trials.power import Design, difference_size, equivalence_size, sd_of_log
from chirr.engine.trials.worth import Effect, Stakes, worth

HANDFULS_LARGE, HANDFULS_SMALL = (7, 8), 2
"""Handfuls of substrate in a large and in a small tray: common practice, no published source."""
MOST_OF_THE_TIME = 0.5
"""Filling and clearing a small tray takes less than this share of a large one's time: the same."""
MINUTES_LARGE = 3.0
"""A swap, the middle of 2-4 minutes: the same."""


def test_half_the_minutes_are_found_by_a_handful_of_trays_but_as_many_eggs_take_hundreds():
    """The two halves of the growers' claim are not equally easy to know: spreads of 30 % and 50 % are judgement."""
    minutes = difference_size(Design(kind="parallel", sd=sd_of_log(0.3)), math.log(MOST_OF_THE_TIME))
    bound = -math.log(0.9)
    eggs = equivalence_size(Design(kind="parallel", sd=sd_of_log(0.5)), 0.0, -bound, bound)
    assert minutes is not None
    assert eggs is not None
    assert minutes <= 6
    assert eggs > 50 * minutes


def test_small_trays_save_hours_and_substrate_if_they_lay_as_well():
    """Forty trays a week: at least an hour, and 3.5 to 4 times less substrate."""
    saved = Effect(value=MINUTES_LARGE * (1 - MOST_OF_THE_TIME), se=0.1)
    w = worth(None, saved, Stakes(trays_per_week=40, wage_per_hour=12), rng=np.random.default_rng(1))
    assert w.hours_per_week[3] == pytest.approx(1.0, abs=0.02)
    assert [x / HANDFULS_SMALL for x in HANDFULS_LARGE] == [3.5, 4.0]
    assert w.gain_per_week[3] == pytest.approx(12.0, abs=0.2)
