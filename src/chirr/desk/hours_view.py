"""The page of hours: where the week's go, what it would take otherwise, and what limits the farm."""

from __future__ import annotations

from typing import Any

import msgspec

from chirr.charts.hours import hours_by_deed, hours_otherwise
from chirr.deeds import DEEDS
from chirr.desk.limits import what_limits
from chirr.desk.shapes import Beliefs, Chart
from chirr.desk.spoken import again, figure, local_signs, say, term
from chirr.desk.timing import timing
from chirr.says import word


class HoursView(msgspec.Struct, frozen=True, kw_only=True):
    """What the page shows. limits: as of desk.limits; ways and minutes: rows ready to be read."""

    charts: tuple[Chart, ...]
    hours: float
    ways: tuple[tuple[str, int, float, float, float], ...]
    """(way, gaps, usual minutes, and the band of 8 in 10)"""
    minutes: tuple[tuple[str, int, float, float, float], ...]
    limits: dict[str, Any]


OTHERWISE = (
    word("as it is"), word("tray type"), word("order"), word("as it was walked"), word("clean before dirty"),
    word("room by room"), word("stack height"), word("bins"), word("on the way"),
)  # fmt: skip
"""What may be changed about the week, as `desk.usual_week` names it."""
WAYS = (
    ("room", word("into a room")), ("stack", word("a stack further")), ("bin", word("to the next bin of a stack")),
)  # fmt: skip


def hours_view(beliefs: Beliefs | None = None) -> HoursView:
    """The hours of the farm. Raises LookupError without a farm."""
    found = timing()
    deeds = [x for x in found["week"] if x["deed"] != "all"]
    whole = found["week"][-1]["hours"]
    rows = [
        (f"{again(x['what'])} {again(str(x['value']))}".strip(), x["work_hours"], x["walking_hours"])
        for x in found["otherwise"]
    ]
    return HoursView(
        charts=(_week_chart(deeds, whole), _other_chart(rows)) if deeds else (), hours=whole,
        ways=tuple((again(words), *_row(found["set_up"][k])) for k, words in WAYS),
        minutes=tuple((_deed(x["deed"]), *_row(x)) for x in found["deeds"])
        + tuple(
            (say("{deed}, tray {tray}", deed=term("deed", x["deed"]), tray=x["tray_type"]), *_row(x))
            for x in found["trays"]
        ),
        limits=what_limits(beliefs=beliefs),
    )  # fmt: skip


def _deed(name: str) -> str:
    return term("deed", name) if name in DEEDS else again(name)


def _row(x: dict[str, Any]) -> tuple[int, float, float, float]:
    return x["timed"], x["middle"], x["low"], x["high"]


def _week_chart(deeds: list[dict[str, Any]], whole: float) -> Chart:
    return Chart(
        key="week", title=say("Where the {hours:.1f} hours of a usual week go", hours=whole),
        spec=hours_by_deed([(_deed(x["deed"]), x["hours"]) for x in deeds]),
        columns=(say("deed"), say("hours a week"), say("share")),
        rows=tuple((_deed(x["deed"]), figure(x["hours"], ".2f"), f"{100 * x['share']:.0f} %") for x in deeds),
        note=say(
            "How often each deed was written down in the last four weeks, times the minutes it takes here. What "
            "nobody writes down is not in it."
        ),
    )  # fmt: skip


def _other_chart(rows: list[tuple[str, float, float]]) -> Chart:
    now = rows[0][1] + rows[0][2]
    return Chart(
        key="otherwise", title=say("What the week would take otherwise"), spec=hours_otherwise(rows, now=now),
        columns=(say("the week with"), say("at the bins"), say("on the way"), say("hours"), say("more")),
        rows=tuple(
            (w, *(figure(h, ".1f") for h in (a, b, a + b)), more_hours(a + b - now)) for w, a, b in rows
        ),
        note=say(
            "Dashed: as it is. Another tray type means as many swaps as now; more bins means more of the same in the "
            "same rooms."
        ),
    )  # fmt: skip


def more_hours(value: float) -> str:
    """Hours more or less, with their sign; nought without one.

    >>> more_hours(1.26), more_hours(-0.31), more_hours(-0.01)
    ('+1.3', '−0.3', '0.0')
    """
    text = f"{value:+.1f}"
    return local_signs("0.0" if text in ("+0.0", "-0.0") else text.replace("-", "−"))
