"""Results as Vega-Lite specifications: plain dictionaries, the data inside, tested as such.

No colour is named: marks carry the styles `band80`, `band50`, `middle`, `fact` and `window`, which the page's theme
paints, so one specification serves light, dark and paper. Bands are the 80 % and 50 % of the draws around the middle.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from chirr.says import said, word

Spec = dict[str, Any]

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"


def _base(values: list[dict[str, Any]], description: str, *, height: int = 220) -> Spec:
    return {
        "$schema": SCHEMA,
        "description": description,
        "width": "container",
        "height": height,
        "autosize": {"type": "fit", "contains": "padding"},
        "data": {"values": values},
    }


def band_over_days(
    days: Sequence[str],
    quantiles: Sequence[Sequence[float]],
    *,
    title: str,
    unit: str,
    facts: Sequence[tuple[str, float, str]] = (),
    log: bool = False,
) -> Spec:
    """A figure over the days to come: middle line, 50 % and 80 % bands, and facts of the past as points.

    Parameters
    ----------
    days : ISO dates
    quantiles : for each day, values at 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95
    title, unit : what is drawn
    facts : (ISO date, value, what it is)
    log : whether the scale is logarithmic
    """
    floor = 1e-3 if log else 0.0
    values = [
        {
            "day": d,
            "low80": max(q[1], floor),
            "low50": max(q[2], floor),
            "mid": max(q[3], floor),
            "high50": max(q[4], floor),
            "high80": max(q[5], floor),
        }
        for d, q in zip(days, quantiles, strict=True)
    ]
    scale: Spec = {"type": "log"} if log else {"zero": True}
    x = {"field": "day", "type": "temporal", "title": None, "axis": {"format": "%-d %b", "tickCount": 6}}

    def y(field: str) -> Spec:
        return {"field": field, "type": "quantitative", "title": unit, "scale": scale}

    tip = [
        {"field": "day", "type": "temporal", "title": word("day"), "format": "%-d %b %Y"},
        {"field": "low80", "type": "quantitative", "title": word("9 in 10 above"), "format": ",.3~r"},
        {"field": "mid", "type": "quantitative", "title": word("middle"), "format": ",.3~r"},
        {"field": "high80", "type": "quantitative", "title": word("9 in 10 below"), "format": ",.3~r"},
    ]
    layers: list[Spec] = [
        {
            "mark": {"type": "area", "style": "band80", "opacity": 0.22},
            "encoding": {"x": x, "y": y("low80"), "y2": {"field": "high80"}},
        },
        {
            "mark": {"type": "area", "style": "band50", "opacity": 0.32},
            "encoding": {"x": x, "y": y("low50"), "y2": {"field": "high50"}},
        },
        {"mark": {"type": "line", "style": "middle", "strokeWidth": 2.5}, "encoding": {"x": x, "y": y("mid")}},
        {
            "params": [
                {
                    "name": "near",
                    "select": {
                        "type": "point",
                        "nearest": True,
                        "on": "pointerover",
                        "clear": "pointerout",
                        "fields": ["day"],
                    },
                }
            ],
            "mark": {"type": "point", "filled": True, "size": 70, "tooltip": True},
            "encoding": {
                "x": x,
                "y": y("mid"),
                "tooltip": tip,
                "opacity": {"condition": {"param": "near", "value": 1, "empty": False}, "value": 0},
            },
        },
    ]
    if facts:
        layers.append(
            {
                "data": {"values": [{"day": d, "value": v, "what": what} for d, v, what in facts]},
                "mark": {
                    "type": "point",
                    "style": "fact",
                    "shape": "diamond",
                    "filled": True,
                    "size": 80,
                    "tooltip": True,
                },
                "encoding": {
                    "x": x,
                    "y": y("value"),
                    "tooltip": [
                        {"field": "day", "type": "temporal", "title": word("day"), "format": "%-d %b %Y"},
                        {"field": "value", "type": "quantitative", "title": word("found"), "format": ",.3~r"},
                        {"field": "what", "type": "nominal", "title": word("by")},
                    ],
                },
            }
        )
    spec = _base(values, said("{title}: middle and bands over the days to come", title=title))
    return {**spec, "layer": layers}


def windows(rows: Sequence[tuple[str, str, str, str]], *, title: str) -> Spec:
    """Time windows as bars with their middle: rows of (name, from, middle, to) with ISO times."""
    values = [{"name": n, "low": a, "mid": m, "high": b} for n, a, m, b in rows]
    spec = _base(values, title, height=max(26 * len(values), 60))
    x = {"type": "temporal", "title": None, "axis": {"format": "%-d %b", "tickCount": 6}}
    y = {"field": "name", "type": "nominal", "title": None, "sort": None}
    return {
        **spec,
        "layer": [
            {
                "mark": {"type": "bar", "style": "window", "height": 12, "cornerRadius": 6, "opacity": 0.45},
                "encoding": {"x": {"field": "low", **x}, "x2": {"field": "high"}, "y": y},
            },
            {
                "mark": {"type": "tick", "style": "middle", "thickness": 3, "height": 18},
                "encoding": {"x": {"field": "mid", **x}, "y": y},
            },
        ],
    }
