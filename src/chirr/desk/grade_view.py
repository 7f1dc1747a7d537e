"""The last grade as the page and the command line tell it."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from chirr.charts.grading import held_of_100, misses_beside
from chirr.desk.grade import kept
from chirr.desk.grade_cases import KINDS
from chirr.desk.grade_report import Grade, KindGrade, drift_sentence
from chirr.desk.shapes import Chart

WORDS = {
    "chirr": "Chirr", "keeper": "the farm's own averages", "calendar": "the calendar", "published": "published values",
}  # fmt: skip


class GradeView(msgspec.Struct, frozen=True, kw_only=True):
    """What the page shows: `says` one sentence for each kind, `drift` a warning or None."""

    made_at: int
    dates: int
    first_at: int
    last_at: int
    says: tuple[str, ...]
    charts: tuple[Chart, ...]
    drift: str | None


def grade_view() -> GradeView | None:
    """The last grade of this book; None if there is none."""
    report = kept()
    if report is None or not report.asked:
        return None
    whole = overall(report)
    return GradeView(
        made_at=report.made_at, dates=len(report.asked), first_at=report.asked[0], last_at=report.asked[-1],
        says=tuple(sentence(k) for k in whole), charts=(_held_chart(whole), _misses_chart(whole)) if whole else (),
        drift=drift_sentence(report.drift),
    )  # fmt: skip


def overall(report: Grade) -> tuple[KindGrade, ...]:
    """Each kind over all days ahead."""
    found: dict[str, KindGrade] = {}
    for k in report.kinds:
        found.setdefault(k.kind, k)
    return tuple(found[kind] for kind in KINDS if kind in found)


def sentence(k: KindGrade) -> str:
    """What the grade of one kind means, in words."""
    held = next(h for h in k.held if h.band == 80)
    times = f"of 100 times that the band said 8 in 10, the truth was inside {round(100 * held.share)} times"
    return f"{k.kind.capitalize()}: {times} ({k.n} forecasts of {k.things}); {off(k)}."


def off(k: KindGrade) -> str:
    """The bias in words: which way the middle forecast leans."""
    if k.unit == "days":
        hours = round(abs(k.bias) * 24)
        lean = "late" if k.bias > 0 else "early"
        return "the middle is as often early as late" if hours < 3 else f"the middle is {hours} hours too {lean}"
    share = round(100 * abs(k.bias))
    lean = "high" if k.bias > 0 else "low"
    return "the middle is right on the whole" if share < 2 else f"the middle is {share} % too {lean}"


def _held_chart(whole: tuple[KindGrade, ...]) -> Chart:
    rows = []
    for k in whole:
        h = next(h for h in k.held if h.band == 80)
        rows.append((k.kind, 100 * h.share, 100 * h.low, 100 * h.high))
    return Chart(
        key="held", title="Of 100 times the band said 8 in 10, how often was the truth inside?",
        spec=held_of_100(rows, promised=80), columns=("forecast", "inside, of 100", "at least", "at most", "asked"),
        rows=tuple((row[0], *(f"{v:.0f}" for v in row[1:]), str(k.n)) for row, k in zip(rows, whole, strict=True)),
        note="Bar: how often. Line on it: what so few answers let one believe. Dashed: what was promised.",
    )  # fmt: skip


def _misses_chart(whole: tuple[KindGrade, ...]) -> Chart:
    rows = [
        (k.kind, WORDS[who], 100 * k.score[who] / k.score["keeper"])
        for k in whole for who in WORDS if who in k.score and k.score.get("keeper", 0) > 0
    ]  # fmt: skip
    return Chart(
        key="misses", title="How far off, beside other ways to forecast",
        spec=misses_beside(rows, hundred=WORDS["keeper"]), columns=("forecast", "by", "off by"),
        rows=tuple((kind, who, f"{v:.0f}") for kind, who, v in rows),
        note="Shorter is better; bands too wide or too narrow count as off, too. The calendar: fixed days from laying "
        "and fixed numbers. The farm's own averages: what a careful keeper reads off a sheet of all that was "
        "written down up to then. Published values: the same reckoning, with nothing learnt from this farm.",
    )  # fmt: skip


def grade_json(report: Grade, zone: ZoneInfo) -> dict[str, Any]:
    """The report as `chirr grade --json` gives it: times as ISO with offset."""

    def iso(at: int) -> str:
        return datetime.fromtimestamp(at, UTC).astimezone(zone).isoformat(timespec="minutes")

    plain = msgspec.to_builtins(report)
    return {
        **plain, "made_at": iso(report.made_at), "asked": [iso(at) for at in report.asked],
        "remark": drift_sentence(report.drift),
    }  # fmt: skip
