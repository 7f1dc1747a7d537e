"""An entry of the book as one plain sentence, in the language of the person who reads."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from zoneinfo import ZoneInfo

from chirr.desk.notes_said import said_again
from chirr.desk.spoken import figure, local_signs, moment_words, term
from chirr.desk.spoken import say as _
from chirr.records import Entry


def say(entry: Entry) -> str:
    """What an entry says was done, in one sentence; its note, minutes and uncertainty follow.

    Example: 'Fed bin N1-1: 180 g (1.5 min).'
    """
    sentence = _SAYS.get(entry.deed, _other)(entry)
    asides = []
    if entry.cv is not None and entry.quantity is not None:
        asides.append(_("give or take {pct} %", pct=figure(entry.cv * 100, ".3g")))
    if entry.minutes is not None:
        asides.append(f"{_number(entry.minutes)} min")
    text = sentence + (f" ({', '.join(asides)})" if asides else "") + "."
    if entry.note and entry.deed not in ("note", "correct"):
        note = said_again(entry.note.strip())
        text += f" {note[:1].upper()}{note[1:]}{'' if note[-1:] in '.!?' else '.'}" if note else ""
    return text


def say_when(at: int, zone: ZoneInfo) -> str:
    """A time as 'Tue 3 Feb 2031, 07:10' in the farm's zone."""
    return moment_words(datetime.fromtimestamp(at, zone))


def _number(value: float | None) -> str:
    if value is None:
        return _("some")
    text = f"{value:,.3f}".rstrip("0").rstrip(".")
    return local_signs(text.replace("-", "−"))


def _amount(e: Entry) -> str:
    return f"{_number(e.quantity)} {term('unit', e.unit or '')}".strip()


def _measured(e: Entry, without: str) -> str:
    """A sentence with what was measured after it, if anything was."""
    return f"{without}: {_amount(e)}" if e.quantity is not None else without


def _place(text: str | None) -> str:
    parts = (text or "").rsplit("/", 2)
    if len(parts) != 3:
        return text or _("somewhere")
    return _("{room}, stack {stack}, level {level}", room=parts[0], stack=parts[1], level=parts[2])


def _stock(e: Entry) -> str:
    parts = {"bin": e.bin, "lot": e.lot, "number": _number(e.quantity), "days": _number(e.age_days)}
    stage = e.stage if e.stage in ("pinhead", "nymph", "adult") else ""
    if e.age_days is None:
        return {
            "pinhead": lambda: _("Stocked bin {bin} with {number} pinheads as lot {lot}", **parts),
            "nymph": lambda: _("Stocked bin {bin} with {number} nymphs as lot {lot}", **parts),
            "adult": lambda: _("Stocked bin {bin} with {number} adults as lot {lot}", **parts),
            "": lambda: _("Stocked bin {bin} with {number} crickets as lot {lot}", **parts),
        }[stage or ""]()
    return {
        "pinhead": lambda: _("Stocked bin {bin} with {number} pinheads, {days} days old as lot {lot}", **parts),
        "nymph": lambda: _("Stocked bin {bin} with {number} nymphs, {days} days old as lot {lot}", **parts),
        "adult": lambda: _("Stocked bin {bin} with {number} adults, {days} days old as lot {lot}", **parts),
        "": lambda: _("Stocked bin {bin} with {number} crickets, {days} days old as lot {lot}", **parts),
    }[stage or ""]()


def _lay(e: Entry) -> str:
    parts = {"tray": e.tray_type or "", "bin": e.bin, "lot": e.lot, "clutch": e.clutch}
    if not e.substrate:
        text = _("Put a {tray} tray into bin {bin} with lot {lot}: clutch {clutch}", **parts)
    elif not e.cycle:
        text = _(
            "Put a {tray} tray of {substrate} into bin {bin} with lot {lot}: clutch {clutch}",
            substrate=e.substrate, **parts,
        )  # fmt: skip
    else:
        text = _(
            "Put a {tray} tray of {substrate}, cycle {cycle} into bin {bin} with lot {lot}: clutch {clutch}",
            substrate=e.substrate, cycle=e.cycle, **parts,
        )  # fmt: skip
    return text.replace("  ", " ")


def _pull(e: Entry) -> str:
    if e.to_bin:
        return _("Pulled clutch {clutch} to bin {bin} to join lot {lot}", clutch=e.clutch, bin=e.to_bin, lot=e.to_lot)
    return _("Pulled clutch {clutch} to {place}", clutch=e.clutch, place=_place(e.to_place))


def _hatch(e: Entry) -> str:
    if e.bin:
        return _("First pinheads of clutch {clutch} seen in bin {bin}", clutch=e.clutch, bin=e.bin)
    return _("First pinheads of clutch {clutch} seen", clutch=e.clutch)


def _empty(e: Entry) -> str:
    if e.bin:
        return _("Emptied the tray of clutch {clutch} in bin {bin}", clutch=e.clutch, bin=e.bin)
    return _("Emptied the tray of clutch {clutch}", clutch=e.clutch)


