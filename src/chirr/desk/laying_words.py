"""The answers about laying trays: their shapes, their sentences, their picture."""

from __future__ import annotations

from itertools import pairwise

import msgspec
import numpy as np

from chirr.charts.laying import eggs_by_days_in
from chirr.desk.belief import band
from chirr.desk.shapes import Band, Chart
from chirr.desk.spoken import chance_in_words, figure, say, say_n
from chirr.engine.colony.ahead import quantiles
from chirr.engine.planning.choice import Best
from chirr.engine.planning.tray_choice import DaysJudged, TraysJudged

MORE_THAN_ONE = 1.1
"""From so many trays in a bin on the mean, a farm has given more than one at once (judgement)."""


class DaysChoice(msgspec.Struct, frozen=True, kw_only=True):
    """The best number of days by one measure. `gain` is its yield over that of the habit; `chance` that it is more.

    `days_band` is how far the best number of days itself is known, within the days tried.
    """

    by: str
    unit: str
    days: float
    days_band: Band
    value: Band
    gain: Band
    chance: float
    says: str


class DayRow(msgspec.Struct, frozen=True, kw_only=True):
    """One number of days: eggs in a tray, and whether this farm (or the trade) has tried it."""

    days: float
    eggs: Band
    tried: bool


class TrayNumber(msgspec.Struct, frozen=True, kw_only=True):
    """So many trays in one bin for one stay: eggs of all, what the last tray adds, minutes and litres of substrate."""

    trays: int
    eggs: Band
    extra: Band
    minutes: float
    extra_per_minute: float
    substrate_l: float


class TypeLaying(msgspec.Struct, frozen=True, kw_only=True):
    """One tray type in one bin of adults. The cautions say where the law, more than the counts, gives an answer; empty
    where it does not."""

    tray_type: str
    area_cm2: float
    counted: int
    habit_days: float
    tried_days: float
    minutes_per_tray: float
    days: tuple[DayRow, ...]
    best_days: tuple[DaysChoice, ...]
    numbers: tuple[TrayNumber, ...]
    best_number: int
    best_number_chance: float
    number_says: str
    days_caution: str
    number_caution: str


class LayingView(msgspec.Struct, frozen=True, kw_only=True):
    """The answer for a bin of so many adults, by tray type."""

    as_of: int
    adults: float
    adults_say: str
    trays_in_a_bin: float
    types: tuple[TypeLaying, ...]
    best_says: str
    remarks: tuple[str, ...]


def days_choices(judged: DaysJudged, habit: float) -> tuple[DaysChoice, ...]:
    """The best days in by each measure, with a sentence."""
    measures = (
        ("breeder and day", say("eggs for each breeder and day"), judged.per_breeder_day),
        ("tray", say("eggs in a tray"), judged.per_tray),
        ("minute of labour", say("eggs for each minute"), judged.per_minute),
    )
    return tuple(
        DaysChoice(
            by=by, unit=unit, days=best.at, days_band=band(quantiles(best.ways)), value=band(quantiles(best.value)),
            gain=band(quantiles(best.gain)), chance=best.chance, says=_days_says(by, best, habit),
        )
        for by, unit, best in measures
    )  # fmt: skip


def _days_says(by: str, best: Best, habit: float) -> str:
    ways = np.quantile(best.ways, (0.1, 0.9))
    days = in_days(best.at)
    if ways[0] < ways[1]:
        days = say(
            "{days} (8 chances in 10 between {low:.0f} and {high:.0f})",
            days=days,
            low=float(ways[0]),
            high=float(ways[1]),
        )
    says = {
        "breeder and day": say("Most eggs for each breeder and day: {days}", days=days),
        "tray": say("Most eggs for each tray: {days}", days=days),
        "minute of labour": say("Most eggs for each minute of labour: {days}", days=days),
    }[by]
    if abs(best.at - habit) < 0.25:
        return say("{says}. That is what is done now.", says=says)
    low, mid, high = (float(x) for x in np.quantile(best.gain, (0.1, 0.5, 0.9)) * 100 - 100)
    return say(
        "{says}. Against {habit} now: {mid:+.0f} % ({low:+.0f} to {high:+.0f} %), {chance} that it is more.",
        says=says, habit=in_days(habit), low=low, mid=mid, high=high, chance=chance_in_words(best.chance),
    )  # fmt: skip


def in_days(days: float) -> str:
    """Days as they are said: whole where they nearly are.

    >>> in_days(1.02), in_days(2.33), in_days(3.0)
    ('1 day', '2.3 days', '3 days')
    """
    if abs(days - round(days)) < 0.1:
        return say_n("{n} day", "{n} days", round(days))
    return say("{days:.1f} days", days=days)


