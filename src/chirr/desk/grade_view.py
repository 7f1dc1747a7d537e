"""The last grade as the page and the command line tell it."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from chirr.charts.grading import held_of_100, misses_beside
from chirr.desk.grade_cases import KINDS
from chirr.desk.grade_report import Grade, KindGrade, drift_sentence
from chirr.desk.kept_grade import kept, stale_sentence
from chirr.desk.shapes import Chart
from chirr.desk.spoken import again, say
from chirr.says import word

WORDS = {
    "chirr": "Chirr", "keeper": word("the farm's own averages"), "calendar": word("the calendar"),
    "published": word("published values"),
}  # fmt: skip


class GradeView(msgspec.Struct, frozen=True, kw_only=True):
    """What the page shows: `says` one sentence for each kind, `drift` and `stale` warnings or None."""

    made_at: int
    dates: int
    first_at: int
    last_at: int
    says: tuple[str, ...]
    charts: tuple[Chart, ...]
    drift: str | None
    stale: str | None


def grade_view() -> GradeView | None:
    """The last grade of this book; None if there is none."""
    report = kept()
    if report is None or not report.asked:
        return None
    whole = overall(report)
    return GradeView(
        made_at=report.made_at, dates=len(report.asked), first_at=report.asked[0], last_at=report.asked[-1],
        says=tuple(sentence(k) for k in whole), charts=(_held_chart(whole), _misses_chart(whole)) if whole else (),
        drift=drift_sentence(report.drift), stale=stale_sentence(report),
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
    return say(
        "{kind}: of 100 times that the band said 8 in 10, the truth was inside {times} times ({n} forecasts of"
        " {things}); {off}.",
        kind=again(k.kind).capitalize(), times=round(100 * held.share), n=k.n, things=k.things, off=off(k),
    )  # fmt: skip


def off(k: KindGrade) -> str:
    """The bias in words: which way the middle forecast leans."""
    if k.unit == "days":
        hours = round(abs(k.bias) * 24)
        if hours < 3:
            return say("the middle is as often early as late")
        if k.bias > 0:
            return say("the middle is {hours} hours too late", hours=hours)
        return say("the middle is {hours} hours too early", hours=hours)
    share = round(100 * abs(k.bias))
    if share < 2:
        return say("the middle is right on the whole")
    if k.bias > 0:
        return say("the middle is {share} % too high", share=share)
    return say("the middle is {share} % too low", share=share)


def _held_chart(whole: tuple[KindGrade, ...]) -> Chart:
    rows = []
    for k in whole:
        h = next(h for h in k.held if h.band == 80)
        rows.append((again(k.kind), 100 * h.share, 100 * h.low, 100 * h.high))
    return Chart(
        key="held", title=say("Of 100 times the band said 8 in 10, how often was the truth inside?"),
        spec=held_of_100(rows, promised=80),
        columns=(say("forecast"), say("inside, of 100"), say("at least"), say("at most"), say("asked")),
        rows=tuple((row[0], *(f"{v:.0f}" for v in row[1:]), str(k.n)) for row, k in zip(rows, whole, strict=True)),
        note=say("Bar: how often. Line on it: what so few answers let one believe. Dashed: what was promised."),
    )  # fmt: skip


def _misses_chart(whole: tuple[KindGrade, ...]) -> Chart:
    rows = [
        (again(k.kind), again(WORDS[who]), 100 * k.score[who] / k.score["keeper"])
        for k in whole for who in WORDS if who in k.score and k.score.get("keeper", 0) > 0
    ]  # fmt: skip
    return Chart(
        key="misses", title=say("How far off, beside other ways to forecast"),
        spec=misses_beside(rows, hundred=again(WORDS["keeper"])),
        columns=(say("forecast"), say("by"), say("off by")),
        rows=tuple((kind, who, f"{v:.0f}") for kind, who, v in rows),
        note=say(
            "Shorter is better, and the farm's own averages are 100; bands too wide or too narrow count as off, too."
            " The calendar: fixed days from laying and fixed numbers. The farm's own averages: what a careful keeper"
            " reads off a sheet of all that was written down up to then. Published values: the same reckoning, with"
            " nothing learnt from this farm."
        ),
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
