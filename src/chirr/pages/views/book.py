"""The Book: search it, add to it, correct it, take it away as a zip."""

from __future__ import annotations

import time
from datetime import date, datetime
from urllib.parse import urlencode

import msgspec
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from chirr.deeds import DEEDS
from chirr.desk import browse, farm, forms
from chirr.desk.forms import FormFaults
from chirr.desk.numbers_read import shown_number
from chirr.desk.spoken import again, say, term
from chirr.pages import display
from chirr.pages.access import OWNER, SEE, WORK, actor, door, found
from chirr.pages.fields import GROUPS, deed_form, way_of
from chirr.pages.roundclock import RoundClock
from chirr.pages.views.sign import safe_next
from chirr.records import Entry

LATE_S = 15 * 60
"""An entry that came in so much later than what it tells of is said to (judgement)."""
FILTERS = ("text", "deed", "person", "bin", "lot", "clutch", "from", "to", "odd")


@door(SEE)
@require_GET
def book(request: HttpRequest) -> HttpResponse:
    """Entries that meet the search, newest first."""
    asked = {name: request.GET.get(name, "").strip() for name in FILTERS}
    faults: dict[str, str] = {}
    found_page = browse.search(
        text=asked["text"], deed=asked["deed"], person=asked["person"], bin_=asked["bin"], lot=asked["lot"],
        clutch=asked["clutch"], since=_day(asked, "from", faults), until=_day(asked, "to", faults),
        odd=bool(asked["odd"]), page=_page(request.GET.get("page", "1")),
    )  # fmt: skip
    context = {
        "found": found_page, "values": asked, "faults": faults,
        "deeds": [(d, term("deed", d)) for d in DEEDS], "persons": browse.persons(),
        "bins": [b.bin for b in farm.bins()], "filtered": any(asked[n] for n in FILTERS if n != "text"),
        "more": urlencode({k: v for k, v in asked.items() if v}),
    }  # fmt: skip
    part = request.headers.get("HX-Target") == "entries"
    return render(request, "chirr/parts/entries.html" if part else "chirr/book.html", context)


def _day(asked: dict[str, str], name: str, faults: dict[str, str]) -> date | None:
    try:
        return date.fromisoformat(asked[name]) if asked[name] else None
    except ValueError:
        faults[name] = say("“{text}” is not a date. Write it like 2031-02-03.", text=asked[name][:20])
        return None


def _page(text: str) -> int:
    return int(text) if text.isdigit() and len(text) < 8 else 1


@door(WORK)
@require_http_methods(["GET", "POST"])
def add(request: HttpRequest) -> HttpResponse:
    """Choose a deed, fill what it needs, write it."""
    given = request.POST if request.method == "POST" else request.GET
    values = {k: v for k, v in given.items() if isinstance(v, str)}
    name = values.get("deed", "")
    if name not in DEEDS or name == "correct":
        return render(request, "chirr/choose_deed.html", {"groups": _groups(), "carry": _carry(values)})
    return _deed_page(request, values, replaces=None)


@door(WORK)
@require_http_methods(["GET", "POST"])
def replace(request: HttpRequest, entry_id: str) -> HttpResponse:
    """Write another entry in the place of one that was wrong."""
    old, _ = found(request, browse.entry, entry_id)
    if old.deed == "correct":
        raise Http404(say("A withdrawal is corrected by withdrawing it, not by replacing it."))
    if request.method == "POST":
        values = {k: v for k, v in request.POST.items() if isinstance(v, str)}
    else:
        values = forms.values_of(old, display.shown().zone) | {"note": old.note or ""}
    values["deed"] = values.get("deed") or old.deed
    return _deed_page(request, values, replaces=old)


def _deed_page(request: HttpRequest, values: dict[str, str], replaces: Entry | None) -> HttpResponse:
    faults: dict[str, str] = {}
    if request.method == "POST":
        values.pop("replaces", None)
        if replaces is not None:
            values["replaces"] = replaces.id
        try:
            entry = forms.add_entry(values, actor=actor(request), now=_now())
        except FormFaults as wrong:
            faults = wrong.faults
        else:
            messages.success(request, say("Written: {says}", says=browse.line_now(entry).says))
            _tapped(request)
            return redirect(safe_next(request, reverse("book")))
    choices = farm.choices()
    values = values if request.method == "POST" else _filled_in(request, values, choices)
    way = (
        int(values["way"])
        if values.get("way", "").isdigit() and len(values["way"]) < 3
        else way_of(values["deed"], values)
    )
    form = deed_form(values["deed"], way, choices, display.shown().units)
    shown = {f.name for f in (*form.needed, *form.more)} | {"at", ""}
    context = {
        "form": form, "values": values, "faults": faults, "next": safe_next(request, ""),
        "general": [words for name, words in faults.items() if name not in shown or name == ""],
        "entry_id": values.get("id") or forms.fresh_id(), "old": replaces and browse.line_now(replaces),
        "carry": urlencode({k: v for k, v in values.items() if v and k not in ("way", "csrfmiddlewaretoken", "id")}),
    }  # fmt: skip
    return render(request, "chirr/deed.html", context, status=422 if faults else 200)


