"""The answers about laying trays: their shapes, their sentences, their picture."""

from __future__ import annotations

from itertools import pairwise

import msgspec
import numpy as np

from chirr.charts.laying import eggs_by_days_in
from chirr.desk.belief import band
from chirr.desk.shapes import Band, Chart
from chirr.engine.colony.ahead import quantiles
from chirr.engine.planning.choice import Best
from chirr.engine.planning.tray_choice import DaysJudged, TraysJudged


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
    """One tray type in one bin of adults."""

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
        ("breeder and day", "eggs for each breeder and day", judged.per_breeder_day),
        ("tray", "eggs in a tray", judged.per_tray),
        ("minute of labour", "eggs for each minute", judged.per_minute),
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
    span = f" (8 chances in 10 between {ways[0]:.0f} and {ways[1]:.0f})" if ways[0] < ways[1] else ""
    says = f"Most eggs for each {by}: {in_days(best.at)}{span}"
    if abs(best.at - habit) < 0.25:
        return f"{says}. That is what is done now."
    more = np.quantile(best.gain, (0.1, 0.5, 0.9)) * 100 - 100
    return (
        f"{says}. Against {in_days(habit)} now: {more[1]:+.0f} % ({more[0]:+.0f} to {more[2]:+.0f} %),"
        f" {chance_in_words(best.chance)} that it is more."
    )


def in_days(days: float) -> str:
    """Days as they are said: whole where they nearly are.

    >>> in_days(1.02), in_days(2.33), in_days(3.0)
    ('1 day', '2.3 days', '3 days')
    """
    text = f"{days:.0f}" if abs(days - round(days)) < 0.1 else f"{days:.1f}"
    return f"{text} day{'' if text == '1' else 's'}"


def chance_in_words(chance: float) -> str:
    """A chance in hundredths; draws are finite, so it never says never or always."""
    if chance > 0.99:
        return "more than 99 chances in 100"
    return "less than 1 chance in 100" if chance < 0.01 else f"{round(100 * chance)} chances in 100"


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
    trays = f"{best.at:.0f} tray{'' if best.at == 1 else 's'}"
    if abs(best.at - habit) < 0.25:
        return f"Most eggs for each minute: {trays} in a bin, as now."
    beats = f"{chance_in_words(best.chance)} that it beats the {habit:.1f} of now"
    return f"Most eggs for each minute: {trays} in a bin; {beats}."


def best_type(types: tuple[TypeLaying, ...]) -> str:
    """Which type, at which number, gives most for a minute; empty where there is nothing to compare."""
    rated = sorted(
        ((n.eggs.mid / n.minutes, t.tray_type, n.trays) for t in types for n in t.numbers if n.trays == t.best_number),
        reverse=True,
    )
    if len(rated) < 2:
        return ""
    others = ", ".join(f"{k} of {name} {rate:,.0f}" for rate, name, k in rated[1:])
    rate, name, k = rated[0]
    return f"Eggs for each minute of the bin: {k} of {name} {rate:,.0f}; {others}."


def chart_of(t: TypeLaying, counted: list[tuple[float, float, str]]) -> Chart:
    """The curve of one tray type, with counted trays brought to this bin."""
    return Chart(
        key=f"laying-{t.tray_type}",
        title=f"Eggs in a {t.tray_type} tray by days left in",
        spec=eggs_by_days_in(
            [(r.days, r.eggs.q) for r in t.days], title=f"Eggs in a {t.tray_type} tray",
            habit_days=t.habit_days, tried_days=t.tried_days, counted=counted,
        ),
        columns=("days in", "middle", "8 chances in 10 between", "and", "more than a day before"),
        rows=tuple(
            (f"{r.days:.0f}", f"{r.eggs.mid:,.0f}", f"{r.eggs.low:,.0f}", f"{r.eggs.high:,.0f}", f"{more:+,.0f}")
            for r, more in zip(t.days, _steps(t.days), strict=True)
        ),
        note="Line: a usual tray. Dark band: five chances in ten, light band: eight in ten, for the usual tray; single "
        "trays scatter more. Diamonds: trays counted, brought to the adults of this bin.",
    )  # fmt: skip


def _steps(days: tuple[DayRow, ...]) -> list[float]:
    mids = [0.0, *(r.eggs.mid for r in days)]
    return [b - a for a, b in pairwise(mids)]
