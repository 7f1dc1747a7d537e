"""The page of one bin, lot or clutch: what is there, what is believed, what comes next, and its story."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from chirr.book import ledger
from chirr.book.standing import BinNow, Clutch, Lot, Standing
from chirr.desk.ahead import band_chart
from chirr.desk.belief import Foresight, as_beliefs, foresight
from chirr.desk.browse import story_lines
from chirr.desk.racks import due_stops, tile
from chirr.desk.sentences import say_when
from chirr.desk.shapes import Beliefs, BinTile, Chart, ClutchBelief, Coming, LotBelief, StoryLine, ThingPage

STORY = 60
"""Newest entries shown of a thing's story."""

SHOULDER_LEVEL = 4
"""From this level up a bin is likely above shoulder height (judgement; measure your own racks)."""

LIFTING = "Above shoulder height: use a step with a rail, not a ladder, and two people for a heavy bin."
HARVESTING = "Frass dust can cause allergy and asthma: mask, extraction, no dry brushing."


def bin_page(name: str, *, limit: int = STORY) -> ThingPage:
    """A bin's page. Raises LookupError if the farm has no such bin."""
    s, f = ledger.live(), foresight()
    bin_ = s.bins.get(name)
    if bin_ is None:
        raise LookupError(f"There is no bin {name} on this farm.")
    seen, tz = as_beliefs(f), ZoneInfo(f.card.timezone)
    lots = [seen.lots[n] for n in bin_.lots if n in seen.lots]
    clutches = [seen.clutches[n] for n in (*bin_.trays, *bin_.hatching) if n in seen.clutches]
    facts = [
        ("duty", bin_.duty),
        ("stands", f"{bin_.room}, stack {bin_.stack}, level {bin_.level}"),
        ("surface", f"{bin_.floor_cm2 + bin_.hides_cm2:,.0f} cm² with hides"),
        *_cared_for(bin_, tz),
    ]
    cautions = [LIFTING] if bin_.level >= SHOULDER_LEVEL else []
    if any(b.harvest_ready is not None and b.harvest_ready.low <= f.as_of for b in lots):
        cautions.append(HARVESTING)
    lines, total = _story("bin = %s OR to_bin = %s", (name, name), limit, also=list(bin_.lots))
    return ThingPage(
        kind="bin",
        name=name,
        tile=_tile(s, bin_, seen, f.as_of),
        facts=tuple(facts),
        lots=tuple(lots),
        clutches=tuple(clutches),
        coming=_coming(lots, clutches, f.as_of),
        charts=tuple(c for b in lots for c in _lot_charts(f, b.lot)),
        story=lines,
        story_total=total,
        cautions=tuple(cautions),
    )


def lot_page(name: str, *, limit: int = STORY) -> ThingPage:
    """A lot's page. Raises LookupError if the book has no such lot."""
    s, f = ledger.live(), foresight()
    lot = s.lots.get(name)
    if lot is None:
        raise LookupError(f"There is no lot {name} in the book.")
    seen, tz = as_beliefs(f), ZoneInfo(f.card.timezone)
    belief = seen.lots.get(name)
    clutches = [seen.clutches[n] for n in lot.clutches if n in seen.clutches]
    lines, total = _story("lot = %s OR to_lot = %s", (name, name), limit, also=[])
    bin_ = s.bins.get(lot.bin or "")
    return ThingPage(
        kind="lot",
        name=name,
        tile=_tile(s, bin_, seen, f.as_of) if bin_ else None,
        facts=_lot_facts(lot, tz),
        lots=(belief,) if belief else (),
        clutches=tuple(clutches),
        coming=_coming([belief] if belief else [], clutches, f.as_of),
        charts=_lot_charts(f, name) if belief else (),
        story=lines,
        story_total=total,
    )


def clutch_page(name: str, *, limit: int = STORY) -> ThingPage:
    """A clutch's page. Raises LookupError if the book has no such clutch."""
    s, f = ledger.live(), foresight()
    clutch = s.clutches.get(name)
    if clutch is None:
        raise LookupError(f"There is no clutch {name} in the book.")
    seen, tz = as_beliefs(f), ZoneInfo(f.card.timezone)
    belief = seen.clutches.get(name)
    lines, total = _story("clutch = %s", (name,), limit, also=[])
    bin_ = s.bins.get(clutch.here.bin or "")
    return ThingPage(
        kind="clutch",
        name=name,
        tile=_tile(s, bin_, seen, f.as_of) if bin_ else None,
        facts=_clutch_facts(clutch, tz),
        lots=(),
        clutches=(belief,) if belief else (),
        coming=_coming([], [belief] if belief else [], f.as_of),
        charts=(),
        story=lines,
        story_total=total,
    )


def _tile(s: Standing, bin_: BinNow, seen: Beliefs, now: int) -> BinTile:
    return tile(s, bin_, seen, due_stops(seen).get(bin_.name), now)