def _count(e: Entry) -> str:
    if e.clutch:
        return _("Counted {amount} in clutch {clutch}", amount=_amount(e), clutch=e.clutch)
    return _("Counted {amount} in lot {lot}", amount=_amount(e), lot=e.lot)


def _weigh(e: Entry) -> str:
    parts = {"sample": _number(float(e.sample or 0)), "lot": e.lot, "amount": _amount(e)}
    if e.sample and e.quantity is not None:
        each = _number(round(e.quantity * 1000 / e.sample, 1))
        return _("Weighed {sample} crickets of lot {lot}: {amount}, {mg} mg each", mg=each, **parts)
    return _("Weighed {sample} crickets of lot {lot}: {amount}", **parts)


def _deaths(e: Entry) -> str:
    if e.bin:
        return _("Took {number} dead out of lot {lot} in bin {bin}", number=_number(e.quantity), lot=e.lot, bin=e.bin)
    return _("Took {number} dead out of lot {lot}", number=_number(e.quantity), lot=e.lot)


def _move(e: Entry) -> str:
    if e.clutch and e.to_bin:
        return _("Moved clutch {clutch} to bin {bin} to join lot {lot}", clutch=e.clutch, bin=e.to_bin, lot=e.to_lot)
    if e.clutch:
        return _("Moved clutch {clutch} to {place}", clutch=e.clutch, place=_place(e.to_place))
    if e.lot and e.bin:
        return _("Tipped lot {lot} from bin {bin} into bin {to_bin}", lot=e.lot, bin=e.bin, to_bin=e.to_bin)
    if e.lot:
        return _("Tipped lot {lot} into bin {to_bin}", lot=e.lot, to_bin=e.to_bin)
    return _("Carried bin {bin} to {place}", bin=e.bin, place=_place(e.to_place))


def _split(e: Entry) -> str:
    return _(
        "Split {number} crickets off lot {lot} into bin {to_bin} as lot {to_lot}",
        number=_number(e.quantity), lot=e.lot, to_bin=e.to_bin, to_lot=e.to_lot,
    )  # fmt: skip


def _join(e: Entry) -> str:
    return _(
        "Joined lots {lots} as lot {to_lot} in bin {to_bin}",
        lots=", ".join(e.from_lots), to_lot=e.to_lot, to_bin=e.to_bin,
    )  # fmt: skip


def _take(e: Entry) -> str:
    if e.bin:
        return _("Took {amount} from lot {lot} in bin {bin}", amount=_amount(e), lot=e.lot, bin=e.bin)
    return _("Took {amount} from lot {lot}", amount=_amount(e), lot=e.lot)


def _harvest(e: Entry) -> str:
    if e.bin:
        return _("Harvested lot {lot} in bin {bin}: {amount}", amount=_amount(e), lot=e.lot, bin=e.bin)
    return _("Harvested lot {lot}: {amount}", amount=_amount(e), lot=e.lot)


def _retire(e: Entry) -> str:
    if e.bin:
        return _measured(e, _("Retired lot {lot} in bin {bin}", lot=e.lot, bin=e.bin))
    return _measured(e, _("Retired lot {lot}", lot=e.lot))


def _note(e: Entry) -> str:
    note = said_again(e.note or "").rstrip(".")
    bins = [_("bin {name}", name=e.bin)] if e.bin else []
    lots = [_("lot {name}", name=e.lot)] if e.lot else []
    clutches = [_("clutch {name}", name=e.clutch)] if e.clutch else []
    things = [*bins, *lots, *clutches]
    if not things:
        return _("Noted: {note}", note=note)
    return _("Noted for {things}: {note}", things=_(" for ").join(things), note=note)


def _other(e: Entry) -> str:
    deed = term("deed", e.deed).capitalize()
    return _measured(e, _("{deed} of lot {lot}", deed=deed, lot=e.lot) if e.lot else deed)


_SAYS: dict[str, Callable[[Entry], str]] = {
    "stock": _stock,
    "lay": _lay,
    "pull": _pull,
    "hatch": _hatch,
    "empty": _empty,
    "feed": lambda e: _measured(e, _("Fed bin {bin}", bin=e.bin)),
    "water": lambda e: _measured(e, _("Watered bin {bin}", bin=e.bin)),
    "clean": lambda e: _("Cleaned bin {bin}", bin=e.bin),
    "count": _count,
    "weigh": _weigh,
    "deaths": _deaths,
    "move": _move,
    "split": _split,
    "join": _join,
    "take": _take,
    "harvest": _harvest,
    "retire": _retire,
    "pack": lambda e: _("Packed {amount} of lot {lot}", amount=_amount(e), lot=e.lot),
    "ship": lambda e: _("Shipped {amount} of lot {lot}", amount=_amount(e), lot=e.lot),
    "note": _note,
    "correct": lambda e: _("Withdrew an entry: {note}", note=said_again(e.note or "").rstrip(".")),
}
