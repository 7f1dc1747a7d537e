"""Every clutch from laid to emptied, and the substrate batches with their cycles of use."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from chirr.book import ledger, shelf
from chirr.book.standing import Clutch, Standing, Substrate
from chirr.desk import clock
from chirr.desk.belief import beliefs as believed
from chirr.desk.overdue import missed, overdue_words
from chirr.desk.shapes import ClutchBelief, ClutchRow, SubstrateRow, TraysView
from chirr.desk.spoken import say, say_n

RECENT_DAYS = 30
"""Emptied clutches are shown for so long."""


def trays(*, finished: bool = False) -> TraysView:
    """The Trays page; with `finished` the clutches emptied in the last `RECENT_DAYS` days too."""
    s, seen, now, tz = ledger.live(), believed(), clock.now(), clock.zone()
    chosen = s.open_clutches()
    if finished:
        since = now - RECENT_DAYS * 86400
        chosen += sorted(
            (c for c in s.clutches.values() if c.emptied_at is not None and c.emptied_at >= since),
            key=lambda c: -(c.emptied_at or 0),
        )
    return TraysView(
        clutches=tuple(row(c, seen.clutches.get(c.name), now, tz) for c in chosen),
        substrates=substrates(),
        as_of=seen.as_of,
    )


def substrates() -> tuple[SubstrateRow, ...]:
    """Batches of substrate with a tray in use, or mixed not long ago, newest first."""
    s, card = ledger.live(), shelf.card()
    uses = card.substrate_cycles if card else 3
    return tuple(_substrate(s, batch, uses) for batch in _recent(s, clock.now()))


def trays_of(batch: str) -> tuple[str, ...]:
    """Clutches whose tray holds this batch of substrate now."""
    s = ledger.live()
    return tuple(_in_use(s, s.substrates[batch])) if batch in s.substrates else ()


def row(c: Clutch, belief: ClutchBelief | None, now: int, tz: ZoneInfo) -> ClutchRow:
    """One clutch as a row."""
    here = c.here
    place = (
        say("bin {name}", name=here.bin)
        if here.bin
        else say("rack, {place}", place=f"{here.room} {here.stack}/{here.level}")
    )
    out = c.pulled_at if c.pulled_at is not None else now
    by = missed(c, belief, now, tz)
    return ClutchRow(
        clutch=c.name,
        state=state(c, belief, now, late=by is not None),
        tray_type=c.tray_type,
        laid_at=c.laid_at,
        days_in=(out - c.laid_at) / 86400,
        place=place,
        bin=here.bin,
        breeders=c.lot,
        lot=c.to_lot,
        substrate=c.substrate,
        cycle=c.cycle,
        belief=belief,
        hatched_at=c.hatched_at,
        emptied_at=c.emptied_at,
        overdue=overdue_words(by) if by is not None else None,
    )


def state(c: Clutch, belief: ClutchBelief | None, now: int, *, late: bool) -> str:
    """Where a clutch is on its way from laid to emptied, in a word or two."""
    if c.emptied_at is not None:
        return "emptied"
    if c.hatched_at is not None:
        over = belief is not None and now > belief.half_hatched.q[6] + 2 * 86400
        return "hatched" if over else "hatching"
    if c.pulled_at is None:
        return "laying"
    if belief is None or now < belief.expected_first.q[0]:
        return "waiting"
    return "overdue" if late else "window open"


def _recent(s: Standing, now: int) -> list[Substrate]:
    since = now - 3 * RECENT_DAYS * 86400
    found = [b for b in s.substrates.values() if b.first_at >= since or _in_use(s, b)]
    return sorted(found, key=lambda b: (-b.first_at, b.name))


def _in_use(s: Standing, batch: Substrate) -> list[str]:
    return [c for names in batch.cycles.values() for c in names if s.clutches[c].emptied_at is None]


def _substrate(s: Standing, batch: Substrate, uses: int) -> SubstrateRow:
    latest = max(batch.cycles, default=0)
    in_use, left = _in_use(s, batch), max(uses - latest, 0)
    if left:
        says = say_n("good for {n} more use", "good for {n} more uses", left)
    elif in_use:
        says = say("last use: out to the garden or frass stream when emptied")
    else:
        says = say("used up")
    return SubstrateRow(
        substrate=batch.name,
        first_at=batch.first_at,
        in_use=len(in_use),
        uses_left=left,
        says=says,
        trays_by_cycle=tuple((cycle, len(names)) for cycle, names in sorted(batch.cycles.items())),
    )
