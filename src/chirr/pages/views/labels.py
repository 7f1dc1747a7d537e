"""Labels and scale strips on paper, and what the codes on them lead to."""

from __future__ import annotations

from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from chirr.desk import clock, codes, farm
from chirr.desk import labels as desk
from chirr.desk.forms import FormFaults, Sheet
from chirr.desk.labels import PAGES_MM, STOCKS, CannotPrint, Printed
from chirr.desk.spoken import again, say
from chirr.pages.access import SEE, WORK, actor, door
from chirr.pages.templatetags.chirr import slug
from chirr.says import word

Values = dict[str, Any]
FIRST_STOCK = "a4-3x8"
PAPERS = (("a4", "A4"), ("letter", "US Letter"))
KIND_SAID = {
    "bin": word("bin"), "lot": word("lot"), "clutch": word("clutch"), "substrate": word("substrate"),
    "sheet": word("run sheet"),
}  # fmt: skip


@door(SEE)
@require_GET
def at(request: HttpRequest, kind: str, name: str) -> HttpResponse:
    """Where a code on paper leads: the page of its thing; a choice where two have it; a plain word where none has."""
    found = codes.find(kind, name)
    if len(found) == 1:
        return redirect(_page_of(found[0]))
    context = {
        "kind": kind.lower(), "said": again(KIND_SAID.get(kind.lower(), kind.lower())), "name": name,
        "found": [(f, _page_of(f)) for f in found],
        "lay": f"{reverse('add')}?{urlencode({'deed': 'lay', 'clutch': name})}" if kind.lower() == "clutch" else "",
    }  # fmt: skip
    return render(request, "chirr/at.html", context, status=300 if found else 404)


def _page_of(found: codes.Found) -> str:
    if found.kind == "substrate":
        return f"{reverse('trays')}#{slug(f'substrate:{found.name}')}"
    return reverse({"sheet": "round-sheet"}.get(found.kind, found.kind), args=[found.name])


@door(WORK)
@require_http_methods(["GET", "POST"])
def labels(request: HttpRequest) -> HttpResponse:
    """Choose what gets a label and on which stock; the answer to the filled form is the PDF."""
    values, faults = _start(request), {}
    if request.method == "POST":
        values = {k: v for k, v in request.POST.items() if isinstance(v, str)}
        try:
            printed = _printed(request, values)
        except FormFaults as wrong:
            faults = wrong.faults
        else:
            for remark in printed.remarks:
                messages.warning(request, again(remark))
            return pdf(printed, "labels.pdf")
    context = {
        "values": values, "faults": faults, "chosen": _kinds(request) if request.method == "POST" else desk.KINDS,
        "kinds": [(kind, again(words)) for kind, words in desk.KIND_WORDS.items()],
        "rooms": [r.room for r in farm.rooms()],
        "stocks": [(s.key, again(s.words)) for s in STOCKS.values()], "addresses": addresses(request), "papers": PAPERS,
        "doubts": _doubts(values.get("address", "")), "waiting": len(desk.wanted(desk.Which(unprinted=True))),
    }  # fmt: skip
    return render(request, "chirr/labels.html", context, status=422 if faults else 200)


def _start(request: HttpRequest) -> Values:
    values: Values = {"stock": request.session.get("stock", FIRST_STOCK), "first": "1", "right": "0", "down": "0"}
    return values | {"names": request.GET.get("name", ""), "address": addresses(request)[0]}


def addresses(request: HttpRequest) -> list[str]:
    """Addresses of the farm that may stand in codes, the best first: this page's own, unless no phone can open it."""
    here = f"{request.scheme}://{request.get_host()}"
    lan = [str(page).rstrip("/") for page in (getattr(settings, "LAN", None) or {}).get("pages", ())]
    known = [a for a in (*lan, desk.last_address().lower()) if a]
    ordered = [*known, here] if codes.is_only_here(here) else [here, *known]
    return list(dict.fromkeys(ordered))


def _doubts(address: str) -> tuple[str, ...]:
    try:
        return codes.doubts(codes.base_address(address))
    except codes.NoAddress:
        return ()


def _kinds(request: HttpRequest) -> tuple[str, ...]:
    return tuple(kind for kind in desk.KINDS if kind in request.POST.getlist("kind"))


def _printed(request: HttpRequest, values: Values) -> Printed:
    """The labels that the form asks for. Raises FormFaults."""
    sheet = Sheet(values)
    names = tuple(filter(None, (line.strip() for line in str(values.get("names", "")).splitlines())))
    kinds = _kinds(request)
    to_come = sheet.whole("to_come", 1, 500) or 0
    if not names and not kinds and not to_come:
        sheet.faults["kind"] = say("Tick what gets labels, or write names.")
    room = sheet.choice("room", [r.room for r in farm.rooms()])
    stock = sheet.choice("stock", STOCKS, say("Choose the label stock.")) or FIRST_STOCK
    first = sheet.whole("first", 1, STOCKS.get(stock, STOCKS[FIRST_STOCK]).a_page) or 1
    right, down = sheet.number("right", -20, 20) or 0.0, sheet.number("down", -20, 20) or 0.0
    address = sheet.text("address", say("Give the address where phones find these pages."), longest=200) or ""
    since = _day(sheet, "since")
    sheet.done()
    request.session["stock"] = stock
    which = desk.Which(
        kinds=kinds or desk.KINDS, room=room, to_come=to_come, names=names, unprinted=values.get("only") == "new",
        since=clock.day_bounds(since)[0] if since else None,
    )  # fmt: skip
    try:
        job = desk.Job(stock=stock, first=first, address=address, nudge_mm=(right, down))
        return desk.make(which, job, actor=actor(request))
    except LookupError as unknown:
        raise FormFaults({"names": str(unknown)}) from unknown
    except codes.NoAddress as wrong:
        raise FormFaults({"address": str(wrong)}) from wrong
    except CannotPrint as why:
        raise FormFaults({"": again(why.says)}) from why


def _day(sheet: Sheet, name: str) -> date | None:
    text = str(sheet.values.get(name) or "").strip()
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        sheet.faults[name] = say("“{text}” is not a day. Write it like 2031-05-06.", text=text[:20])
        return None


@door(SEE)
@require_GET
def strips(request: HttpRequest) -> HttpResponse:
    """Scale strips for photographs, on plain paper."""
    from chirr.desk.strips import strips as make

    page = request.GET.get("page", "a4")
    try:
        return pdf(make(page if page in PAGES_MM else "a4", day=clock.today()), "scale-strips.pdf")
    except CannotPrint as why:
        return render(request, "chirr/refused.html", {"words": again(why.says)}, status=503)


def pdf(printed: Printed, name: str) -> HttpResponse:
    """A PDF, shown where the browser can."""
    return HttpResponse(
        printed.pdf, content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"', "Cache-Control": "private, no-store"},
    )  # fmt: skip
