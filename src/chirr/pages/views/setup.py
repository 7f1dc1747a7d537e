"""First run: a short set-up that draws the racks, while the book holds no farm."""

from __future__ import annotations

import hmac
import ipaddress
import os

from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from chirr.desk import farm, people
from chirr.desk.forms import FormFaults
from chirr.desk.spoken import again, say, term
from chirr.pages.access import ALWAYS, door, refuse
from chirr.records import DUTIES, Bin

STARTING_ROOMS = 3
START: dict[str, str] = {
    "species": "acheta-domesticus", "currency": "EUR", "swap_by": "days", "swap_every": "3", "feed_by": "days",
    "feed_every": "3", "substrate_cycles": "3", "wage_per_hour": "",
    "floor_breeding": "6000", "hides_breeding": "18000", "floor_nursery": "6000", "hides_nursery": "9000",
    "floor_grow-out": "6000", "hides_grow-out": "24000",
    "temperature_1": "30", "stacks_1": "3", "levels_1": "4", "duty_1": "grow-out",
}  # fmt: skip
"""A form already filled is easier to change than an empty one; every number is the farmer's to overwrite."""


def from_here(request: HttpRequest) -> bool:
    """Whether the request comes from the machine itself."""
    try:
        return ipaddress.ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:
        return False


def _may(request: HttpRequest) -> bool:
    code = os.environ.get("CHIRR_SETUP_CODE", "")
    if code and hmac.compare_digest(code.encode(), _given(request).encode()):
        return True
    return from_here(request)


def _given(request: HttpRequest) -> str:
    """The code as it was typed, perhaps with a capital that a phone puts first."""
    return str(request.POST.get("code", request.GET.get("code", ""))).strip().lower()


def _ask_code(request: HttpRequest) -> HttpResponse:
    """From another machine: the code that the farm's computer shows, where it shows one."""
    if not os.environ.get("CHIRR_SETUP_CODE"):
        return refuse(request, say("Set the farm up on the computer it runs on, or serve it with 'chirr serve --lan'."))
    wrong = {"code": say("This is not the code that the farm's computer shows.")} if _given(request) else {}
    context = {"faults": wrong, "values": {"code": _given(request)}}
    return render(request, "chirr/set_up_code.html", context, status=403)


@door(ALWAYS)
@require_http_methods(["GET", "POST"])
def set_up(request: HttpRequest) -> HttpResponse:
    """The set-up form; 'show' draws it, 'found' makes the farm and signs its first owner in."""
    if farm.card() is not None:
        return redirect("round")
    if not _may(request):
        return _ask_code(request)
    values = START if request.method == "GET" else {k: v for k, v in request.POST.items() if isinstance(v, str)}
    faults: dict[str, str] = {}
    if request.POST.get("do") == "found":
        try:
            owner = farm.found_farm(values)
        except FormFaults as wrong:
            faults = wrong.faults
        else:
            login(request, people.ensure_user(owner.person), backend="django.contrib.auth.backends.ModelBackend")
            return redirect("racks")
    shown = {k: v for k, v in values.items() if not k.startswith("password")}
    context = {
        **_drawn(values),
        "values": shown,
        "faults": faults,
        "code": _given(request),
    }
    return render(request, "chirr/set_up.html", context, status=422 if faults else 200)


@door(ALWAYS)
@require_POST
def drawing(request: HttpRequest) -> HttpResponse:
    """Only the racks, as the form is typed."""
    if farm.card() is not None or not _may(request):
        return refuse(request, say("There is a farm already."))
    values = {k: v for k, v in request.POST.items() if isinstance(v, str)}
    return render(request, "chirr/parts/drawn_racks.html", _drawn(values))


def _drawn(values: dict[str, str]) -> dict[str, object]:
    plan, _ = farm.plan_from_form(values)
    rows = _rows(values)
    return {
        "rows": [
            {"number": i, **{stem: f"{stem}_{i}" for stem in ("room", "temperature", "stacks", "levels", "duty")}}
            for i in range(1, rows + 1)
        ],
        "row_count": rows, "more_rows": min(rows + 1, farm.MOST_ROOMS),
        "drawn": [(r.room, _stacks([b for b in plan.bins if b.room == r.room])) for r in plan.rooms],
        "bin_count": len(plan.bins), "zones": farm.zones(),
        "species": [(key, again(name)) for key, name in farm.SPECIES_NAMES.items()],
        "duties": DUTIES, "duty_words": [(d, term("duty", d)) for d in DUTIES],
    }  # fmt: skip


def _rows(values: dict[str, str]) -> int:
    text = values.get("rows", "")
    return max(1, min(int(text), farm.MOST_ROOMS)) if text.isdigit() and len(text) < 4 else STARTING_ROOMS


def _stacks(bins: list[Bin]) -> list[list[Bin]]:
    """Bins stack by stack, the highest first."""
    numbers = sorted({b.stack for b in bins})
    return [sorted((b for b in bins if b.stack == n), key=lambda b: -b.level) for n in numbers]
