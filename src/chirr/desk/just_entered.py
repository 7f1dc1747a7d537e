"""Belief in what the newest entries touch, at once: those lots anew, with what all others say of the farm unchanged.

The whole farm is believed anew beside it, in seconds; until then only the farm's level is a few entries behind.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace

import msgspec
import numpy as np

from chirr.book import ledger, shelf
from chirr.book.models import EntryRow
from chirr.book.standing import Standing
from chirr.desk import clock
from chirr.desk.belief import Foresight, clutch_belief, is_kept, look_from, lot_belief, swap_days_of, telling, which
from chirr.desk.gather import gather_some
from chirr.desk.shapes import Beliefs
from chirr.engine.biology.species import species
from chirr.engine.colony.belief import believe, families_of
from chirr.engine.colony.farm_prior import all_but
from chirr.engine.colony.learnt import Learnt, learnt_of
from chirr.records import Entry

TOO_MANY = 60
"""More lots than this are believed together with all others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Newest:
    """The newest foresight with the entries up to `told` since: what is believed, and where that search ended."""

    foresight: Foresight
    told: int
    seen: Beliefs
    learnt: Learnt


_newest: list[_Newest] = []
_lock = threading.Lock()


def up_to_date(f: Foresight) -> Beliefs:
    """Beliefs of a foresight, with those of the lots and clutches that newer entries touch as these have it."""
    if not f.told:
        return f.beliefs
    with _lock:
        now = _newest[0] if _newest and _newest[0].foresight is f else None
        now = now or _Newest(foresight=f, told=f.told, seen=f.beliefs, learnt=f.learnt)
        rows = telling().filter(seq__gt=now.told).order_by("seq")
        new = list(rows.values_list("seq", "record")[:TOO_MANY])
        if new:
            found = _with(now, [ledger.from_record(record) for _, record in new])
            seen, learnt = found or (now.seen, now.learnt)
            seen = msgspec.structs.replace(seen, behind=True, waits=now.seen.waits or found is None)
            now = _Newest(foresight=f, told=new[-1][0], seen=seen, learnt=learnt)
            _newest[:] = [now]
        return now.seen


def waits() -> bool:
    """Whether entries have come that touch so much that what is believed of it waits for the whole farm."""
    newest = next(iter(_newest), None)
    return newest is not None and newest.seen.waits and is_kept(newest.foresight)


def _with(now: _Newest, new: list[Entry]) -> tuple[Beliefs, Learnt] | None:
    """What was seen so far with some more entries; None where they touch more than can be believed apart from the rest,
    or where the farm itself has changed."""
    f, seen, learnt = now.foresight, now.seen, now.learnt
    s, card = ledger.live(), f.card
    lots, clutches = _named(s, [*new, *_replaced(new)])
    lots |= {to for c in clutches if c in s.clutches and (to := s.clutches[c].to_lot) is not None}
    lots = _kin(s, f, lots)
    eggs = [c for c in s.clutches.values() if c.name in clutches or c.to_lot in lots]
    beside = _kin(s, f, {c.lot for c in eggs}) - lots
    if len(lots) + len(beside) > TOO_MANY:
        return None
    animal = species(card.species)
    some = gather_some(
        s, f.gathered, at=max(clock.now(), f.as_of), rooms=shelf.rooms(), tray_types=shelf.tray_types(),
        species=animal, swap_days=swap_days_of(card.swap_days), lots=lots | beside, clutches=clutches,
    )  # fmt: skip
    if some is None:
        return None
    known = (_numbers(f.gathered.lots, some.lots), _numbers(f.gathered.clutches, some.clutches))
    families = families_of(f.belief, *known)
    if not set(_lots_of(f, families)) <= set(some.lots):
        return None
    prior = all_but(f.ground, families)
    belief = believe(some.history, some.clocks, some.clutch_temp_c, animal, learnt=learnt, farm_prior=prior)
    part = look_from(
        belief, some, s, card, as_of=f.as_of, days=f.days, draws=f.ahead.stock.crickets.shape[2],
        living=which(some.lots, lambda name: name in lots and s.lots[name].alive),
        open_clutches=which(
            some.clutches,
            lambda name: s.clutches[name].emptied_at is None and (name in clutches or s.clutches[name].to_lot in lots),
        ),
    )  # fmt: skip
    here = {k: v for k, v in seen.lots.items() if k in s.lots and s.lots[k].alive}
    open_now = {k: v for k, v in seen.clutches.items() if k in s.clutches and s.clutches[k].emptied_at is None}
    seen = msgspec.structs.replace(
        seen,
        lots=here | {b.lot: b for b in (lot_belief(part, i) for i in range(len(part.ahead.lots)))},
        clutches=open_now | {b.clutch: b for b in (clutch_belief(part, i) for i in range(len(part.ahead.clutches)))},
    )
    return seen, replace(learnt, things=learnt.things | learnt_of(belief).things)


def _replaced(entries: list[Entry]) -> list[Entry]:
    """Entries that others stand for or take back, and those behind these: one that is back again has changed too."""
    found: dict[str, Entry] = {}
    todo = {e.replaces for e in entries if e.replaces is not None}
    while todo:
        rows = EntryRow.objects.filter(id__in=todo).values_list("record", flat=True)
        old = [ledger.from_record(record) for record in rows]
        found |= {e.id: e for e in old}
        todo = {e.replaces for e in old if e.replaces is not None} - found.keys()
    return list(found.values())


def _named(s: Standing, entries: list[Entry]) -> tuple[set[str], set[str]]:
    """Lots and clutches that entries tell of; a bin that is carried takes all that is in it along."""
    lots: set[str] = set()
    clutches: set[str] = set()
    for e in entries:
        mine = {e.lot, e.to_lot, *e.from_lots} - {None}
        if e.deed == "lay":
            mine.discard(e.lot)  # the breeders are none the fewer for it
        lots |= {name for name in mine if name is not None}
        clutches |= {e.clutch} if e.clutch is not None else set()
        if e.bin is not None and not mine and e.clutch is None and (bin_ := s.bins.get(e.bin)) is not None:
            lots |= set(bin_.lots)
            clutches |= {*bin_.trays, *bin_.hatching}
    return {name for name in lots if name in s.lots}, {name for name in clutches if name in s.clutches}


def _kin(s: Standing, f: Foresight, lots: set[str]) -> set[str]:
    """Lots with those they came from and those that came from them, as far as they are believed in or newly there."""
    known = set(f.gathered.lots)
    children: dict[str, list[str]] = {}
    for lot in s.lots.values():
        for parent in lot.parents:
            children.setdefault(parent, []).append(lot.name)
    found: set[str] = set()
    todo = [name for name in lots if name in s.lots]
    while todo:
        name = todo.pop()
        if name in found:
            continue
        found.add(name)
        todo += [p for p in s.lots[name].parents if p in s.lots]
        todo += [c for c in children.get(name, ()) if c in known or s.lots[c].alive]
    return found


def _lots_of(f: Foresight, families: np.ndarray) -> list[str]:
    """Lots that some families of a foresight hold."""
    first = np.array([g[0] if len(g) else 0 for g in f.belief.latents.families.bearing], dtype=np.int64)
    return [f.gathered.lots[i] for i in np.flatnonzero(np.isin(f.belief.family[first], families))]


def _numbers(names: list[str], wanted: list[str]) -> np.ndarray:
    place = {name: i for i, name in enumerate(names)}
    return np.array([place[name] for name in wanted if name in place], dtype=np.int64)
