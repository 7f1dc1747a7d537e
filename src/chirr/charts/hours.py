"""Where the hours of the week go, and what it would take otherwise, as pictures. Marks carry styles, no colours."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from chirr.charts.specs import SCHEMA, Spec
from chirr.says import word

ROW, AXIS = 30, 40


def _chart(values: list[dict[str, Any]], description: str) -> Spec:
    return {
        "$schema": SCHEMA, "description": description, "width": "container",
        "height": ROW * max(len(values), 1) + AXIS, "autosize": {"type": "fit", "contains": "padding"},
        "data": {"values": values},
    }  # fmt: skip


def hours_by_deed(rows: Sequence[tuple[str, float]]) -> Spec:
    """A bar for each deed: rows of (deed, hours a week), in the order in which they are to stand."""
    values = [{"deed": d, "hours": round(h, 3)} for d, h in rows]
    return {
        **_chart(values, word("Hours of a usual week, deed by deed")),
        "mark": {"type": "bar", "style": "band50", "height": 18, "opacity": 0.75, "tooltip": True},
        "encoding": {
            "x": {"field": "hours", "type": "quantitative", "title": word("hours a week"), "scale": {"zero": True}},
            "y": {"field": "deed", "type": "nominal", "title": None, "sort": None},
            "tooltip": [
                {"field": "deed", "title": word("deed")},
                {"field": "hours", "type": "quantitative", "title": word("hours a week"), "format": ".2f"},
            ],
        },
    }


def hours_otherwise(rows: Sequence[tuple[str, float, float]], *, now: float) -> Spec:
    """The week with one thing changed: rows of (what, hours at the bins, hours on the way), a line at `now`."""
    values = [
        {"what": what, "part": part, "hours": round(h, 3), "place": place}
        for what, work, way in rows
        for place, (part, h) in enumerate(((word("at the bins"), work), (word("on the way"), way)))
    ]  # fmt: skip
    spec = _chart(values, word("Hours of the week with one thing changed"))
    x: Spec = {"type": "quantitative", "title": word("hours a week"), "scale": {"zero": True}}
    bar: Spec = {"type": "bar", "style": "band50", "height": 18, "tooltip": True}
    return {
        **spec, "height": ROW * max(len(rows), 1) + AXIS,
        "layer": [
            {"mark": bar, "encoding": {
                "x": {"field": "hours", **x}, "y": {"field": "what", "type": "nominal", "title": None, "sort": None},
                "order": {"field": "place"},
                "opacity": {"field": "part", "type": "ordinal", "title": None,
                            "scale": {"domain": ["at the bins", "on the way"], "range": [0.75, 0.3]}},
                "tooltip": [{"field": "what", "title": word("the week with")},
                            {"field": "part", "title": word("spent")},
                            {"field": "hours", "type": "quantitative", "title": word("hours"), "format": ".2f"}],
            }},
            {"data": {"values": [{"now": round(now, 3)}]},
             "mark": {"type": "rule", "style": "fact", "strokeDash": [5, 4], "strokeWidth": 2},
             "encoding": {"x": {"field": "now", **x}}},
        ],
    }  # fmt: skip
