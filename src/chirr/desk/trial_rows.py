"""From the book to outcomes by way: what each clutch or lot gave or took, in which bin, on which day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chirr.book import ledger
from chirr.book.replay import voided
from chirr.book.standing import Clutch, Lot, Standing
from chirr.desk import clock
from chirr.desk.air import Air
from chirr.desk.gather import COUNT_CV
from chirr.desk.trial_lots import for_each_clutch, kilograms
from chirr.desk.trial_words import BY, OUTCOMES, WAY
from chirr.engine.errors import EngineError
from chirr.engine.trials.rows import Spread, Units, spread_of
from chirr.says import word

ENOUGH_CLUTCHES, ENOUGH_BINS = 20, 3
"""Counted clutches and their bins before the farm's own spread is believed (judgement)."""


@dataclass(slots=True)
class _Row:
    value: float
    way: str
    bin: str
    at: int
    cv: float
    days_in: float
    cycle: float
    breeders_days: float
    temp_c: float = float("nan")


def gathered(
    s: Standing,
    by: str,
    outcome: str,
    *,
    since: int = 0,
    until: int = 2**62,
    bins: set[str] | None = None,
    adjust: bool = True,
) -> Units:
    """Outcomes by way in the order of time, with what can be adjusted for when `adjust`."""
    marks = _marks() if by == "mark" else {}
    air = Air(since, min(until, s.at)) if adjust else None
    if OUTCOMES[outcome].of == "lots":
        rows = _lots(s, by, marks, outcome, air)
    else:
        value = _minutes(s) if outcome == "minutes" else _counted(s, outcome)
        rows = [
            _Row(
                value[c.name][0], way, c.bin, c.laid_at, value[c.name][1], _days_in(c), float(c.cycle or np.nan),
                _age(s, c), _air_c(air, c),
            )
            for c in s.clutches.values()
            if c.name in value and (way := marks.get(c.name) if by == "mark" else BY[by](c)) is not None
        ]  # fmt: skip
    rows = sorted(
        (r for r in rows if since <= r.at < until and (bins is None or r.bin in bins)), key=lambda r: (r.at, r.bin)
    )
    zone = clock.zone()
    more = {
        word("days in the bin"): [r.days_in for r in rows], word("cycle"): [r.cycle for r in rows],
        word("age of the breeders"): [r.breeders_days for r in rows], word("temperature"): [r.temp_c for r in rows],
    } if adjust else {}  # fmt: skip
    return Units(
        value=np.array([r.value for r in rows], dtype=np.float64), way=np.array([r.way for r in rows], dtype=np.str_),
        bin=np.array([r.bin for r in rows], dtype=np.str_), cv=np.array([r.cv for r in rows], dtype=np.float64),
        date=np.array([clock.local(r.at, zone).date().isoformat() for r in rows], dtype=np.str_),
        covariates={k: np.array(v, dtype=np.float64) for k, v in more.items()},
    )  # fmt: skip


def _counted(s: Standing, unit: str) -> dict[str, tuple[float, float]]:
    """clutch -> (mean of its counts, their relative error)."""
    out = {}
    for c in s.clutches.values():
        counts = [f for f in c.facts if f.kind == "count" and f.unit == unit and f.quantity is not None]
        if counts:
            cv = [f.cv if f.cv is not None else COUNT_CV.get(unit, 0.3) for f in counts]
            out[c.name] = (
                float(np.mean([f.quantity for f in counts if f.quantity is not None])),
                float(np.sqrt(np.mean(np.square(cv)) / len(cv))),
            )
    return out


def _minutes(s: Standing) -> dict[str, tuple[float, float]]:
    """clutch -> minutes of laying and pulling its tray, where both were timed."""
    void = voided(ledger.entries("replaces IS NOT NULL"))
    spent: dict[str, dict[str, float]] = {}
    for e in ledger.entries("minutes IS NOT NULL AND clutch IS NOT NULL AND deed IN ('lay', 'pull')"):
        if e.id not in void and e.clutch in s.clutches and e.minutes and e.minutes > 0:
            spent.setdefault(e.clutch, {})[e.deed] = e.minutes
    return {c: (sum(deeds.values()), 0.0) for c, deeds in spent.items() if len(deeds) == 2}


def _lots(s: Standing, by: str, marks: dict[str, str], outcome: str, air: Air | None) -> list[_Row]:
    """What lots gave, by the mark of the lot, or the common way of its clutches."""
    gave = kilograms(s) if outcome == "kg" else for_each_clutch(s, crickets=outcome == "survivors")
    rows = []
    for g in gave:
        lot = g.lot
        if lot.ended_at is None or not lot.stays or not g.value > 0:
            continue
        if by == "mark":
            way = marks.get(lot.name)
        else:
            ways = {BY[by](s.clutches[c]) for c in lot.clutches if c in s.clutches}
            way = ways.pop() if len(ways) == 1 else None
        if way is not None:
            began = lot.began_at or lot.named_at
            temp_c = air.along_c(lot.stays, began, lot.ended_at) if air else np.nan
            bin_, at = _begun(s, lot)
            rows.append(_Row(g.value, way, bin_, at, g.cv, np.nan, np.nan, np.nan, temp_c))
    return rows


def _begun(s: Standing, lot: Lot) -> tuple[str, int]:
    """The breeding bin that all clutches of a lot came from, else its own last bin; and when the first was laid."""
    fed_by = [s.clutches[c] for c in lot.clutches if c in s.clutches]
    bins = {c.bin for c in fed_by}
    return (
        bins.pop() if len(bins) == 1 else lot.stays[-1].bin or "",
        min((c.laid_at for c in fed_by), default=lot.named_at),
    )


def _marks() -> dict[str, str]:
    """clutch or lot -> the way that its latest note 'way NAME', or the note of its laying, gives it."""
    void = voided(ledger.entries("replaces IS NOT NULL"))
    out: dict[str, str] = {}
    for e in ledger.entries("deed IN ('note', 'lay') AND note LIKE 'way %%'"):
        thing = e.clutch or e.lot
        if e.id not in void and thing and e.note:
            out[thing] = e.note.removeprefix(WAY).strip()
    return out


def _days_in(c: Clutch) -> float:
    return float("nan") if c.pulled_at is None else (c.pulled_at - c.laid_at) / 86400


def _air_c(air: Air | None, c: Clutch) -> float:
    """Mean temperature where the tray was laid in, while it was laid in [degC]."""
    if air is None or not c.stays:
        return float("nan")
    here = c.stays[0]
    return air.mean_c(here.room, here.level, c.laid_at, c.pulled_at or c.laid_at + 3 * 86400)


def _age(s: Standing, c: Clutch) -> float:
    """Days that the breeders had been in the book, with their age when stocked as adults."""
    lot = s.lots.get(c.lot)
    if lot is None or lot.began_at is None:
        return float("nan")
    return (c.laid_at - lot.began_at) / 86400 + ((lot.age_days or 0.0) if lot.stage == "adult" else 0.0)


def own_spread(s: Standing, outcome: str) -> tuple[Spread, int] | None:
    """The farm's own spread of an outcome and the clutches it rests on; None while there are too few."""
    units = gathered(s, "tray_type", outcome, adjust=False)
    keep = np.flatnonzero(units.value > 0)[-400:]
    if len(keep) < ENOUGH_CLUTCHES or len(set(units.bin[keep].tolist())) < ENOUGH_BINS:
        return None
    try:
        return spread_of(units.value[keep], units.bin[keep], units.way[keep]), len(keep)
    except EngineError:
        return None