def tray_numbers(judged: TraysJudged, litres: float) -> tuple[TrayNumber, ...]:
    """One row for each number of trays; `litres` of substrate go into one."""
    per_tray = np.diff(judged.minutes, prepend=0.0)
    return tuple(
        TrayNumber(
            trays=int(n), eggs=band(quantiles(judged.total[k])), extra=band(quantiles(judged.extra[k])),
            minutes=float(judged.minutes[k]), extra_per_minute=float(np.median(judged.extra[k]) / per_tray[k]),
            substrate_l=float(n * litres),
        )
        for k, n in enumerate(judged.numbers)
    )  # fmt: skip


def number_says(judged: TraysJudged, habit: float) -> str:
    """How many trays a bin deserves, in a sentence."""
    best = judged.best
    trays = say_n("{n} tray", "{n} trays", round(best.at))
    if abs(best.at - habit) < 0.25:
        return say("Most eggs for each minute: {trays} in a bin, as now.", trays=trays)
    return say(
        "Most eggs for each minute: {trays} in a bin; {chance} that it beats the {habit:.1f} of now.",
        trays=trays, chance=chance_in_words(best.chance), habit=float(habit),
    )  # fmt: skip


def days_caution(judged: DaysJudged) -> str:
    """That the shortest stay is best for each breeder and day by the law itself, where it is; else nothing."""
    best = judged.per_breeder_day
    if len(judged.days) < 2 or best.at > judged.days[0]:
        return ""
    return say(
        "For each breeder and day the shortest stay always comes out best: by the law of the curve a fresh tray takes"
        " eggs best, and fewest are eaten. Only how much better is learnt. Trays of this type left in for different"
        " times, and counted, tell more."
    )


def number_caution(judged: TraysJudged, habit: float) -> str:
    """That one tray is best by what is supposed of trays together, where it is; else nothing."""
    if judged.best.at > 1 or len(judged.numbers) < 2:
        return ""
    if habit > MORE_THAN_ONE:
        return say(
            "One tray comes out best because trays together are supposed to share the eggs that the same females would"
            " lay anyway, and one is far from full. Some bins with one tray beside others with two, all counted, tell"
            " more."
        )
    return say(
        "One tray comes out best because trays together are supposed to share the eggs that the same females would lay"
        " anyway, and one is far from full. This farm has not given two at once, so it cannot know: some bins with two,"
        " all counted, tell more."
    )


def best_type(types: tuple[TypeLaying, ...]) -> str:
    """Which type, at which number, gives most for a minute; empty where there is nothing to compare."""
    rated = sorted(
        ((n.eggs.mid / n.minutes, t.tray_type, n.trays) for t in types for n in t.numbers if n.trays == t.best_number),
        reverse=True,
    )
    if len(rated) < 2:
        return ""
    told = [say("{n} of {tray} {rate:,.0f}", n=k, tray=name, rate=float(rate)) for rate, name, k in rated]
    return say("Eggs for each minute of the bin: {first}; {others}.", first=told[0], others=", ".join(told[1:]))


def chart_of(t: TypeLaying, counted: list[tuple[float, float, str]]) -> Chart:
    """The curve of one tray type, with counted trays brought to this bin."""
    return Chart(
        key=f"laying-{t.tray_type}",
        title=say("Eggs in a {tray} tray by days left in", tray=t.tray_type),
        spec=eggs_by_days_in(
            [(r.days, r.eggs.q) for r in t.days], title=say("Eggs in a {tray} tray", tray=t.tray_type),
            habit_days=t.habit_days, tried_days=t.tried_days, counted=counted,
        ),
        columns=(
            say("days in"), say("middle"), say("8 chances in 10 between"), say("and"), say("more than a day before")
        ),
        rows=tuple(
            (f"{r.days:.0f}", figure(r.eggs.mid), figure(r.eggs.low), figure(r.eggs.high), figure(more, "+,.0f"))
            for r, more in zip(t.days, _steps(t.days), strict=True)
        ),
        note=say(
            "Line: a usual tray. Dark band: five chances in ten, light band: eight in ten, for the usual tray; single "
            "trays scatter more. Diamonds: trays counted, brought to the adults of this bin."
        ),
    )  # fmt: skip


def _steps(days: tuple[DayRow, ...]) -> list[float]:
    mids = [0.0, *(r.eggs.mid for r in days)]
    return [b - a for a, b in pairwise(mids)]
