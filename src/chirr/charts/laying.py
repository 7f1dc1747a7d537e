"""Eggs in a tray against the days it is left in, and eggs a day against the age of the breeders.

As everywhere, marks carry styles and no colours.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from chirr.charts.specs import SCHEMA, Spec


def eggs_by_days_in(
    rows: Sequence[tuple[float, Sequence[float]]],
    *,
    title: str,
    habit_days: float,
    tried_days: float,
    counted: Sequence[tuple[float, float, str]] = (),
) -> Spec:
    """Eggs in one tray against days left in: middle, bands, trays counted, the habit, and where nobody has been.

    Parameters
    ----------
    rows : (days in, eggs at 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
    title : what is drawn
    habit_days : how long trays are left in now
    tried_days : longest stay that this farm, or the trade, has tried
    counted : (days in, eggs, which tray)
    """
    values = [{"days": t, "low80": q[1], "low50": q[2], "mid": q[3], "high50": q[4], "high80": q[5]} for t, q in rows]
    x: Spec = {"field": "days", "type": "quantitative", "title": "days left in", "axis": {"tickMinStep": 1}}
    tip = [
        {"field": "days", "type": "quantitative", "title": "days in"},
        *({"field": f, "type": "quantitative", "title": words, "format": ",.3~r"}
          for f, words in (("low80", "9 in 10 above"), ("mid", "middle"), ("high80", "9 in 10 below"))),
    ]  # fmt: skip

    def y(field: str) -> Spec:
        return {"field": field, "type": "quantitative", "title": "eggs in the tray", "scale": {"zero": True}}

    def line_at(day: float, words: str, dash: list[int]) -> list[Spec]:
        data = {"values": [{"days": day, "words": words}]}
        rule = {"type": "rule", "style": "fact", "strokeDash": dash, "strokeWidth": 1.5}
        text = {"type": "text", "align": "left", "baseline": "top", "dx": 4, "fontSize": 12}
        return [
            {"data": data, "mark": rule, "encoding": {"x": x}},
            {"data": data, "mark": text,
             "encoding": {"x": x, "y": {"value": 2 if dash == [5, 4] else 18}, "text": {"field": "words"}}},
        ]  # fmt: skip

    layers: list[dict[str, Any]] = [
        {"mark": {"type": "area", "style": "band80", "opacity": 0.22},
         "encoding": {"x": x, "y": y("low80"), "y2": {"field": "high80"}}},
        {"mark": {"type": "area", "style": "band50", "opacity": 0.32},
         "encoding": {"x": x, "y": y("low50"), "y2": {"field": "high50"}}},
        {"mark": {"type": "line", "style": "middle", "strokeWidth": 2.5}, "encoding": {"x": x, "y": y("mid")}},
        {"mark": {"type": "point", "filled": True, "size": 60, "tooltip": True},
         "encoding": {"x": x, "y": y("mid"), "tooltip": tip}},
        *line_at(habit_days, "now", [5, 4]),
    ]  # fmt: skip
    if tried_days < rows[-1][0]:
        layers += line_at(tried_days, "not tried beyond", [2, 3])
    if counted:
        layers.append({
            "data": {"values": [{"days": t, "value": v, "what": what} for t, v, what in counted]},
            "mark": {"type": "point", "style": "fact", "shape": "diamond", "filled": True, "size": 40, "opacity": 0.5,
                     "tooltip": True},
            "encoding": {"x": x, "y": y("value"), "tooltip": [
                {"field": "what", "type": "nominal", "title": "tray"},
                {"field": "days", "type": "quantitative", "title": "days in", "format": ".1f"},
                {"field": "value", "type": "quantitative", "title": "eggs", "format": ",.3~r"}]},
        })  # fmt: skip
    return {
        "$schema": SCHEMA, "description": f"{title}: middle and bands, and trays counted", "width": "container",
        "height": 240, "autosize": {"type": "fit", "contains": "padding"}, "data": {"values": values}, "layer": layers,
    }  # fmt: skip
