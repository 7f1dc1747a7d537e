"""How good the forecasts were, as pictures: how often a band held, and how far off beside the rivals.

As everywhere, marks carry styles and no colours.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from chirr.charts.specs import SCHEMA, Spec
from chirr.says import said, word

WIDEST = 250
"""Misses beyond so many for a hundred of the keeper's are drawn up to here, with their number beside them."""


LEGEND = {"orient": "top", "direction": "vertical", "columns": 1, "labelLimit": 0}
"""One below the other, each with its whole name, so that a phone shows all of them."""


def _chart(values: list[dict[str, Any]], description: str, rows: int) -> Spec:
    return {
        "$schema": SCHEMA, "description": description, "width": "container", "height": 34 * max(rows, 1) + 30,
        "autosize": {"type": "fit", "contains": "padding"}, "data": {"values": values},
    }  # fmt: skip


def held_of_100(rows: Sequence[tuple[str, float, float, float]], *, promised: int) -> Spec:
    """Of 100 times, how often a band held: a bar for each kind, what the number lets one believe, and the promise.

    Parameters
    ----------
    rows : (kind, times of 100, lower bound, upper bound)
    promised : times of 100 that the band should hold
    """
    values = [{"kind": k, "held": round(h, 1), "low": round(a, 1), "high": round(b, 1)} for k, h, a, b in rows]
    x: Spec = {"type": "quantitative", "scale": {"domain": [0, 100]}, "title": word("times out of 100")}
    y: Spec = {"field": "kind", "type": "nominal", "title": None, "sort": None}
    tip = [
        {"field": "kind", "title": word("forecast")},
        {"field": "held", "title": word("inside, of 100")},
        {"field": "low", "title": word("at least")},
        {"field": "high", "title": word("at most")},
    ]
    spec = _chart(
        values,
        said("Of 100 times, how often the truth lay in the band that should hold {promised}", promised=promised),
        len(values),
    )
    return {
        **spec,
        "layer": [
            {"mark": {"type": "bar", "style": "band50", "height": 16, "opacity": 0.55, "tooltip": True},
             "encoding": {"x": {"field": "held", **x}, "y": y, "tooltip": tip}},
            {"mark": {"type": "rule", "style": "window", "strokeWidth": 3},
             "encoding": {"x": {"field": "low", **x}, "x2": {"field": "high"}, "y": y}},
            {"data": {"values": [{"promised": promised}]},
             "mark": {"type": "rule", "style": "fact", "strokeDash": [5, 4], "strokeWidth": 2},
             "encoding": {"x": {"field": "promised", **x}}},
        ],
    }  # fmt: skip


def misses_beside(rows: Sequence[tuple[str, str, float]], *, hundred: str) -> Spec:
    """How far off each forecaster is, kind by kind, where `hundred` is off by 100.

    Parameters
    ----------
    rows : (kind, forecaster, how far off)
    hundred : the forecaster that all are measured by
    """
    values = [{"kind": k, "who": who, "off": round(v, 1), "drawn": min(round(v, 1), WIDEST)} for k, who, v in rows]
    whos = list(dict.fromkeys(who for _, who, _ in rows))
    kinds = len({k for k, _, _ in rows})
    y: Spec = {"field": "kind", "type": "nominal", "title": None, "sort": None}
    offset: Spec = {"field": "who", "sort": whos}
    x: Spec = {
        "field": "drawn",
        "type": "quantitative",
        "title": word("how far off"),
        "axis": {"tickCount": 5},
        "scale": {"domain": [0, WIDEST]},
    }
    tip = [
        {"field": "kind", "title": word("forecast")},
        {"field": "who", "title": word("by")},
        {"field": "off", "title": word("off by")},
    ]
    return {
        **_chart(
            values,
            said("How far off each forecast is, where {hundred} is off by 100", hundred=hundred),
            kinds * len(whos) + 2,
        ),
        "encoding": {"y": y, "yOffset": offset},
        "layer": [
            {"mark": {"type": "bar", "tooltip": True},
             "encoding": {"x": x, "tooltip": tip,
                          "color": {**offset, "type": "nominal", "title": None, "legend": LEGEND}}},
            {"mark": {"type": "text", "align": "left", "dx": 4},
             "encoding": {"x": x, "text": {"field": "off", "type": "quantitative", "format": ",.0f"}}},
        ],
    }  # fmt: skip
