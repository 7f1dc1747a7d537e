"""Ahead: stock to come, hatches and harvests, and the question what can be promised."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from chirr.desk import clock
from chirr.desk.forms import FormFaults, Sheet
from chirr.desk.spoken import say, term
from chirr.pages.access import SEE, door
from chirr.pages.display import G_PER_LB

UNITS = ("crickets", "kg")
FURTHEST_DAYS = 365


@door(SEE)
@require_GET
def ahead(request: HttpRequest) -> HttpResponse:
    """The weeks ahead."""
    return render(request, "chirr/ahead.html", _context(request))


@door(SEE)
@require_GET
def promise(request: HttpRequest) -> HttpResponse:
    """The answer to a question; for htmx the box alone, else the page with it."""
    if request.headers.get("HX-Request") == "true":
        context = _question(request)
        return render(request, "chirr/parts/promise.html", context, status=422 if context["faults"] else 200)
    context = _context(request) | _question(request)
    return render(request, "chirr/ahead.html", context, status=422 if context["faults"] else 200)


def _context(request: HttpRequest) -> dict[str, Any]:
    from chirr.desk import ahead as desk

    today = clock.today()
    card = request.card  # type: ignore[attr-defined]
    return {
        "view": desk.ahead_view(), "units": [(u, term("unit", u)) for u in _units(request)],
        "classes": [c.name for c in card.size_classes],
        "values": {"day": (today + timedelta(days=14)).isoformat(), "or_larger": "on"}, "faults": {},
    }  # fmt: skip


def _units(request: HttpRequest) -> tuple[str, ...]:
    return (*UNITS, "lb") if request.COOKIES.get("units") == "imperial" else UNITS


def _question(request: HttpRequest) -> dict[str, Any]:
    from chirr.desk import ahead as desk

    card, today = request.card, clock.today()  # type: ignore[attr-defined]
    values = {k: v for k, v in request.GET.items() if isinstance(v, str)}
    classes = [c.name for c in card.size_classes]
    context: dict[str, Any] = {
        "values": values,
        "faults": {},
        "units": [(u, term("unit", u)) for u in _units(request)],
        "classes": classes,
    }
    sheet = Sheet(values)
    amount = sheet.number("amount", 0.001, 1e8, say("Say how much."))
    unit = sheet.choice("unit", _units(request), say("Choose the unit."))
    size = sheet.choice("size_class", classes, say("Choose the size class."))
    day = _day(sheet, today)
    try:
        sheet.done()
        factor = G_PER_LB / 1000 if unit == "lb" else 1.0
        context["answer"] = desk.promise(
            (amount or 0.0) * factor, "kg" if unit == "lb" else unit or UNITS[0], size or "", day,
            or_larger=values.get("or_larger") == "on",
        )  # fmt: skip
    except FormFaults as wrong:
        context["faults"] = wrong.faults
    except ValueError as wrong:
        context["faults"] = {"day": str(wrong)}
    except LookupError as unknown:
        context["faults"] = {"size_class": str(unknown.args[0] if unknown.args else unknown)}
    return context


def _day(sheet: Sheet, today: date) -> date:
    try:
        day = date.fromisoformat(sheet.values.get("day", ""))
    except ValueError:
        sheet.faults["day"] = say("Give the day, such as 2031-02-03.")
        return today
    if day < today:
        sheet.faults["day"] = say("This day is past. Ask about a day to come.")
    elif day > today + timedelta(days=FURTHEST_DAYS):
        sheet.faults["day"] = say("Nobody can say anything about a day so far off. Ask about the coming year.")
    return day
