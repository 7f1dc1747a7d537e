"""Eggs in a tray against the days it is left in, and eggs a day against the age of the breeders.

As everywhere, marks carry styles and no colours.
"""

from __future__ import annotations

from collections.abc import Sequence

from chirr.charts.specs import SCHEMA, Spec
from chirr.says import said, word

Rows = Sequence[tuple[float, Sequence[float]]]
"""(days, values at 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)"""


def eggs_by_days_in(
    rows: Rows,
    *,
    title: str,
    habit_days: float,
    tried_days: float,
    counted: Sequence[tuple[float, float, str]] = (),
) -> Spec:
    """Eggs in one tray against days left in: middle, bands, trays counted, the habit, and where nobody has been.

    Parameters
    ----------
    rows : days in with the quantiles of eggs
    title : what is drawn
    habit_days : how long trays are left in now
    tried_days : longest stay that this farm, or the trade, has tried
    counted : (days in, eggs, which tray)
    """
    x: Spec = {"field": "days", "type": "quantitative", "title": word("days left in"), "axis": {"tickMinStep": 1}}
    layers = [*_bands(x, word("days in"), word("eggs in the tray")), *_line_at(x, habit_days, word("now"), row=0)]
    if tried_days < rows[-1][0]:
        layers += _line_at(x, tried_days, word("not tried beyond"), row=1)
    if counted:
        layers.append({
            "data": {"values": [{"days": t, "value": v, "what": what} for t, v, what in counted]},
            "mark": {"type": "point", "style": "fact", "shape": "diamond", "filled": True, "size": 40, "opacity": 0.5,
                     "tooltip": True},
            "encoding": {"x": x, "y": {"field": "value", "type": "quantitative"}, "tooltip": [
                {"field": "what", "type": "nominal", "title": word("tray")},
                {"field": "days", "type": "quantitative", "title": word("days in"), "format": ".1f"},
                {"field": "value", "type": "quantitative", "title": word("eggs"), "format": ",.3~r"}]},
        })  # fmt: skip
    return _spec(rows, layers, said("{title}: middle and bands, and trays counted", title=title))


def eggs_by_age(rows: Rows, *, title: str, age_now: float, retire: tuple[float, float, float]) -> Spec:
    """Eggs a day of a breeding lot against its age as adults: middle, bands, today, and when it has had its day.

    Parameters
    ----------
    rows : ages [days] with the quantiles of eggs a day
    title : what is drawn
    age_now : its age today
    retire : ages at which to retire it: the middle between those that hold 8 chances in 10
    """
    x: Spec = {"field": "days", "type": "quantitative", "title": word("days as adults")}
    low, mid, high = retire
    window: Spec = {
        "data": {"values": [{"days": low, "to": high}]}, "mark": {"type": "rect", "style": "window", "opacity": 0.12},
        "encoding": {"x": x, "x2": {"field": "to"}},
    }  # fmt: skip
    lines = [*_line_at(x, age_now, word("today"), row=0), *_line_at(x, mid, word("retire"), row=1)]
    return _spec(
        rows,
        [window, *_bands(x, word("days as adults"), word("eggs a day")), *lines],
        said("{title}: middle and bands by age", title=title),
    )


def _bands(x: Spec, x_words: str, y_words: str) -> list[Spec]:
    """Bands, the middle, and points that say their figures."""

    def y(field: str) -> Spec:
        return {"field": field, "type": "quantitative", "title": y_words, "scale": {"zero": True}}

    tip = [
        {"field": "days", "type": "quantitative", "title": x_words, "format": ".3~r"},
        *({"field": f, "type": "quantitative", "title": words, "format": ",.3~r"}
          for f, words in (("low80", word("9 in 10 above")), ("mid", word("middle")),
                           ("high80", word("9 in 10 below")))),
    ]  # fmt: skip
    return [
        {"mark": {"type": "area", "style": "band80", "opacity": 0.22},
         "encoding": {"x": x, "y": y("low80"), "y2": {"field": "high80"}}},
        {"mark": {"type": "area", "style": "band50", "opacity": 0.32},
         "encoding": {"x": x, "y": y("low50"), "y2": {"field": "high50"}}},
        {"mark": {"type": "line", "style": "middle", "strokeWidth": 2.5}, "encoding": {"x": x, "y": y("mid")}},
        {"mark": {"type": "point", "filled": True, "size": 40, "tooltip": True},
         "encoding": {"x": x, "y": y("mid"), "tooltip": tip}},
    ]  # fmt: skip


def _line_at(x: Spec, at: float, words: str, *, row: int) -> list[Spec]:
    """An upright line with a word beside it, in one of the rows at the top."""
    data = {"values": [{"days": at, "words": words}]}
    rule = {"type": "rule", "style": "fact", "strokeDash": [[5, 4], [2, 3]][row], "strokeWidth": 1.5}
    text = {"type": "text", "align": "left", "baseline": "top", "dx": 4, "fontSize": 12}
    return [
        {"data": data, "mark": rule, "encoding": {"x": x}},
        {"data": data, "mark": text,
         "encoding": {"x": x, "y": {"value": 2 + 16 * row}, "text": {"field": "words", "type": "nominal"}}},
    ]  # fmt: skip


def _spec(rows: Rows, layers: list[Spec], description: str) -> Spec:
    values = [{"days": t, "low80": q[1], "low50": q[2], "mid": q[3], "high50": q[4], "high80": q[5]} for t, q in rows]
    return {
        "$schema": SCHEMA, "description": description, "width": "container", "height": 240,
        "autosize": {"type": "fit", "contains": "padding"}, "data": {"values": values}, "layer": layers,
    }  # fmt: skip