def _story(where: str, values: tuple[str, ...], limit: int, *, also: list[str]) -> tuple[tuple[StoryLine, ...], int]:
    """The newest entries about a thing, and how many there are."""
    marks = ", ".join(["%s"] * len(also))
    condition = where + (f" OR lot IN ({marks})" if also else "")
    found = (*values, *also)
    ids = f"id IN (SELECT id FROM book_entryrow WHERE {condition} ORDER BY at DESC, id DESC LIMIT {limit:d})"  # noqa: S608
    newest = list(ledger.entries(ids, found, order="at DESC, id DESC"))
    return story_lines(newest), ledger.how_many(condition, found)


def _cared_for(bin_: BinNow, tz: ZoneInfo) -> list[tuple[str, str]]:
    return [
        (word, say_when(at, tz) if at is not None else "not yet")
        for word, at in (("fed", bin_.fed_at), ("watered", bin_.watered_at), ("cleaned", bin_.cleaned_at))
    ]


def _lot_facts(lot: Lot, tz: ZoneInfo) -> tuple[tuple[str, str], ...]:
    from_what = {
        "stock": "stocked",
        "clutches": "hatched from " + ", ".join(lot.clutches),
        "split": "split from " + ", ".join(lot.parents),
        "join": "joined from " + ", ".join(lot.parents),
    }
    facts = [("came", from_what.get(lot.origin, lot.origin))]
    facts.append(("since", say_when(lot.began_at, tz) if lot.began_at is not None else "still to hatch"))
    if lot.ended_at is not None:
        ended = {"harvest": "harvested", "retire": "retired", "join": "joined into another lot"}.get(
            lot.ended_by or "", "ended"
        )
        facts.append(
            (ended, say_when(lot.ended_at, tz) + (f", {lot.end_kg:,.3g} kg" if lot.end_kg is not None else ""))
        )
    elif lot.bin is not None:
        facts.append(("in bin", lot.bin))
    return tuple(facts)


def _clutch_facts(c: Clutch, tz: ZoneInfo) -> tuple[tuple[str, str], ...]:
    facts = [("laid", f"{say_when(c.laid_at, tz)}, by lot {c.lot} in bin {c.bin}"), ("tray", c.tray_type)]
    if c.substrate:
        facts.append(("substrate", c.substrate + (f", use {c.cycle}" if c.cycle else "")))
    for word, at in (("pulled", c.pulled_at), ("first pinheads", c.hatched_at), ("emptied", c.emptied_at)):
        if at is not None:
            facts.append((word, say_when(at, tz)))
    here = c.here
    facts.append(
        ("stands", f"bin {here.bin}" if here.bin else f"rack: {here.room}, stack {here.stack}, level {here.level}")
    )
    if c.to_lot:
        facts.append(("joins lot", c.to_lot))
    return tuple(facts)


def _coming(lots: list[LotBelief], clutches: list[ClutchBelief], now: int) -> tuple[Coming, ...]:
    """What is expected, soonest first."""
    found = [
        Coming(what=f"first pinheads of clutch {c.clutch}", when=c.first_pinheads, amount=c.pinheads, unit="pinheads")
        for c in clutches
        if c.half_hatched.mid > now
    ]
    found += [
        Coming(what=f"lot {b.lot} ready to harvest", when=b.harvest_ready, amount=b.kg_at_ready, unit="kg")
        for b in lots
        if b.harvest_ready is not None
    ]
    return tuple(sorted(found, key=lambda c: c.when.mid))


def _lot_charts(f: Foresight, name: str) -> tuple[Chart, ...]:
    """How many, how heavy and how many kilograms over the weeks ahead, with what was found so far."""
    a = next((x for x in f.ahead.lots if f.gathered.lots[x.lot] == name), None)
    if a is None:
        return ()
    tz = ZoneInfo(f.card.timezone)
    span = min(f.days, 60)
    days = [(datetime.fromtimestamp(f.as_of, tz) + timedelta(days=i)).date().isoformat() for i in range(span + 1)]
    since = f.as_of - 40 * 86400
    facts = [x for x in f.standing.lots[name].facts if x.at >= since and x.quantity is not None]

    def day(at: int) -> str:
        return datetime.fromtimestamp(at, tz).date().isoformat()

    counted = [(day(x.at), float(x.quantity or 0), "count") for x in facts if x.kind == "count"]
    weighed = [
        (day(x.at), 1000 * float(x.quantity or 0) / x.sample, f"{x.sample} weighed")
        for x in facts
        if x.kind == "weigh" and x.sample
    ]
    return (
        band_chart("alive", f"Lot {name}: alive", "crickets", days, a.alive[: span + 1].tolist(), facts=counted),
        band_chart("mass", f"Lot {name}: mean mass", "mg", days, a.mean_mg[: span + 1].tolist(), facts=weighed),
        band_chart("kg", f"Lot {name}: kilograms", "kg", days, a.kg[: span + 1].tolist()),
    )
