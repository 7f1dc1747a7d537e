"""A made-up farm to try the tool on: fourteen months of an old cheese dairy that never was.

Its book is written by a small simulation: crickets that live by their own numbers, unseen, and people who see them
with an error, work by their own rules and now and then make a slip.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np

from chirr.demo import happenings, scenario, weather, year
from chirr.demo.dairy import Dairy, boxes_of, midnight_s
from chirr.demo.diary import Diary
from chirr.demo.truth import truth_of
from chirr.records import FarmFolder

BEFORE_BREAKFAST_S = 7 * 3600 + 1800
AHEAD_DAYS = 60
DAYS_A_MONTH = 30.4


def make_farm(
    today: date,
    seed: int = 7,
    now: int | None = None,
    *,
    bins_factor: float = 1.0,
    months: float = 14,
    diary_share: float | None = None,
) -> FarmFolder:
    """The made-up farm as its book stands this morning; the same for the same arguments.

    Parameters
    ----------
    today : date
        The last day of the book: only the morning's look is written, its round is still to do.
    seed : int
    now : int, optional
        Epoch seconds; nothing later is in the book. Half past seven at the farm if left out.
    bins_factor : float
        How many times as many stacks; 1 gives 70 to 75 bins.
    months : float
        Length of the book.
    diary_share : float, optional
        Share of feeds and waterings written down before the last weeks, 0 to 1.
    """  # fmt: skip
    return make_farm_with_truth(
        today, seed, now, bins_factor=bins_factor, months=months, diary_share=diary_share
    )[0]  # fmt: skip


def make_farm_with_truth(
    today: date,
    seed: int = 7,
    now: int | None = None,
    *,
    bins_factor: float = 1.0,
    months: float = 14,
    diary_share: float | None = None,
) -> tuple[FarmFolder, dict[str, Any]]:
    """The same farm, and what really happened there (see `truth.truth_of`)."""  # fmt: skip
    habits = scenario.Habits() if diary_share is None else scenario.Habits(diary_share=diary_share)
    last_day = round(months * DAYS_A_MONTH)
    if last_day < 90 or bins_factor <= 0:
        raise ValueError("The made-up farm needs at least three months and a factor above nought.")
    first_day = today - timedelta(days=last_day)
    now = midnight_s(today) + BEFORE_BREAKFAST_S if now is None else now
    days = happenings.calendar(first_day, last_day)
    bins = scenario.bins(bins_factor)
    air, animals, thermometers = np.random.default_rng([seed, today.toordinal()]).spawn(3)
    start_s = midnight_s(first_day) - 24 * weather.HOUR_S
    climate = weather.make_climate(
        scenario.ROOMS, start_s, (last_day + AHEAD_DAYS) * 24, happenings.heater_failure(days, first_day, start_s),
        scenario.Nature(), air,
    )  # fmt: skip
    dairy = Dairy(
        climate=climate, nature=scenario.Nature(), habits=habits, diary=Diary(seed), rng=animals, boxes=boxes_of(bins),
        first_day=first_day, last_day=last_day, factor=bins_factor,
        rack_stack=1 + scenario.stacks_of(scenario.VAT, bins_factor),
    )  # fmt: skip
    year.run(dairy, days)
    folder = FarmFolder(
        farm=scenario.farm_card(habits),
        rooms=scenario.rooms(),
        bins=bins,
        tray_types=list(scenario.TRAYS),
        people=list(scenario.PEOPLE),
        entries=dairy.diary.up_to(now),
        readings=weather.readings(climate, now, thermometers),
    )
    return folder, truth_of(dairy)
