"""The Racks, and the page of each bin, lot and clutch."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from chirr.desk.shapes import RackLevel, RackRoom, ThingPage
from chirr.pages.access import SEE, actor, door, found
from chirr.pages.fields import CAUTIONS

if TYPE_CHECKING:
    from chirr.desk.why import Advice

DEEDS_OF: dict[str, tuple[str, ...]] = {
    "bin": ("feed", "water", "clean", "note", "move"),
    "lot": ("count", "weigh", "deaths", "move", "split", "take", "harvest", "note"),
    "clutch": ("pull", "hatch", "count", "move", "empty", "note"),
}


@door(SEE)
@require_GET
def racks(request: HttpRequest) -> HttpResponse:
    """Each room as it stands."""
    from chirr.desk import racks as desk

    return render(request, "chirr/racks.html", {"rooms": [(room, *_drawn(room)) for room in desk.racks()]})


def _drawn(room: RackRoom) -> tuple[int, list[tuple[int, list[tuple[int, RackLevel | None]]]]]:
    """Height of a room in levels, and each stack from that height down, so that all stand on one floor."""
    height = max((level.level for stack in room.stacks for level in stack.levels), default=0)
    stacks = []
    for stack in room.stacks:
        at = {level.level: level for level in stack.levels}
        top = max(at, default=0)
        stacks.append((stack.stack, [(n, at.get(n, _gap(n)) if n <= top else None) for n in range(height, 0, -1)]))
    return height, stacks


def _gap(level: int) -> RackLevel:
    """A height in a stack where no bin stands."""
    return RackLevel(level=level, bins=(), temperature_c=None)


@door(SEE)
@require_GET
def bin_page(request: HttpRequest, name: str) -> HttpResponse:
    from chirr.desk import things

    return _thing(request, *found(request, things.bin_page, name))


@door(SEE)
@require_GET
def lot_page(request: HttpRequest, name: str) -> HttpResponse:
    from chirr.desk import things

    return _thing(request, *found(request, things.lot_page, name))


@door(SEE)
@require_GET
def clutch_page(request: HttpRequest, name: str) -> HttpResponse:
    from chirr.desk import things

    return _thing(request, *found(request, things.clutch_page, name))


@door(SEE)
@require_GET
def why(request: HttpRequest, kind: str, name: str) -> HttpResponse:
    """Why the figures of a bin, lot or clutch are what they are; for htmx the section alone."""
    from chirr.desk import why as desk

    answer, may_write = found(request, lambda n: desk.why(kind, n), name)
    back = reverse(kind, args=[name])
    asked = [(advice.says, _form(advice, back) if may_write else "") for advice in answer.advice]
    context = {"why": answer, "kind": kind, "name": name, "asked": asked}
    part = request.headers.get("HX-Request") == "true"
    return render(request, "chirr/parts/why.html" if part else "chirr/why.html", context)


def _form(advice: Advice, back: str) -> str:
    """Address of the form on which what was advised is written down."""
    known = {k: v for k in ("bin", "lot", "clutch") if (v := getattr(advice, k))}
    known |= {"sample": str(advice.sample)} if advice.sample else {}
    return f"{reverse('add')}?{urlencode({'deed': advice.deed, **known, 'next': back})}"


def _thing(request: HttpRequest, thing: ThingPage, may_write: bool) -> HttpResponse:
    context: dict[str, Any] = {
        "thing": thing, "may_write": may_write, "quick": _quick(thing, request.path) if may_write else [],
        "counting": _counting(thing, request.path) if may_write else (),
        "more_story": f"{reverse('book')}?{urlencode({thing.kind: thing.name})}",
        "harvest_cautions": CAUTIONS["harvest"] if any(lot.harvest_ready for lot in thing.lots) else (),
        "breeders": _breeders(thing), "harvest": _harvest(thing, actor(request).role == "owner"),
    }  # fmt: skip
    return render(request, "chirr/thing.html", context)


def _breeders(thing: ThingPage) -> tuple[object, ...]:
    """Of a breeding bin: when its breeders have had their day."""
    from chirr.desk import breeders

    breeding = thing.kind == "bin" and thing.tile is not None and thing.tile.duty == "breeding" and thing.lots
    return breeders.breeders(bin=thing.name) if breeding else ()


def _harvest(thing: ThingPage, owner: bool) -> object:
    """Of a living lot: what a day more brings; only the owner sees what it is worth."""
    from chirr.desk import harvest

    return harvest.of_lot(thing.name, money=owner) if thing.kind == "lot" and thing.lots else None


def _quick(thing: ThingPage, back: str) -> list[tuple[str, str]]:
    """Deeds that fit this thing now, each with the address of its form."""
    known = {thing.kind: thing.name}
    deeds = DEEDS_OF[thing.kind]
    if thing.kind == "bin" and thing.tile is not None:
        if thing.tile.lot:
            known["lot"] = thing.tile.lot
            deeds += ("count", "weigh", "deaths", "split", "harvest")
            deeds += ("lay", "retire") if thing.tile.duty == "breeding" else ()
        else:
            deeds += ("stock",)
    elif thing.kind == "lot":
        if not thing.lots:
            deeds = ("pack", "ship", "note")
        elif thing.lots[0].bin:
            known["bin"] = thing.lots[0].bin
    elif thing.kind == "clutch" and not thing.clutches:
        deeds = ("note",)
    return [
        (deed, f"{reverse('add')}?{urlencode(_known_to(deed, thing.kind, known) | {'next': back})}") for deed in deeds
    ]


def _counting(thing: ThingPage, back: str) -> tuple[tuple[str, str], ...]:
    """Where a clutch or a living lot is counted on a photograph, or by sample: what for, and the address."""
    if thing.kind not in ("clutch", "lot") or not (thing.clutches or thing.lots):
        return ()
    known = urlencode({thing.kind: thing.name, "next": back})
    return tuple((name, f"{reverse(name)}?{known}") for name in ("count", "count-sample"))


def _known_to(deed: str, kind: str, known: dict[str, str]) -> dict[str, str]:
    """Columns to fill beforehand; 'move' is of the thing itself, so it takes that alone."""
    if deed == "move":
        return {"deed": deed, "way": {"lot": "0", "bin": "1", "clutch": "2"}[kind], kind: known[kind]}
    return {"deed": deed, **known}
