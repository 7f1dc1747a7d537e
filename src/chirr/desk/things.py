"""The page of one bin, lot or clutch: what is there, what is believed, what comes next, and its story."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from chirr.book import ledger
from chirr.book.standing import BinNow, Clutch, Lot, Standing
from chirr.desk import clock
from chirr.desk.ahead import band_chart
from chirr.desk.belief import Foresight, beliefs, foresight
from chirr.desk.browse import story_lines
from chirr.desk.overdue import overdue
from chirr.desk.racks import due_stops, tile
from chirr.desk.sentences import say_when
from chirr.desk.shapes import Beliefs, BinTile, Chart, ClutchBelief, Coming, LotBelief, StoryLine, ThingPage
from chirr.desk.spoken import figure, say, term
from chirr.says import word

STORY = 60
"""Newest entries shown of a thing's story."""

SHOULDER_LEVEL = 4
"""From this level up a bin is likely above shoulder height (judgement; measure your own racks)."""

LIFTING = word("Above shoulder height: use a step with a rail, not a ladder, and two people for a heavy bin.")
HARVESTING = word("Frass dust can cause allergy and asthma: mask, extraction, no dry brushing.")


def bin_page(name: str, *, limit: int = STORY) -> ThingPage:
    """A bin's page. Raises LookupError if the farm has no such bin."""
    s, f = ledger.live(), foresight()
    bin_ = s.bins.get(name)
    if bin_ is None:
        raise LookupError(say("There is no bin {name} on this farm.", name=name))
    seen, tz = beliefs(), ZoneInfo(f.card.timezone)
    lots = [seen.lots[n] for n in bin_.lots if n in seen.lots]
    clutches = [seen.clutches[n] for n in (*bin_.trays, *bin_.hatching) if n in seen.clutches]
    late = overdue(s, clutches, clock.now(), tz)
    facts = [
        (say("duty"), term("duty", bin_.duty)),
        (
            say("stands"),
            say("{room}, stack {stack}, level {level}", room=bin_.room, stack=str(bin_.stack), level=str(bin_.level)),
        ),
        (say("surface"), say("{area:,.0f} cm² with hides", area=bin_.floor_cm2 + bin_.hides_cm2)),
        *_cared_for(bin_, tz),
    ]
    cautions = [say(LIFTING)] if bin_.level >= SHOULDER_LEVEL else []
    if any(b.harvest_ready is not None and b.harvest_ready.low <= f.as_of for b in lots):
        cautions.append(say(HARVESTING))
    lines, total = _story("bin = %s OR to_bin = %s", (name, name), limit, also=list(bin_.lots))
    return ThingPage(
        kind="bin",
        name=name,
        tile=_tile(s, bin_, seen, f.as_of, tz),
        facts=tuple(facts),
        lots=tuple(lots),
        clutches=tuple(clutches),
        coming=_coming(lots, [c for c in clutches if c.clutch not in late], f.as_of),
        charts=tuple(c for b in lots for c in _lot_charts(f, b.lot)),
        story=lines,
        story_total=total,
        behind=seen.behind,
        overdue=late,
        cautions=tuple(cautions),
    )


def lot_page(name: str, *, limit: int = STORY) -> ThingPage:
    """A lot's page. Raises LookupError if the book has no such lot."""
    s, f = ledger.live(), foresight()
    lot = s.lots.get(name)
    if lot is None:
        raise LookupError(say("There is no lot {name} in the book.", name=name))
    seen, tz = beliefs(), ZoneInfo(f.card.timezone)
    belief = seen.lots.get(name)
    clutches = [seen.clutches[n] for n in lot.clutches if n in seen.clutches]
    late = overdue(s, clutches, clock.now(), tz)
    lines, total = _story("lot = %s OR to_lot = %s", (name, name), limit, also=[])
    bin_ = s.bins.get(lot.bin or "")
    return ThingPage(
        kind="lot",
        name=name,
        tile=_tile(s, bin_, seen, f.as_of, tz) if bin_ else None,
        facts=_lot_facts(lot, tz),
        lots=(belief,) if belief else (),
        clutches=tuple(clutches),
        coming=_coming([belief] if belief else [], [c for c in clutches if c.clutch not in late], f.as_of),
        charts=_lot_charts(f, name) if belief else (),
        story=lines,
        story_total=total,
        behind=seen.behind,
        overdue=late,
    )


