"""Which fields the form of a deed shows, with the words beside them; the deeds themselves say what they need."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import msgspec

from chirr.deeds import DEEDS, Deed
from chirr.desk.farm import Choices
from chirr.records import STAGES


class FormField(msgspec.Struct, frozen=True, kw_only=True):
    """A field as the template draws it."""

    name: str
    label: str
    kind: str = "text"
    hint: str = ""
    options: tuple[Any, ...] = ()
    required: bool = False
    blank: str | None = None


class Way(msgspec.Struct, frozen=True):
    """One way in which a deed is complete, as a tab of its form."""

    number: int
    words: str


class DeedForm(msgspec.Struct, frozen=True, kw_only=True):
    """The form of a deed: what is needed, and what may be added."""

    deed: str
    says: str
    ways: tuple[Way, ...]
    way: int
    needed: tuple[FormField, ...]
    more: tuple[FormField, ...]
    cautions: tuple[str, ...]


GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Every day", ("feed", "water", "clean", "deaths", "note")),
    ("Eggs and trays", ("lay", "pull", "hatch", "empty")),
    ("Knowing how many", ("count", "weigh")),
    ("Coming and going", ("stock", "move", "split", "join", "retire")),
    ("Goods", ("take", "harvest", "pack", "ship")),
)

WAYS: dict[str, tuple[str, ...]] = {
    "pull": ("to hatch in a bin", "to wait on a rack"),
    "count": ("a lot", "a clutch"),
    "move": ("a lot is tipped over", "a bin is carried", "a tray goes into a bin", "a tray goes to a rack"),
}

CAUTIONS: dict[str, tuple[str, ...]] = {
    "harvest": (
        "Cricket dust causes allergy and asthma: wear a mask and gloves, and keep the air moving.",
        "Who is allergic to shellfish may react to crickets. Local food law decides what may be sold as food.",
    ),
    "clean": ("Dry frass and cast skins make dust: damp it down, wear a mask, do not sweep dry.",),
    "move": ("A full bin is heavy, and high ones are worse: two people, or steps that stand firm.",),
    "ship": ("Live animals must not escape on the way, and some species may not go everywhere: ask your authority.",),
    "take": ("Live animals must not escape, and some species may not go everywhere: ask your authority.",),
    "stock": ("New crickets can carry disease: keep them apart from yours at first.",),
    "empty": ("Spent substrate can carry eggs and germs: heat or freeze it before it leaves the farm as fertiliser.",),
}

_LABELS: dict[str, str] = {
    "bin": "Bin",
    "lot": "Lot",
    "clutch": "Clutch",
    "tray_type": "Tray type",
    "substrate": "Substrate batch",
    "cycle": "Cycle of use",
    "to_bin": "To bin",
    "to_lot": "To lot",
    "to_place": "To place",
    "from_lots": "Lots to join",
    "stage": "Stage",
    "age_days": "Age, days",
    "quantity": "How much",
    "unit": "Unit",
    "cv_pct": "Give or take, %",
    "sample": "Crickets in the sample",
    "minutes": "Minutes it took",
    "note": "Note",
}

_HINTS: dict[str, str] = {
    "cv_pct": "How far the count may be out, as one standard error.",
    "from_lots": "Names with ; between them.",
    "cycle": "1 for fresh substrate, 2 when used once before.",
}

_QUANTITY: dict[str, str] = {
    "weigh": "Their mass together",
    "deaths": "How many dead",
    "split": "How many crickets",
    "harvest": "Mass harvested",
    "stock": "How many crickets",
    "count": "How many",
}


def deed_form(name: str, way: int, choices: Choices, units: str) -> DeedForm:
    """The form of a deed in one of its ways. KeyError when there is no such deed."""
    deed = DEEDS[name]
    way = way if 0 <= way < len(deed.needs) else 0
    words = WAYS.get(name, ("",) * len(deed.needs))
    needed = deed.needs[way]
    spare = [c for c in deed.may if c not in needed and c not in {x for w in deed.needs for x in w}]
    return DeedForm(
        deed=name,
        says=deed.says,
        way=way,
        ways=tuple(Way(i, w) for i, w in enumerate(words)) if len(deed.needs) > 1 else (),
        needed=tuple(f for c in needed for f in _fields(c, deed, choices, units, needed=True)),
        more=tuple(
            f
            for c in [*spare, "minutes", *([] if "note" in needed else ["note"])]
            for f in _fields(c, deed, choices, units, needed=False)
        ),
        cautions=CAUTIONS.get(name, ()),
    )


def way_of(name: str, values: Mapping[str, str]) -> int:
    """The way of a deed that the given columns come nearest to filling."""
    deed = DEEDS[name]
    filled = {c for c, v in values.items() if v} | ({"to_place"} if values.get("to_room") else set())
    return min(range(len(deed.needs)), key=lambda i: (len(set(deed.needs[i]) - filled), -len(deed.needs[i])))


Maker = Callable[[Deed, Choices, bool], list[FormField]]


def _one(name: str, kind: str = "text") -> Maker:
    """A plain field, labelled and explained from the tables above."""

    def make(_deed: Deed, _choices: Choices, needed: bool) -> list[FormField]:
        return [FormField(name=name, label=_LABELS[name], kind=kind, hint=_HINTS.get(name, ""), required=needed)]

    return make


def _pick(name: str, offer: Callable[[Choices], Iterable[Any]], kind: str = "select") -> Maker:
    """A choice among things of the farm."""

    def make(_deed: Deed, choices: Choices, needed: bool) -> list[FormField]:
        options = tuple(offer(choices))
        return [
            FormField(
                name=name,
                label=_LABELS[name],
                kind=kind,
                options=options,
                blank="choose" if needed else "not said",
                required=needed,
            )
        ]

    return make


def _lot(deed: Deed, choices: Choices, needed: bool) -> list[FormField]:
    lots = tuple((n, f"{n}, in {b}" if b else n) for n, b in choices.lots.items())
    if deed.name == "lay":
        lots = tuple(pair for pair in lots if pair[0] in choices.breeders) or lots
    kind = "list" if deed.name in ("stock", "pack", "ship") else "select"
    hint = f"A new name, such as {choices.next_lot}." if deed.name == "stock" else ""
    return [FormField(name="lot", label="Lot", kind=kind, options=lots, hint=hint, blank="choose", required=needed)]


def _clutch(deed: Deed, choices: Choices, needed: bool) -> list[FormField]:
    if deed.name == "lay":
        return [FormField(name="clutch", label="Name of the new clutch", required=needed)]
    return _pick("clutch", lambda c: ((n, f"{n}, in {b}") for n, b in c.clutches.items()))(deed, choices, needed)


def _tray_type(deed: Deed, choices: Choices, needed: bool) -> list[FormField]:
    if choices.tray_types:
        return _pick("tray_type", lambda c: c.tray_types)(deed, choices, needed)
    hint = "The farm has none yet: its owner names them on the Farm page."
    return [FormField(name="tray_type", label=_LABELS["tray_type"], kind="select", hint=hint, blank="none yet")]


def _to_lot(_deed: Deed, choices: Choices, needed: bool) -> list[FormField]:
    hint = f"A lot there is already, or a new name such as {choices.next_lot}."
    lots = tuple(choices.lots)
    return [FormField(name="to_lot", label=_LABELS["to_lot"], kind="list", options=lots, hint=hint, required=needed)]


def _to_place(_deed: Deed, choices: Choices, needed: bool) -> list[FormField]:
    rooms = choices.rooms
    return [
        FormField(name="to_room", label="To room", kind="select", options=rooms, blank="choose", required=needed),
        FormField(name="to_stack", label="Stack", kind="whole", required=needed),
        FormField(name="to_level", label="Level", kind="whole", hint="1 is the lowest", required=needed),
    ]


def _quantity(deed: Deed, _choices: Choices, needed: bool) -> list[FormField]:
    label = _QUANTITY.get(deed.name, _LABELS["quantity"])
    return [FormField(name="quantity", label=label, kind="decimal", required=needed)]


_MAKERS: dict[str, Maker] = {
    "bin": _pick("bin", lambda c: c.bins),
    "to_bin": _pick("to_bin", lambda c: c.bins),
    "lot": _lot,
    "clutch": _clutch,
    "tray_type": _tray_type,
    "substrate": _pick("substrate", lambda c: c.substrates, kind="list"),
    "cycle": _one("cycle", "whole"),
    "to_lot": _to_lot,
    "to_place": _to_place,
    "from_lots": _one("from_lots"),
    "stage": _pick("stage", lambda _: STAGES),
    "age_days": _one("age_days", "decimal"),
    "quantity": _quantity,
    "cv": _one("cv_pct", "decimal"),
    "sample": _one("sample", "whole"),
    "minutes": _one("minutes", "decimal"),
    "note": _one("note", "area"),
}


def _fields(column: str, deed: Deed, choices: Choices, units: str, *, needed: bool) -> list[FormField]:
    """The fields that stand for one column of an entry."""
    if column == "unit":
        return _unit(deed, units, needed=needed)
    return _MAKERS[column](deed, choices, needed)


def _unit(deed: Deed, units: str, *, needed: bool) -> list[FormField]:
    offered = [u for u in deed.units if u]
    if units == "imperial":
        other = {"g": "oz", "kg": "lb", "l": "gal"}
        offered = [other[u] for u in offered if u in other] + offered
    if offered == ["crickets"]:
        return []
    blank = None if needed or "" not in deed.units else "not measured"
    return [FormField(name="unit", label="Unit", kind="select", options=tuple(offered), blank=blank, required=needed)]