def _filled_in(request: HttpRequest, values: dict[str, str], choices: farm.Choices) -> dict[str, str]:
    """What can be guessed before a person fills a fresh form."""
    filled = dict(values)
    for name in ("quantity", "minutes", "age_days", "cv_pct"):
        if _is_number(filled.get(name, "")):
            filled[name] = shown_number(float(filled[name]))
    if "cv" in filled:
        filled["cv_pct"] = shown_number(float(filled.pop("cv")) * 100, "g") if _is_number(filled["cv"]) else ""
    if (place := filled.pop("to_place", "")).count("/") >= 2:
        filled["to_room"], filled["to_stack"], filled["to_level"] = place.rsplit("/", 2)
    if filled["deed"] == "lay":
        filled.setdefault("clutch", choices.next_clutch)
        here = [lot for lot in choices.breeders if choices.lots[lot] == filled.get("bin")]
        if len(here) == 1:
            filled.setdefault("lot", here[0])
    if "bin" in DEEDS[filled["deed"]].may and not filled.get("bin") and choices.lots.get(filled.get("lot", "")):
        filled["bin"] = choices.lots[filled["lot"]]
    if "minutes" not in filled:
        clock = RoundClock.of(request.session)
        spent = clock.since_last_tap(time.time()) if clock.running else None
        filled["minutes"] = shown_number(spent, ".1f") if spent else ""
    return filled


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _tapped(request: HttpRequest) -> None:
    clock = RoundClock.of(request.session)
    if clock.running:
        clock.tapped(time.time()).keep(request.session)


def _now() -> int:
    from chirr.desk import clock

    return clock.now()


def _groups() -> list[tuple[str, list[tuple[str, str]]]]:
    return [(str(words), [(n, again(DEEDS[n].says)) for n in names]) for words, names in GROUPS]


def _carry(values: dict[str, str]) -> str:
    return urlencode({k: v for k, v in values.items() if v and k in ("bin", "lot", "clutch", "next")})


@door(SEE)
@require_GET
def entry(request: HttpRequest, entry_id: str) -> HttpResponse:
    """One entry with everything it holds."""
    written, may_write = found(request, browse.entry, entry_id)
    columns = {
        k: v for k, v in msgspec.to_builtins(written).items() if k not in ("id", "at", "deed", "person", "extra")
    }
    if actor(request).role == "owner":  # a column of the farm's own may hold a price
        columns |= written.extra
    line = browse.line_now(written)
    received = browse.received(entry_id)
    context = {
        "entry": written, "line": line, "columns": columns, "next": request.path, "received": received,
        "late": received - written.at > LATE_S,
        "open": may_write and not line.standing.startswith(("replaced", "withdrawn")),
    }  # fmt: skip
    return render(request, "chirr/entry.html", context)


@door(WORK)
@require_http_methods(["GET", "POST"])
def correct(request: HttpRequest, entry_id: str) -> HttpResponse:
    """Say that an entry never happened, and why."""
    old, _ = found(request, browse.entry, entry_id)
    faults: dict[str, str] = {}
    note = request.POST.get("note", "")
    if request.method == "POST":
        try:
            forms.withdraw(old.id, note, actor=actor(request), now=_now())
        except FormFaults as wrong:
            faults = wrong.faults
        else:
            messages.success(request, say("Withdrawn. The old entry stays in the book, struck through."))
            return redirect(safe_next(request, reverse("book")))
    general = [words for name, words in faults.items() if name != "note"]
    context = {
        "line": browse.line_now(old), "faults": faults, "values": {"note": note}, "general": general,
        "next": safe_next(request, ""),
    }  # fmt: skip
    return render(request, "chirr/correct.html", context, status=422 if faults else 200)


@door(OWNER)
@require_GET
def export(request: HttpRequest) -> HttpResponse:
    """The whole farm as a zip of plain files."""
    from chirr.desk import transfer

    today = datetime.fromtimestamp(time.time(), display.shown().zone).date()
    name = "".join(c if c.isalnum() else "-" for c in request.card.name.lower()).strip("-") or "farm"  # type: ignore[attr-defined]
    ascii_name = name.encode("ascii", "ignore").decode() or "farm"
    return HttpResponse(
        transfer.export_zip(), content_type="application/zip",
        headers={"Content-Disposition": f'attachment; filename="{ascii_name}-{today}.zip"'},
    )  # fmt: skip