def clutch_page(name: str, *, limit: int = STORY) -> ThingPage:
    """A clutch's page. Raises LookupError if the book has no such clutch."""
    s, f = ledger.live(), foresight()
    clutch = s.clutches.get(name)
    if clutch is None:
        raise LookupError(say("There is no clutch {name} in the book.", name=name))
    seen, tz = beliefs(), ZoneInfo(f.card.timezone)
    belief = seen.clutches.get(name)
    late = overdue(s, [belief] if belief else [], clock.now(), tz)
    lines, total = _story("clutch = %s", (name,), limit, also=[])
    bin_ = s.bins.get(clutch.here.bin or "")
    return ThingPage(
        kind="clutch",
        name=name,
        tile=_tile(s, bin_, seen, f.as_of, tz) if bin_ else None,
        facts=_clutch_facts(clutch, tz),
        lots=(),
        clutches=(belief,) if belief else (),
        coming=_coming([], [belief] if belief and not late else [], f.as_of),
        charts=(),
        story=lines,
        story_total=total,
        behind=seen.behind,
        overdue=late,
    )


def _tile(s: Standing, bin_: BinNow, seen: Beliefs, now: int, tz: ZoneInfo) -> BinTile:
    late = overdue(s, seen.clutches.values(), now, tz)
    return tile(s, bin_, seen, due_stops(seen).get(bin_.name), late, now)


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
        (words, say_when(at, tz) if at is not None else say("not yet"))
        for words, at in (
            (say("fed"), bin_.fed_at),
            (say("watered"), bin_.watered_at),
            (say("cleaned"), bin_.cleaned_at),
        )
    ]


def _lot_facts(lot: Lot, tz: ZoneInfo) -> tuple[tuple[str, str], ...]:
    from_what = {
        "stock": say("stocked"),
        "clutches": say("hatched from {names}", names=", ".join(lot.clutches)),
        "split": say("split from {names}", names=", ".join(lot.parents)),
        "join": say("joined from {names}", names=", ".join(lot.parents)),
    }
    facts = [(say("came"), from_what.get(lot.origin, lot.origin))]
    facts.append((say("since"), say_when(lot.began_at, tz) if lot.began_at is not None else say("still to hatch")))
    if lot.ended_at is not None:
        ended = {
            "harvest": say("harvested"), "retire": say("retired"), "join": say("joined into another lot"),
        }.get(lot.ended_by or "", say("ended"))  # fmt: skip
        facts.append(
            (
                ended,
                say_when(lot.ended_at, tz) + (f", {figure(lot.end_kg, ',.3g')} kg" if lot.end_kg is not None else ""),
            )
        )
    elif lot.bin is not None:
        facts.append((say("in bin"), lot.bin))
    return tuple(facts)


def _clutch_facts(c: Clutch, tz: ZoneInfo) -> tuple[tuple[str, str], ...]:
    laid = say("{when}, by lot {lot} in bin {bin}", when=say_when(c.laid_at, tz), lot=c.lot, bin=c.bin)
    facts = [(say("laid"), laid), (say("tray"), c.tray_type)]
    if c.substrate:
        used = say("{substrate}, use {cycle}", substrate=c.substrate, cycle=c.cycle) if c.cycle else c.substrate
        facts.append((say("substrate"), used))
    for words, at in (
        (say("pulled"), c.pulled_at),
        (say("first pinheads"), c.hatched_at),
        (say("emptied"), c.emptied_at),
    ):
        if at is not None:
            facts.append((words, say_when(at, tz)))
    here = c.here
    facts.append(
        (
            say("stands"),
            say("bin {name}", name=here.bin)
            if here.bin
            else say("rack: {room}, stack {stack}, level {level}", room=here.room, stack=here.stack, level=here.level),
        )
    )
    if c.to_lot:
        facts.append((say("joins lot"), c.to_lot))
    return tuple(facts)


def _coming(lots: list[LotBelief], clutches: list[ClutchBelief], now: int) -> tuple[Coming, ...]:
    """What is expected, soonest first."""
    found = [
        Coming(
            what=say("first pinheads of clutch {clutch}", clutch=c.clutch),
            when=c.first_pinheads,
            amount=c.pinheads,
            unit="pinheads",
        )
        for c in clutches
        if c.half_hatched.mid > now
    ]
    found += [
        Coming(what=say("lot {lot} ready to harvest", lot=b.lot), when=b.harvest_ready, amount=b.kg_at_ready, unit="kg")
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

    counted = [(day(x.at), float(x.quantity or 0), say("count")) for x in facts if x.kind == "count"]
    weighed = [
        (day(x.at), 1000 * float(x.quantity or 0) / x.sample, say("{sample} weighed", sample=x.sample))
        for x in facts
        if x.kind == "weigh" and x.sample
    ]
    return (
        band_chart(
            "alive", say("Lot {name}: alive", name=name), "crickets", days, a.alive[: span + 1].tolist(), facts=counted
        ),
        band_chart(
            "mass", say("Lot {name}: mean mass", name=name), "mg", days, a.mean_mg[: span + 1].tolist(), facts=weighed
        ),
        band_chart("kg", say("Lot {name}: kilograms", name=name), "kg", days, a.kg[: span + 1].tolist()),
    )
