"""The Farm: its rooms, bins, tray types, size classes and days. Everybody sees them; the owner changes them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from chirr.desk import farm as desk
from chirr.desk import people
from chirr.desk.forms import FormFaults
from chirr.desk.numbers_read import shown_number
from chirr.desk.spoken import again, say, term
from chirr.pages.access import OWNER, SEE, actor, door, found
from chirr.records import DUTIES, WEEKDAYS, FarmCard

Values = dict[str, Any]


@door(SEE)
@require_GET
def farm(request: HttpRequest) -> HttpResponse:
    """The farm as a whole."""
    card: FarmCard = request.card  # type: ignore[attr-defined]
    bins, species = desk.bins(), str(card.species)
    context = {
        "species_name": again(desk.SPECIES_NAMES.get(species, species)),
        "rooms": [(room, [b for b in bins if b.room == room.room]) for room in desk.rooms()],
        "tray_types": desk.tray_types(),
        "priced": any(c.price_per_kg is not None or c.price_per_thousand is not None for c in card.size_classes),
        "everybody": people.everybody() if actor(request).role == "owner" else [],
    }
    return render(request, "chirr/farm.html", context)


@door(OWNER)
@require_http_methods(["GET", "POST"])
def card(request: HttpRequest) -> HttpResponse:
    """Name, species, zone, currency, wage, days, cycles."""
    start = _card_values(request.card)  # type: ignore[attr-defined]
    extra = {
        "zones": desk.zones(),
        "species": [(key, again(name)) for key, name in desk.SPECIES_NAMES.items()],
        "weekdays": WEEKDAYS,
    }
    return _form(request, "chirr/farm_card.html", start, lambda v: desk.save_card(v, actor=actor(request)), extra)


def _card_values(card: FarmCard) -> Values:
    values: Values = {
        "name": card.name, "species": card.species, "timezone": card.timezone, "currency": card.currency,
        "wage_per_hour": shown_number(card.wage_per_hour), "substrate_cycles": card.substrate_cycles,
    }  # fmt: skip
    values |= {key: shown_number(value) for key in desk.PRICES if isinstance(value := card.extra.get(key), int | float)}
    for stem, days in (("swap", card.swap_days), ("feed", card.feed_days)):
        if isinstance(days, int):
            values |= {f"{stem}_by": "days", f"{stem}_every": days}
        else:
            values |= {f"{stem}_by": "weekdays", **{f"{stem}_{d}": "on" for d in days}}
    return values


@door(OWNER)
@require_http_methods(["GET", "POST"])
def size_classes(request: HttpRequest) -> HttpResponse:
    """The farm's own bands of body mass or length, and what they sell for."""
    classes = request.card.size_classes  # type: ignore[attr-defined]
    start: Values = {}
    for i, size in enumerate(classes, 1):
        by_length, by_thousand = size.from_mm is not None, size.price_per_thousand is not None
        start |= {
            f"name_{i}": size.name, f"from_mg_{i}": "" if by_length else shown_number(size.from_mg),
            f"from_mm_{i}": _blank(size.from_mm), f"price_by_{i}": "thousand" if by_thousand else "kg",
            f"price_{i}": _blank(size.price_per_thousand if by_thousand else size.price_per_kg),
        }  # fmt: skip
    rows = range(1, min(20, max(len(classes) + 3, 6)) + 1)
    extra = {
        "rows": [(f"name_{i}", f"from_mg_{i}", f"from_mm_{i}", f"price_{i}", f"price_by_{i}", i) for i in rows],
        "priced_by": [(key, again(words)) for key, words in desk.PRICED_BY.items()],
        "currency": request.card.currency,  # type: ignore[attr-defined]
    }
    return _form(
        request, "chirr/size_classes.html", start, lambda v: desk.save_size_classes(v, actor=actor(request)), extra
    )


@door(OWNER)
@require_http_methods(["GET", "POST"])
def room(request: HttpRequest, name: str | None = None) -> HttpResponse:
    """A room's name and set points."""
    start: Values = {}
    if name is not None:
        old, _ = found(request, desk.room, name)
        start = {
            "set_temperature_c": shown_number(old.set_temperature_c),
            "set_humidity_pct": _blank(old.set_humidity_pct),
        }
    extra = {"old": name, "kind": "room"}
    return _form(request, "chirr/room.html", start, lambda v: desk.save_room(v, actor=actor(request), old=name), extra)


@door(OWNER)
@require_http_methods(["GET", "POST"])
def bin_(request: HttpRequest, name: str | None = None) -> HttpResponse:
    """A bin's duty and surfaces, and its first place until the book speaks of it."""
    start: Values = {}
    if name is not None:
        old, _ = found(request, desk.bin_, name)
        start = {
            "room": old.room, "stack": old.stack, "level": old.level, "duty": old.duty,
            "floor_cm2": shown_number(old.floor_cm2), "hides_cm2": shown_number(old.hides_cm2),
        }  # fmt: skip
    extra = {
        "old": name, "rooms": [r.room for r in desk.rooms()], "duties": [(d, term("duty", d)) for d in DUTIES],
        "fixed": name is not None and desk.has_entries(name),
    }  # fmt: skip
    return _form(
        request, "chirr/bin_form.html", start, lambda v: desk.save_bin(v, actor=actor(request), old=name), extra
    )


@door(OWNER)
@require_http_methods(["GET", "POST"])
def tray_type(request: HttpRequest, name: str | None = None) -> HttpResponse:
    """A tray type's sizes."""
    start: Values = {}
    if name is not None:
        old, _ = found(request, desk.tray_type, name)
        start = {
            "length_cm": shown_number(old.length_cm), "width_cm": shown_number(old.width_cm),
            "depth_cm": shown_number(old.depth_cm),
            "clear_side_cm": _blank(old.clear_side_cm),
        }  # fmt: skip
    save = lambda v: desk.save_tray_type(v, actor=actor(request), old=name)  # noqa: E731 - one use, beside it
    return _form(request, "chirr/tray_type.html", start, save, {"old": name})


def _blank(value: float | None) -> str:
    return "" if value is None else shown_number(value)


def _form(
    request: HttpRequest, template: str, start: Values, save: Callable[[Mapping[str, str]], object], extra: Values
) -> HttpResponse:
    """A form of the Farm: shown with what is there, saved when sent, shown again with its faults."""
    values, faults = start, {}
    if request.method == "POST":
        values = {k: v for k, v in request.POST.items() if isinstance(v, str)}
        try:
            save(values)
        except FormFaults as wrong:
            faults = wrong.faults
        else:
            messages.success(request, say("Kept."))
            return redirect("farm")
    return render(request, template, {"values": values, "faults": faults, **extra}, status=422 if faults else 200)


@door(SEE)
@require_GET
def cautions(request: HttpRequest) -> HttpResponse:
    """What can hurt people here."""
    return render(request, "chirr/cautions.html")
