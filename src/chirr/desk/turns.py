"""What falls due in the coming weeks, as turns for a calendar: hatches, harvests, swaps, feeding, moves. No money.

In the language of the reader, but for the keys, which tell the same turn from one reading to the next.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator
from datetime import date, timedelta
from urllib.parse import quote

from chirr.book import ledger
from chirr.desk import belief, clock
from chirr.desk.calendar_file import Turn
from chirr.desk.overdue import overdue
from chirr.desk.round import round_sheet
from chirr.desk.shapes import Band, Beliefs, ClutchBelief, LotBelief, RoundStop
from chirr.desk.spoken import again, day_words, say, say_n
from chirr.says import word

TURN_DAYS = 28
"""Turns that come round are told for four weeks; further on they only repeat."""
FEW = 3
"""Names that are told; of more, how many."""
FAR_DAYS = 90
"""What is believed is told as far as the weeks ahead reach."""
IF_KEPT = word("If every turn until then is kept.")
ROUNDS = (
    ("swap", ("pull", "lay"), word("Swap trays")),
    ("feed", ("feed", "water"), word("Feed and water")),
    ("move", ("move",), word("Move trays to hatch")),
)
"""What comes round again: the key of its turns, the deeds that are part of it, and its name."""


def turns() -> list[Turn]:
    """Everything from today on, by day."""
    beliefs = belief.beliefs()
    today = clock.today()
    found = [*_hatches(beliefs, today), *_harvests(beliefs, today), *_rounds(beliefs, today)]
    return sorted(found, key=lambda turn: (turn.day, turn.key))


def _hatches(beliefs: Beliefs, today: date) -> Iterator[Turn]:
    """One turn for all trays that are likeliest to hatch on the same day; a late one is looked at today."""
    by_day: dict[date, list[ClutchBelief]] = defaultdict(list)
    s = ledger.live()
    late = overdue(s, beliefs.clutches.values(), clock.now())
    for clutch in beliefs.clutches.values():
        day = _day(clutch.first_pinheads)
        if s.clutches[clutch.clutch].hatched_at is None and day is not None and day <= today + timedelta(days=FAR_DAYS):
            by_day[today if clutch.clutch in late else max(day, today)].append(clutch)
    for day, clutches in by_day.items():
        clutches.sort(key=lambda c: (c.bin or "", c.clutch))
        yield Turn(
            key=f"hatch {day}", kind=say("Hatch"), day=day, path="/trays",
            says=say("Hatch: {trays}", trays=_trays([c.clutch for c in clutches])),
            more=tuple(_hatch_line(c, late.get(c.clutch)) for c in clutches),
        )  # fmt: skip


def _hatch_line(c: ClutchBelief, late: str | None) -> str:
    if late is not None:
        return (
            say("{clutch} in {bin}: {late}.", clutch=c.clutch, bin=c.bin, late=late)
            if c.bin
            else say("{clutch}: {late}.", clutch=c.clutch, late=late)
        )
    told = {"clutch": c.clutch, "when": _when(c.first_pinheads), "number": _count(c.pinheads)}
    if c.bin:
        return say("{clutch} in {bin}: first pinheads {when}; {number} pinheads.", bin=c.bin, **told)
    return say("{clutch}: first pinheads {when}; {number} pinheads.", **told)


def _harvests(beliefs: Beliefs, today: date) -> Iterator[Turn]:
    for lot in beliefs.lots.values():
        day = _day(lot.harvest_ready)
        if day is not None and day <= today + timedelta(days=FAR_DAYS):
            yield _harvest(lot, max(day, today))


def _harvest(lot: LotBelief, day: date) -> Turn:
    more = [say("Ready {when}.", when=_when(lot.harvest_ready))]
    if lot.kg_at_ready is not None:
        kg = lot.kg_at_ready
        more.append(
            say(
                "Then about {mid:.3g} kg, eight chances in ten between {low:.3g} and {high:.3g} kg.",
                mid=kg.mid, low=kg.low, high=kg.high,
            )
        )  # fmt: skip
    named = (
        say("Harvest lot {lot} in {bin}", lot=lot.lot, bin=lot.bin)
        if lot.bin
        else say("Harvest lot {lot}", lot=lot.lot)
    )
    return Turn(
        key=f"harvest {lot.lot}", kind=say("Harvest"), day=day, says=named, more=tuple(more),
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
                    bins[item.deed].append(item.bin or _rack(stop))
        for key, deeds, name in ROUNDS:
            here = list(dict.fromkeys(bin_ for deed in deeds for bin_ in bins[deed]))
            if here:
                what = again(name)
                yield Turn(
                    key=f"{key} {day}", kind=what, day=day, says=f"{what}: {_places(here)}",
                    path=f"/round?day={day}", more=(", ".join(here) + ".", *((again(IF_KEPT),) if n else ())),
                )  # fmt: skip


def _rack(stop: RoundStop) -> str:
    return say("rack {room} {stack}/{level}", room=stop.room, stack=stop.stack, level=stop.level)


def _trays(names: list[str]) -> str:
    return ", ".join(names) if len(names) <= FEW else say_n("{n} tray", "{n} trays", len(names))


def _places(names: list[str]) -> str:
    return ", ".join(names) if len(names) <= FEW else say_n("{n} place", "{n} places", len(names))


def _day(band: Band | None) -> date | None:
    """The likeliest day; None where there is none."""
    if band is None or not math.isfinite(band.mid) or band.mid > 4e9:
        return None
    return clock.local(band.mid).date()


def _when(band: Band | None) -> str:
    if band is None:
        return say("at a time not known")
    low, mid, high = (_words(at) for at in (band.low, band.mid, band.high))
    if low == high:
        return say("about {mid}", mid=mid)
    return say("about {mid}, eight chances in ten between {low} and {high}", mid=mid, low=low, high=high)


def _words(at: float) -> str:
    if not math.isfinite(at) or at > 4e9:
        return say("no day at all")
    return day_words(clock.local(at).date())


def _count(band: Band) -> str:
    low, mid, high = (float(f"{v:.2g}") for v in (band.low, band.mid, band.high))
    return say("about {mid:,.0f} ({low:,.0f} to {high:,.0f})", mid=mid, low=low, high=high)
