"""The weeks ahead, as the page and the command line show them, and what can be promised of them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from chirr.charts import specs
from chirr.desk import clock
from chirr.desk.belief import DAYS, DRAWS, Foresight, clutch_belief, foresee, foresight, is_behind, lot_belief
from chirr.desk.overdue import expected_by, missed, overdue
from chirr.desk.plainly import left_out_json
from chirr.desk.remarks import remarks
from chirr.desk.shapes import QUANTILES, AheadView, Band, Chart, Promise
from chirr.desk.spoken import chance_in_words, day_words, figure, say, term
from chirr.engine.colony.ahead import quantiles

SAFE = 0.9
"""'Safe to promise' means nine chances in ten."""


def ahead_json(at: int | None = None, *, days: int = DAYS, draws: int = DRAWS) -> dict[str, Any]:
    """Everything ahead in the documented form: stable keys, ISO times in the farm's zone, SI units.

    at: believe only entries up to this time [epoch s]; None for all of them.
    """
    f = foresee(at, days=days, draws=draws)
    tz = ZoneInfo(f.card.timezone)
    dates = [(datetime.fromtimestamp(f.as_of, tz) + timedelta(days=i)).date().isoformat() for i in range(days + 1)]
    return {
        "as_of": _iso(f.as_of, tz),
        "species": f.card.species,
        "draws": draws,
        "quantiles": list(QUANTILES),
        "clutches": [
            {
                "clutch": c.clutch,
                "bin": c.bin,
                "lot": c.lot,
                "eggs": _numbers(c.eggs.q),
                "first_pinheads": [_iso(t, tz) for t in c.first_pinheads.q],
                "half_hatched": [_iso(t, tz) for t in c.half_hatched.q],
                "pinheads": _numbers(c.pinheads.q),
                "overdue": missed(f.standing.clutches[c.clutch], c, f.as_of, tz) is not None,
                "expected_by": by.isoformat() if (by := expected_by(c, tz)) is not None else None,
            }
            for c in (clutch_belief(f, i) for i in range(len(f.ahead.clutches)))
        ],
        "lots": [_lot_json(f, i, curves, dates, tz) for i, curves in enumerate(_curves(f))],
        "stock": _stock_json(f, dates),
        "remarks": list(remarks(f)),
        "left_out": left_out_json(f),
    }


def _curves(f: Foresight) -> list[Any]:
    """Numbers alive, mean mass and kilograms of every lot, of each by day and quantile."""
    return _numbers([(a.alive, a.mean_mg, a.kg) for a in f.ahead.lots])


def _lot_json(f: Foresight, i: int, curves: list[Any], dates: list[str], tz: ZoneInfo) -> dict[str, Any]:
    seen, by_day = lot_belief(f, i), zip(dates, *curves, strict=True)
    bin_ = f.standing.bins.get(seen.bin or "")
    return {
        "lot": seen.lot,
        "bin": seen.bin,
        "duty": bin_.duty if bin_ else None,
        "alive": _numbers(seen.alive.q),
        "mean_mg": _numbers(seen.mean_mg.q),
        "size_class": seen.size_class,
        "harvest_ready": [_iso(t, tz) for t in seen.harvest_ready.q] if seen.harvest_ready else None,
        "kg_at_ready": _numbers(seen.kg_at_ready.q) if seen.kg_at_ready else None,
        "days": [{"date": d, "alive": alive, "mean_mg": mean_mg, "kg": kg} for d, alive, mean_mg, kg in by_day],
    }


def _stock_json(f: Foresight, dates: list[str]) -> list[dict[str, Any]]:
    crickets, kg = (_numbers(quantiles(draws)) for draws in (f.ahead.stock.crickets, f.ahead.stock.kg))
    return [
        {"date": d, "size_class": c.name, "crickets": crickets[k][i], "kg": kg[k][i]}
        for i, d in enumerate(dates)
        for k, c in enumerate(f.classes)
    ]


def _numbers(values: Any) -> list[Any]:
    """Five significant digits are more than any forecast has; shape kept."""
    v = np.asarray(values, dtype=np.float64)
    with np.errstate(divide="ignore"):
        places = 4 - np.nan_to_num(np.floor(np.log10(np.abs(v))), neginf=0.0, posinf=0.0)
    fine, coarse = 10.0 ** np.maximum(places, 0), 10.0 ** np.maximum(-places, 0)
    return list((np.rint(v * fine / coarse) / fine * coarse).tolist())


def _iso(at: float, tz: ZoneInfo) -> str | None:
    if not np.isfinite(at) or at > 4e9:
        return None
    return datetime.fromtimestamp(int(at), UTC).astimezone(tz).isoformat(timespec="minutes")


def ahead_view(days: int = DAYS) -> AheadView:
    """The Ahead page: stock by size class, hatches and harvests to come."""
    f = foresight()
    days = min(days, f.days)
    tz = ZoneInfo(f.card.timezone)
    seen = f.beliefs
    dates = [(datetime.fromtimestamp(f.as_of, tz) + timedelta(days=i)).date() for i in range(days + 1)]
    names = tuple(c.name for c in f.classes)
    charts = tuple(
        _stock_chart(f"{unit}-{k}", f"{name}, {term('unit', unit)}", term("unit", unit), dates, q[k])
        for unit, q in (
            ("crickets", quantiles(f.ahead.stock.crickets[:, : days + 1])),
            ("kg", quantiles(f.ahead.stock.kg[:, : days + 1])),
        )
        for k, name in enumerate(names)
    )
    here = [c for c in seen.clutches.values() if f.standing.clutches[c.clutch].hatched_at is None]
    ready = [b for b in seen.lots.values() if b.harvest_ready is not None]
    return AheadView(
        as_of=f.as_of,
        size_classes=names,
        charts=charts,
        remarks=remarks(f),
        hatches=tuple(sorted(here, key=lambda c: c.first_pinheads.mid)),
        overdue=overdue(f.standing, here, clock.now(), tz),
        behind=is_behind(f),
        harvests=tuple(sorted(ready, key=lambda b: (b.harvest_ready or b.alive).mid)),
    )


def _stock_chart(key: str, title: str, unit: str, dates: list[date], q: Any) -> Chart:
    iso = [d.isoformat() for d in dates]
    return band_chart(key, title, unit, iso, q.tolist())


def band_chart(
    key: str, title: str, unit: str, days: list[str], q: list[list[float]], *, facts: Any = (), log: bool = False
) -> Chart:
    """A figure with its bands over the days to come, and the same by the week as a table."""
    return Chart(
        key=key,
        title=title,
        spec=specs.band_over_days(days, q, title=title, unit=unit, facts=facts, log=log),
        columns=(say("day"), say("middle"), say("8 chances in 10 between"), say("and")),
        rows=tuple((days[i], *(figure(q[i][k], ",.4g") for k in (3, 1, 5))) for i in range(0, len(days), 7)),
        note=say("Line: the middle. Dark band: five chances in ten. Light band: eight chances in ten."),
    )


def promise(amount: float, unit: str, size_class: str, day: date, *, or_larger: bool = True) -> Promise:
    """The chance that so much of a size class (or larger) will be on the farm on a day.

    Raises
    ------
    ValueError
        In plain words, if the class is unknown, the unit is neither crickets nor kg, or the day is out of reach.
    """
    f = foresight()
    names = [c.name for c in f.classes]
    if size_class not in names:
        raise ValueError(
            say("There is no size class '{name}'; this farm has {names}.", name=size_class, names=", ".join(names))
        )
    if unit not in ("crickets", "kg"):
        raise ValueError(say("Ask in crickets or in kg, not in '{unit}'.", unit=unit))
    if not amount > 0:
        raise ValueError(say("Ask for more than nothing."))
    ahead = (day - clock.local(f.as_of).date()).days
    if not 0 <= ahead <= f.days:
        then = day_words(day, weekday_too=False, year=True)
        raise ValueError(
            say("The weeks ahead reach {days} days from today; {day} lies outside them.", days=f.days, day=then)
        )
    k = names.index(size_class)
    draws = (f.ahead.stock.crickets if unit == "crickets" else f.ahead.stock.kg)[k:, ahead]
    there = draws.sum(axis=0) if or_larger else draws[0]
    chance = float((there >= amount).mean())
    safe = float(np.quantile(there, 1 - SAFE))
    parts = {
        "amount": figure(amount, ",.10g"), "unit": term("unit", unit), "size": size_class, "day": day_words(day),
        "chance": chance_in_words(chance), "safe": figure(safe, ",.0f" if unit == "crickets" else ",.3g"),
    }  # fmt: skip
    larger = or_larger and k < len(names) - 1
    return Promise(
        amount=amount,
        unit=unit,
        size_class=size_class,
        day=day.isoformat(),
        chance=chance,
        there=Band(q=tuple(quantiles(there).tolist())),
        says=say(
            "{amount} {unit} of {size} or larger on {day}: {chance}. With nine chances in ten: {safe} {unit}.", **parts
        )
        if larger
        else say("{amount} {unit} of {size} on {day}: {chance}. With nine chances in ten: {safe} {unit}.", **parts),
        safe_amount=safe,
    )
