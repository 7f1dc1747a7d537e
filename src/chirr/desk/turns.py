"""What falls due in the coming weeks, as turns for a calendar: hatches, harvests, swaps, feeding, moves. No money."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator
from datetime import date, timedelta
from urllib.parse import quote

from chirr.book import ledger
from chirr.desk import belief, clock
from chirr.desk.calendar_file import Turn
from chirr.desk.round import round_sheet
from chirr.desk.shapes import Band, Beliefs, ClutchBelief, LotBelief

TURN_DAYS = 28
"""Turns that come round are told for four weeks; further on they only repeat."""
FAR_DAYS = 90
"""What is believed is told as far as the weeks ahead reach."""
IF_KEPT = "If every turn until then is kept."


def turns() -> list[Turn]:
    """Everything from today on, by day."""
    beliefs = belief.beliefs()
    today = clock.today()
    found = [*_hatches(beliefs, today), *_harvests(beliefs, today), *_rounds(beliefs, today)]
    return sorted(found, key=lambda turn: (turn.day, turn.key))


def _hatches(beliefs: Beliefs, today: date) -> Iterator[Turn]:
    """One turn for all trays that are likeliest to hatch on the same day; a late one is looked at today."""
    by_day: dict[date, list[ClutchBelief]] = defaultdict(list)
    known = ledger.live().clutches
    for clutch in beliefs.clutches.values():
        day = _day(clutch.first_pinheads)
        if known[clutch.clutch].hatched_at is None and day is not None and day <= today + timedelta(days=FAR_DAYS):
            by_day[max(day, today)].append(clutch)
    for day, clutches in by_day.items():
        clutches.sort(key=lambda c: (c.bin or "", c.clutch))
        yield Turn(
            key=f"hatch {day}", kind="Hatch", day=day, path="/trays",
            says=f"Hatch: {_some([c.clutch for c in clutches], 'tray')}",
            more=tuple(_hatch_line(c) for c in clutches),
        )  # fmt: skip


def _hatch_line(c: ClutchBelief) -> str:
    where = f" in {c.bin}" if c.bin else ""
    return f"{c.clutch}{where}: first pinheads {_when(c.first_pinheads)}; {_count(c.pinheads)} pinheads."


def _harvests(beliefs: Beliefs, today: date) -> Iterator[Turn]:
    for lot in beliefs.lots.values():
        day = _day(lot.harvest_ready)
        if day is not None and day <= today + timedelta(days=FAR_DAYS):
            yield _harvest(lot, max(day, today))


def _harvest(lot: LotBelief, day: date) -> Turn:
    where = f" in {lot.bin}" if lot.bin else ""
    more = [f"Ready {_when(lot.harvest_ready)}."]
    if lot.kg_at_ready is not None:
        kg = lot.kg_at_ready
        more.append(f"Then about {kg.mid:.3g} kg, eight chances in ten between {kg.low:.3g} and {kg.high:.3g} kg.")
    return Turn(
        key=f"harvest {lot.lot}", kind="Harvest", day=day, says=f"Harvest lot {lot.lot}{where}", more=tuple(more),
        path=f"/lots/{quote(lot.lot)}",
    )  # fmt: skip


def _rounds(beliefs: Beliefs, today: date) -> Iterator[Turn]:
    """What comes round again, from the rounds of the days to come."""
    for n in range(TURN_DAYS):
        day = today + timedelta(days=n)
        bins: dict[str, list[str]] = defaultdict(list)
        for stop in round_sheet(day, beliefs=beliefs).stops:
            for item in stop.items:
                if item.urgency not in ("soon", "optional"):
                    bins[item.deed].append(item.bin or f"rack {stop.room}/{stop.stack}/{stop.level}")
        for key, deeds, says, one in (
            ("swap", ("pull", "lay"), "Swap trays", "bin"),
            ("feed", ("feed", "water"), "Feed and water", "bin"),
            ("move", ("move",), "Move trays to hatch", "place"),
        ):
            here = list(dict.fromkeys(bin_ for deed in deeds for bin_ in bins[deed]))
            if here:
                yield Turn(
                    key=f"{key} {day}", kind=says, day=day, says=f"{says}: {_some(here, one)}",
                    path=f"/round?day={day}", more=(", ".join(here) + ".", *((IF_KEPT,) if n else ())),
                )  # fmt: skip


def _some(names: list[str], one: str) -> str:
    return ", ".join(names) if len(names) <= 3 else f"{len(names)} {one}s"


def _day(band: Band | None) -> date | None:
    """The likeliest day; None where there is none."""
    if band is None or not math.isfinite(band.mid) or band.mid > 4e9:
        return None
    return clock.local(band.mid).date()


def _when(band: Band | None) -> str:
    if band is None:
        return "at a time not known"
    low, mid, high = (_words(at) for at in (band.low, band.mid, band.high))
    return f"about {mid}" if low == high else f"about {mid}, eight chances in ten between {low} and {high}"


def _words(at: float) -> str:
    if not math.isfinite(at) or at > 4e9:
        return "no day at all"
    day = clock.local(at)
    return f"{day:%a} {day.day} {day:%b}"


def _count(band: Band) -> str:
    low, mid, high = (f"{float(f'{v:.2g}'):,.0f}" for v in (band.low, band.mid, band.high))
    return f"about {mid} ({low} to {high})"
