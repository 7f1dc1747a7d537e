"""Which fields the form of a deed shows, with the words beside them; the deeds themselves say what they need."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import msgspec
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from chirr.deeds import DEEDS, Deed
from chirr.desk.farm import Choices
from chirr.desk.spoken import again, say, term
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


GROUPS: tuple[tuple[Promise | str, tuple[str, ...]], ...] = (
    (_("Every day"), ("feed", "water", "clean", "deaths", "note")),
    (_("Eggs and trays"), ("lay", "pull", "hatch", "empty")),
    (_("Knowing how many"), ("count", "weigh")),
    (_("Coming and going"), ("stock", "move", "split", "join", "retire")),
    (_("Goods"), ("take", "harvest", "pack", "ship")),
)

WAYS: dict[str, tuple[Promise | str, ...]] = {
    "pull": (_("to hatch in a bin"), _("to wait on a rack")),
    "count": (_("a lot"), _("a clutch")),
    "move": (_("a lot is tipped over"), _("a bin is carried"), _("a tray goes into a bin"), _("a tray goes to a rack")),
}

CAUTIONS: dict[str, tuple[Promise | str, ...]] = {
    "harvest": (
        _("Cricket dust causes allergy and asthma: wear a mask and gloves, and keep the air moving."),
        _("Who is allergic to shellfish may react to crickets. Local food law decides what may be sold as food."),
    ),
    "clean": (_("Dry frass and cast skins make dust: damp it down, wear a mask, do not sweep dry."),),
    "move": (_("A full bin is heavy, and high ones are worse: two people, or steps that stand firm."),),
    "ship": (
        _("Live animals must not escape on the way, and some species may not go everywhere: ask your authority."),
    ),
    "take": (_("Live animals must not escape, and some species may not go everywhere: ask your authority."),),
    "stock": (_("New crickets can carry disease: keep them apart from yours at first."),),
    "empty": (
        _("Spent substrate can carry eggs and germs: heat or freeze it before it leaves the farm as fertiliser."),
    ),
}

_LABELS: dict[str, Promise | str] = {
    "bin": _("Bin"),
    "lot": _("Lot"),
    "clutch": _("Clutch"),
    "tray_type": _("Tray type"),
    "substrate": _("Substrate batch"),
    "cycle": _("Cycle of use"),
    "to_bin": _("To bin"),
    "to_lot": _("To lot"),
    "to_place": _("To place"),
    "from_lots": _("Lots to join"),
    "stage": _("Stage"),
    "age_days": _("Age, days"),
    "quantity": _("How much"),
    "unit": _("Unit"),
    "cv_pct": _("Give or take, %"),
    "sample": _("Crickets in the sample"),
    "minutes": _("Minutes it took"),
    "note": _("Note"),
}

_HINTS: dict[str, Promise | str] = {
    "cv_pct": _("How far the count may be out, as one standard error."),
    "from_lots": _("Names with ; between them."),
    "cycle": _("1 for fresh substrate, 2 when used once before."),
}

_QUANTITY: dict[str, Promise | str] = {
    "weigh": _("Their mass together"),
    "deaths": _("How many dead"),
    "split": _("How many crickets"),
    "harvest": _("Mass harvested"),
    "stock": _("How many crickets"),
    "count": _("How many"),
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
        says=again(deed.says),
        way=way,
        ways=tuple(Way(i, str(w)) for i, w in enumerate(words)) if len(deed.needs) > 1 else (),
        needed=tuple(f for c in needed for f in _fields(c, deed, choices, units, needed=True)),
        more=tuple(
            f
            for c in [*spare, "minutes", *([] if "note" in needed else ["note"])]
            for f in _fields(c, deed, choices, units, needed=False)
        ),
        cautions=tuple(str(c) for c in CAUTIONS.get(name, ())),
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
        return [
            FormField(name=name, label=str(_LABELS[name]), kind=kind, hint=str(_HINTS.get(name, "")), required=needed)
        ]

    return make


def _pick(name: str, offer: Callable[[Choices], Iterable[Any]], kind: str = "select") -> Maker:
    """A choice among things of the farm."""

    def make(_deed: Deed, choices: Choices, needed: bool) -> list[FormField]:
        options = tuple(offer(choices))
        return [
            FormField(
                name=name,
                label=str(_LABELS[name]),
                kind=kind,
                options=options,
                blank=say("choose") if needed else say("not said"),
                required=needed,
            )
        ]

    return make


def _lot(deed: Deed, choices: Choices, needed: bool) -> list[FormField]:
    lots = tuple((n, say("{n}, in {b}", n=n, b=b) if b else n) for n, b in choices.lots.items())
    if deed.name == "lay":
        lots = tuple(pair for pair in lots if pair[0] in choices.breeders) or lots
    kind = "list" if deed.name in ("stock", "pack", "ship") else "select"
    hint = say("A new name, such as {next_lot}.", next_lot=choices.next_lot) if deed.name == "stock" else ""
    return [
        FormField(
            name="lot", label=say("Lot"), kind=kind, options=lots, hint=hint, blank=say("choose"), required=needed
        )
    ]


def _clutch(deed: Deed, choices: Choices, needed: bool) -> list[FormField]:
    if deed.name == "lay":
        return [FormField(name="clutch", label=say("Name of the new clutch"), required=needed)]
    return _pick("clutch", lambda c: ((n, say("{n}, in {b}", n=n, b=b)) for n, b in c.clutches.items()))(
        deed, choices, needed
    )


def _tray_type(deed: Deed, choices: Choices, needed: bool) -> list[FormField]:
    if choices.tray_types:
        return _pick("tray_type", lambda c: c.tray_types)(deed, choices, needed)
    hint = say("The farm has none yet: its owner names them on the Farm page.")
    return [
        FormField(name="tray_type", label=str(_LABELS["tray_type"]), kind="select", hint=hint, blank=say("none yet"))
    ]


def _to_lot(_deed: Deed, choices: Choices, needed: bool) -> list[FormField]:
    hint = say("A lot there is already, or a new name such as {next_lot}.", next_lot=choices.next_lot)
    lots = tuple(choices.lots)
    return [
        FormField(name="to_lot", label=str(_LABELS["to_lot"]), kind="list", options=lots, hint=hint, required=needed)
    ]


def _to_place(_deed: Deed, choices: Choices, needed: bool) -> list[FormField]:
    rooms = choices.rooms
    return [
        FormField(
            name="to_room", label=say("To room"), kind="select", options=rooms, blank=say("choose"), required=needed
        ),
        FormField(name="to_stack", label=say("Stack"), kind="whole", required=needed),
        FormField(name="to_level", label=say("Level"), kind="whole", hint=say("1 is the lowest"), required=needed),
    ]


def _quantity(deed: Deed, _choices: Choices, needed: bool) -> list[FormField]:
    label = str(_QUANTITY.get(deed.name, _LABELS["quantity"]))
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
    "stage": _pick("stage", lambda _choices: [(s, term("stage", s)) for s in STAGES]),
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
    blank = None if needed or "" not in deed.units else say("not measured")
    return [
        FormField(
            name="unit",
            label=say("Unit"),
            kind="select",
            options=tuple((u, term("unit", u)) for u in offered),
            blank=blank,
            required=needed,
        )
    ]
