"""An entry of the book as one plain sentence."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from zoneinfo import ZoneInfo

from chirr.records import Entry


def say(entry: Entry) -> str:
    """What an entry says was done, in one sentence; its note, minutes and uncertainty follow.

    Example: 'Fed bin N1-1: 180 g (1.5 min).'
    """
    sentence = _SAYS.get(entry.deed, _other)(entry)
    asides = []
    if entry.cv is not None and entry.quantity is not None:
        asides.append(f"give or take {entry.cv * 100:.3g} %")
    if entry.minutes is not None:
        asides.append(f"{_number(entry.minutes)} min")
    text = sentence + (f" ({', '.join(asides)})" if asides else "") + "."
    if entry.note and entry.deed not in ("note", "correct"):
        note = entry.note.strip()
        text += f" {note[:1].upper()}{note[1:]}{'' if note[-1:] in '.!?' else '.'}" if note else ""
    return text


def say_when(at: int, zone: ZoneInfo) -> str:
    """A time as 'Tue 3 Feb 2031, 07:10' in the farm's zone."""
    then = datetime.fromtimestamp(at, zone)
    return f"{then:%a} {then.day} {then:%b %Y, %H:%M}"


def _number(value: float | None) -> str:
    if value is None:
        return "some"
    text = f"{value:,.3f}".rstrip("0").rstrip(".")
    return text.replace("-", "−")


def _amount(e: Entry) -> str:
    return f"{_number(e.quantity)} {e.unit or ''}".strip()


def _measured(e: Entry) -> str:
    return f": {_amount(e)}" if e.quantity is not None else ""


def _in_bin(e: Entry) -> str:
    return f" in bin {e.bin}" if e.bin else ""


def _place(text: str | None) -> str:
    parts = (text or "").rsplit("/", 2)
    return f"{parts[0]}, stack {parts[1]}, level {parts[2]}" if len(parts) == 3 else (text or "somewhere")


def _where_to(e: Entry) -> str:
    return f"to bin {e.to_bin} to join lot {e.to_lot}" if e.to_bin else f"to {_place(e.to_place)}"


def _stock(e: Entry) -> str:
    age = f", {_number(e.age_days)} days old" if e.age_days is not None else ""
    stage = {"pinhead": "pinheads", "nymph": "nymphs", "adult": "adults"}.get(e.stage or "", "crickets")
    return f"Stocked bin {e.bin} with {_number(e.quantity)} {stage}{age} as lot {e.lot}"


def _lay(e: Entry) -> str:
    batch = f" of {e.substrate}" + (f", cycle {e.cycle}" if e.cycle else "") if e.substrate else ""
    return f"Put a {e.tray_type or ''} tray{batch} into bin {e.bin} with lot {e.lot}: clutch {e.clutch}".replace(
        "  ", " "
    )


def _pull(e: Entry) -> str:
    return f"Pulled clutch {e.clutch} {_where_to(e)}"


def _hatch(e: Entry) -> str:
    return f"First pinheads of clutch {e.clutch} seen{_in_bin(e)}"


def _empty(e: Entry) -> str:
    return f"Emptied the tray of clutch {e.clutch}{_in_bin(e)}"


def _count(e: Entry) -> str:
    return f"Counted {_amount(e)} in {'clutch ' + e.clutch if e.clutch else f'lot {e.lot}'}"


def _weigh(e: Entry) -> str:
    each = ""
    if e.sample and e.quantity is not None:
        each = f", {_number(round(e.quantity * 1000 / e.sample, 1))} mg each"
    return f"Weighed {_number(float(e.sample or 0))} crickets of lot {e.lot}: {_amount(e)}{each}"


def _move(e: Entry) -> str:
    if e.clutch:
        return f"Moved clutch {e.clutch} {_where_to(e)}"
    if e.lot:
        return f"Tipped lot {e.lot}{f' from bin {e.bin}' if e.bin else ''} into bin {e.to_bin}"
    return f"Carried bin {e.bin} to {_place(e.to_place)}"


def _split(e: Entry) -> str:
    return f"Split {_number(e.quantity)} crickets off lot {e.lot} into bin {e.to_bin} as lot {e.to_lot}"


def _join(e: Entry) -> str:
    return f"Joined lots {', '.join(e.from_lots)} as lot {e.to_lot} in bin {e.to_bin}"


def _note(e: Entry) -> str:
    things = (("bin", e.bin), ("lot", e.lot), ("clutch", e.clutch))
    about = "".join(f" for {kind} {name}" for kind, name in things if name)
    return f"Noted{about}: {(e.note or '').rstrip('.')}"


def _other(e: Entry) -> str:
    return f"{e.deed.capitalize()}{f' of lot {e.lot}' if e.lot else ''}{_measured(e)}"


_SAYS: dict[str, Callable[[Entry], str]] = {
    "stock": _stock,
    "lay": _lay,
    "pull": _pull,
    "hatch": _hatch,
    "empty": _empty,
    "feed": lambda e: f"Fed bin {e.bin}{_measured(e)}",
    "water": lambda e: f"Watered bin {e.bin}{_measured(e)}",
    "clean": lambda e: f"Cleaned bin {e.bin}",
    "count": _count,
    "weigh": _weigh,
    "deaths": lambda e: f"Took {_number(e.quantity)} dead out of lot {e.lot}{_in_bin(e)}",
    "move": _move,
    "split": _split,
    "join": _join,
    "take": lambda e: f"Took {_amount(e)} from lot {e.lot}{_in_bin(e)}",
    "harvest": lambda e: f"Harvested lot {e.lot}{_in_bin(e)}: {_amount(e)}",
    "retire": lambda e: f"Retired lot {e.lot}{_in_bin(e)}{_measured(e)}",
    "pack": lambda e: f"Packed {_amount(e)} of lot {e.lot}",
    "ship": lambda e: f"Shipped {_amount(e)} of lot {e.lot}",
    "note": _note,
    "correct": lambda e: f"Withdrew an entry: {(e.note or '').rstrip('.')}",
}
