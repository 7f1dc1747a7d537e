"""What each deed does to the standing of the farm: one function for each, checked first, then done.

A function raises `Contradiction` before it changes anything, so an entry is applied whole or not at all.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from chirr.book.standing import VISIT_GAP_S, BinNow, Clutch, Fact, Lot, Standing, Stay, Substrate
from chirr.records import Entry


class Contradiction(Exception):  # noqa: N818 - it is a finding about the farm's facts, not a failure of the program
    """This entry cannot be true together with what the book already says."""

    def __init__(self, column: str, found: str, expected: str) -> None:
        super().__init__(f"{column}: {found}; expected {expected}.")
        self.column, self.found, self.expected = column, found, expected


def when(at: int) -> str:
    """A time as it stands in a sentence (UTC; the desk rewrites it in the farm's zone where it shows one)."""
    return datetime.fromtimestamp(at, UTC).strftime("%Y-%m-%d %H:%M UTC")


def _bin(s: Standing, name: str | None, column: str = "bin") -> BinNow:
    if name is None or name not in s.bins:
        raise Contradiction(column, f"bin {name}", "a bin that the farm has")
    return s.bins[name]


def _lot(s: Standing, name: str | None, column: str = "lot") -> Lot:
    lot = s.lots.get(name or "")
    if lot is None:
        raise Contradiction(column, f"lot {name}", "a lot that was stocked, hatched or split before this time")
    if not lot.alive:
        raise Contradiction(
            column,
            f"lot {name}, which ended by {lot.ended_by} on {when(lot.ended_at or 0)}",
            "a lot that is still here",
        )
    return lot


def _clutch(s: Standing, name: str | None) -> Clutch:
    clutch = s.clutches.get(name or "")
    if clutch is None:
        raise Contradiction("clutch", f"clutch {name}", "a clutch that was laid before this time")
    if clutch.emptied_at is not None:
        raise Contradiction(
            "clutch", f"clutch {name}, emptied on {when(clutch.emptied_at)}", "a clutch that is not emptied yet"
        )
    return clutch


def _must_be_free(s: Standing, name: str, lot: str | None, column: str) -> BinNow:
    """The bin, if no other lot's animals live in it."""
    bin_ = _bin(s, name, column)
    others = [n for n in bin_.lots if n != lot and s.lots[n].began_at is not None]
    if others:
        raise Contradiction(
            column, f"bin {name}, where lot {others[0]} lives", "an empty bin, or the lot that lives there"
        )
    return bin_


def _enter(s: Standing, lot: Lot, bin_: BinNow, at: int) -> None:
    _leave(s, lot, at)
    lot.bin = bin_.name
    lot.stays.append(Stay(at, bin_.room, bin_.stack, bin_.level, bin_.name))
    bin_.lots.append(lot.name)
    bin_.vacated_at = None


def _leave(s: Standing, lot: Lot, at: int) -> None:
    if lot.bin is not None and lot.name in s.bins[lot.bin].lots:
        old = s.bins[lot.bin]
        old.lots.remove(lot.name)
        if not old.lots and lot.began_at is not None:
            old.vacated_at = at
    lot.bin = None


def _end(s: Standing, lot: Lot, e: Entry) -> None:
    _leave(s, lot, e.at)
    lot.ended_at, lot.ended_by = e.at, e.deed


def _begin(lot: Lot, at: int) -> None:
    """Animals were seen, so the lot has begun, whether or not anybody wrote down its hatch."""
    if lot.began_at is None:
        lot.began_at = at


def _fact(e: Entry, kind: str, **more: object) -> Fact:
    values = {"quantity": e.quantity, "unit": e.unit, "cv": e.cv, "sample": e.sample, **more}
    return Fact(at=e.at, kind=kind, entry=e.id, **values)  # type: ignore[arg-type]


def _place(text: str, column: str = "to_place") -> tuple[str, int, int]:
    try:
        room, stack, level = text.rsplit("/", 2)
        return room, int(stack), int(level)
    except ValueError:
        raise Contradiction(column, text, "a place written room/stack/level, such as north/2/1") from None


def stock(s: Standing, e: Entry) -> None:
    name = e.lot or ""
    old = s.lots.get(name)
    if old is not None and not (old.alive and old.bin == e.bin):
        raise Contradiction("lot", f"lot {name}, already in the book", "a new name for newly stocked crickets")
    bin_ = _must_be_free(s, e.bin or "", name, "bin")
    if old is None:
        old = s.lots[name] = Lot(name=name, origin="stock", named_at=e.at, stage=e.stage, age_days=e.age_days)
        _enter(s, old, bin_, e.at)
    _begin(old, e.at)
    old.facts.append(_fact(e, "stock", other=f"{e.stage}:{e.age_days}"))


def lay(s: Standing, e: Entry) -> None:
    bin_, lot, name = _bin(s, e.bin), _lot(s, e.lot), e.clutch or ""
    if name in s.clutches:
        raise Contradiction("clutch", f"clutch {name}, already in the book", "a name that no other clutch has")
    if lot.bin != bin_.name:
        raise Contradiction("lot", f"lot {lot.name}, which lives in bin {lot.bin}", f"the breeders of bin {bin_.name}")
    s.clutches[name] = Clutch(
        name=name, lot=lot.name, bin=bin_.name, tray_type=e.tray_type or "", laid_at=e.at, laid_entry=e.id,
        substrate=e.substrate, cycle=e.cycle, stays=[Stay(e.at, bin_.room, bin_.stack, bin_.level, bin_.name)],
    )  # fmt: skip
    bin_.trays.append(name)
    if e.substrate:
        batch = s.substrates.setdefault(e.substrate, Substrate(name=e.substrate, first_at=e.at))
        batch.cycles.setdefault(e.cycle or 1, []).append(name)


def _settle(s: Standing, clutch: Clutch, e: Entry) -> None:
    """Put a pulled clutch into a bin with the lot it will join, or onto a rack."""
    if e.to_bin:
        bin_, name = _bin(s, e.to_bin, "to_bin"), e.to_lot or ""
        lot = s.lots.get(name)
        if lot is not None and not lot.alive:
            _lot(s, name, "to_lot")
        if lot is not None and lot.bin != bin_.name:
            raise Contradiction(
                "to_lot", f"lot {name}, which lives in bin {lot.bin}", f"the lot of bin {bin_.name}, or a new one"
            )
        others = [n for n in bin_.lots if n != name and s.lots[n].began_at is not None]
        if others:
            s.doubts[e.id] = (
                f"bin {bin_.name} still holds lot {others[0]}: tip it over before clutch {clutch.name} hatches"
            )
        _unplace(s, clutch)
        if lot is None:
            lot = s.lots[name] = Lot(name=name, origin="clutches", named_at=e.at, stage="pinhead", age_days=0.0)
            _enter(s, lot, bin_, e.at)
        if clutch.name not in lot.clutches:
            lot.clutches.append(clutch.name)
        clutch.to_lot = name
        clutch.stays.append(Stay(e.at, bin_.room, bin_.stack, bin_.level, bin_.name))
        bin_.hatching.append(clutch.name)
    else:
        room, stack, level = _place(e.to_place or "")
        _unplace(s, clutch)
        clutch.stays.append(Stay(e.at, room, stack, level, None))


def _unplace(s: Standing, clutch: Clutch) -> None:
    here = s.bins.get(clutch.here.bin or "")
    if here is not None:
        for shelf in (here.trays, here.hatching):
            if clutch.name in shelf:
                shelf.remove(clutch.name)
    before = s.lots.get(clutch.to_lot or "")
    if before is not None and clutch.name in before.clutches and clutch.hatched_at is None:
        before.clutches.remove(clutch.name)
        if before.began_at is None and not before.clutches and before.origin == "clutches":
            _leave(s, before, clutch.here.at)
            del s.lots[before.name]


def pull(s: Standing, e: Entry) -> None:
    clutch = _clutch(s, e.clutch)
    if clutch.pulled_at is not None:
        raise Contradiction(
            "clutch",
            f"clutch {clutch.name}, pulled already on {when(clutch.pulled_at)}",
            "a tray still in its breeding bin",
        )
    _settle(s, clutch, e)
    clutch.pulled_at = e.at


def hatch(s: Standing, e: Entry) -> None:
    clutch = _clutch(s, e.clutch)
    if clutch.hatched_at is not None:
        raise Contradiction(
            "clutch",
            f"clutch {clutch.name}, whose first pinheads were seen on {when(clutch.hatched_at)}",
            "a clutch not hatched yet",
        )
    lot = s.lots.get(clutch.to_lot or "")
    if lot is not None and lot.bin is not None:
        _must_be_free(s, lot.bin, lot.name, "clutch")
    if clutch.pulled_at is None:
        s.doubts[e.id] = f"clutch {clutch.name} hatched in the breeding bin: adults eat pinheads, pull it"
    elif lot is None:
        s.doubts[e.id] = f"clutch {clutch.name} hatched on the rack: move it into a bin and name its lot"
    clutch.hatched_at = e.at
    clutch.looked_at = _look_before(s, clutch, e.at)
    if lot is not None and lot.alive:
        _begin(lot, e.at)
        lot.facts.append(Fact(at=e.at, kind="arrive", entry=e.id, other=clutch.name))


def _look_before(s: Standing, clutch: Clutch, at: int) -> int | None:
    """The last visit before this one to where the clutch stands."""
    bin_ = s.bins.get(clutch.here.bin or "")
    visits = (bin_.seen_at, bin_.seen_before) if bin_ else s.rooms_seen.get(clutch.here.room, (None, None))
    earlier = [
        v for v in visits if v is not None and v <= at - VISIT_GAP_S and v >= (clutch.pulled_at or clutch.laid_at)
    ]
    return max(earlier, default=clutch.pulled_at)


def empty(s: Standing, e: Entry) -> None:
    clutch = _clutch(s, e.clutch)
    here = s.bins.get(clutch.here.bin or "")
    if here is not None:
        for shelf in (here.trays, here.hatching):
            if clutch.name in shelf:
                shelf.remove(clutch.name)
    clutch.emptied_at = e.at
    words = (e.note or "").lower()
    clutch.reused = True if "reus" in words else False if ("discard" in words or "out" in words.split()) else None


def feed(s: Standing, e: Entry) -> None:
    _bin(s, e.bin).fed_at = e.at


def water(s: Standing, e: Entry) -> None:
    _bin(s, e.bin).watered_at = e.at


def clean(s: Standing, e: Entry) -> None:
    _bin(s, e.bin).cleaned_at = e.at


def count(s: Standing, e: Entry) -> None:
    if e.clutch:
        clutch = s.clutches.get(e.clutch)
        if clutch is None:
            _clutch(s, e.clutch)
        else:
            clutch.facts.append(_fact(e, "count"))
        return
    lot = _lot(s, e.lot)
    if e.unit == "eggs":
        raise Contradiction(
            "unit",
            f"eggs counted for lot {lot.name}",
            "pinheads or crickets for a lot, or the clutch whose eggs were counted",
        )
    _begin(lot, e.at)
    lot.facts.append(_fact(e, "count"))


def weigh(s: Standing, e: Entry) -> None:
    lot = _lot(s, e.lot)
    _begin(lot, e.at)
    lot.facts.append(_fact(e, "weigh"))


def deaths(s: Standing, e: Entry) -> None:
    lot = _lot(s, e.lot)
    _begin(lot, e.at)
    lot.facts.append(_fact(e, "deaths"))


def take(s: Standing, e: Entry) -> None:
    lot = _lot(s, e.lot)
    _begin(lot, e.at)
    lot.facts.append(_fact(e, "take"))


def move(s: Standing, e: Entry) -> None:
    if e.clutch:
        clutch = _clutch(s, e.clutch)
        if clutch.pulled_at is None:
            raise Contradiction(
                "clutch",
                f"clutch {clutch.name}, still in its breeding bin",
                "a pulled clutch; write 'pull' for a tray that comes out",
            )
        _settle(s, clutch, e)
        lot = s.lots.get(clutch.to_lot or "")
        if clutch.hatched_at is not None and lot is not None:
            _begin(lot, e.at)
            lot.facts.append(Fact(at=e.at, kind="arrive", entry=e.id, other=clutch.name))
    elif e.lot:
        lot = _lot(s, e.lot)
        target = _must_be_free(s, e.to_bin or "", lot.name, "to_bin")
        here = s.bins.get(lot.bin or "")
        _enter(s, lot, target, e.at)
        lot.facts.append(Fact(at=e.at, kind="place", entry=e.id, other=target.name))
        _trays_follow(s, lot, here, target, e)
    else:
        bin_ = _bin(s, e.bin)
        bin_.room, bin_.stack, bin_.level = _place(e.to_place or "")
        stay = (bin_.room, bin_.stack, bin_.level, bin_.name)
        taken = [b.name for b in s.bins.values() if b is not bin_ and (b.room, b.stack, b.level) == stay[:3]]
        if taken:
            s.doubts[e.id] = f"bin {taken[0]} already stands at {e.to_place}"
        for name in bin_.lots:
            s.lots[name].stays.append(Stay(e.at, *stay))
            s.lots[name].facts.append(Fact(at=e.at, kind="place", entry=e.id, other=bin_.name))
        for name in (*bin_.trays, *bin_.hatching):
            s.clutches[name].stays.append(Stay(e.at, *stay))


def _trays_follow(s: Standing, lot: Lot, here: BinNow | None, target: BinNow, e: Entry) -> None:
    """Unhatched trays whose pinheads join the lot go with it; a hatched tray's animals are in the lot already."""
    if here is None or here is target:
        return
    for name in [n for n in here.hatching if s.clutches[n].to_lot == lot.name and s.clutches[n].hatched_at is None]:
        here.hatching.remove(name)
        target.hatching.append(name)
        s.clutches[name].stays.append(Stay(e.at, target.room, target.stack, target.level, target.name))


def split(s: Standing, e: Entry) -> None:
    lot, name = _lot(s, e.lot), e.to_lot or ""
    child = s.lots.get(name)
    if name == lot.name:
        raise Contradiction("to_lot", f"lot {name} itself", "another name for the part that is split off")
    if child is not None and not child.alive:
        _lot(s, name, "to_lot")
    if child is not None and child.bin != e.to_bin:
        raise Contradiction(
            "to_lot", f"lot {name}, which lives in bin {child.bin}", f"the lot of bin {e.to_bin}, or a new name"
        )
    target = _must_be_free(s, e.to_bin or "", name, "to_bin")
    if child is None:
        child = s.lots[name] = Lot(name=name, origin="split", named_at=e.at, parents=[lot.name])
        _enter(s, child, target, e.at)
    elif lot.name not in child.parents:
        child.parents.append(lot.name)
    _begin(lot, e.at)
    _begin(child, e.at)
    lot.facts.append(_fact(e, "out", other=name))
    child.facts.append(_fact(e, "in", other=lot.name))


def join(s: Standing, e: Entry) -> None:
    parents = [_lot(s, name, "from_lots") for name in e.from_lots]
    name = e.to_lot or ""
    lot = s.lots.get(name)
    if lot is not None and not lot.alive:
        _lot(s, name, "to_lot")
    if len({p.name for p in parents} | {name}) < 2:
        raise Contradiction("from_lots", ";".join(e.from_lots), "at least two lots to join")
    target = _bin(s, e.to_bin, "to_bin")
    coming = {p.name for p in parents} | {name}
    others = [n for n in target.lots if n not in coming and s.lots[n].began_at is not None]
    if others:
        raise Contradiction(
            "to_bin",
            f"bin {target.name}, where lot {others[0]} lives",
            "an empty bin, or one of the lots that are joined",
        )
    coming_too = [c for p in parents if p.name != name for c in p.clutches]
    waiting = [c for c in coming_too if s.clutches[c].hatched_at is None and s.clutches[c].emptied_at is None]
    for parent in parents:
        _begin(parent, e.at)
        if parent.name != name:
            parent.facts.append(Fact(at=e.at, kind="gone", entry=e.id, other=name))
            _end(s, parent, e)
    if lot is None:
        lot = s.lots[name] = Lot(name=name, origin="join", named_at=e.at)
    if lot.bin != target.name:
        _enter(s, lot, target, e.at)
        lot.facts.append(Fact(at=e.at, kind="place", entry=e.id, other=target.name))
    _begin(lot, e.at)
    for parent in parents:
        if parent.name != name:
            lot.parents.append(parent.name)
            lot.facts.append(Fact(at=e.at, kind="mix", entry=e.id, other=parent.name))
    for clutch in waiting:
        s.clutches[clutch].to_lot = name
        lot.clutches.append(clutch)


def harvest(s: Standing, e: Entry) -> None:
    lot = _lot(s, e.lot)
    _begin(lot, e.at)
    lot.facts.append(_fact(e, "harvest"))
    lot.end_kg = e.quantity if e.unit in (None, "kg") else None
    _end(s, lot, e)


def retire(s: Standing, e: Entry) -> None:
    lot = _lot(s, e.lot)
    if e.quantity is not None:
        lot.facts.append(_fact(e, "harvest" if e.unit == "kg" else "count"))
    _end(s, lot, e)


def remark(s: Standing, e: Entry) -> None:
    """pack, ship, note: kept in the book; nothing on the farm stands otherwise for them."""


EFFECTS: dict[str, Callable[[Standing, Entry], None]] = {
    "stock": stock, "lay": lay, "pull": pull, "hatch": hatch, "empty": empty, "feed": feed, "water": water,
    "clean": clean, "count": count, "weigh": weigh, "deaths": deaths, "move": move, "split": split, "join": join,
    "take": take, "harvest": harvest, "retire": retire, "pack": remark, "ship": remark, "note": remark,
    "correct": remark,
}  # fmt: skip
