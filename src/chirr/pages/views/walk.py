"""The run sheet: print the round, and type in what the pen wrote on it."""

from __future__ import annotations

from datetime import date, timedelta

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from chirr.desk import clock, counting, people, walk_sheet
from chirr.desk import pen_marks as desk
from chirr.desk.forms import FormFaults
from chirr.desk.labels import PAGES_MM, CannotPrint
from chirr.desk.spoken import again, day_words, say, say_n
from chirr.pages.access import SEE, WORK, actor, door, found
from chirr.pages.views.labels import PAPERS, addresses, pdf


@door(WORK)
@require_http_methods(["GET", "POST"])
def print_round(request: HttpRequest) -> HttpResponse:
    """Make a run sheet of today or of another day; those made last, to print again or to type in."""
    today = clock.today()
    if request.method == "POST":
        try:
            day = date.fromisoformat(request.POST.get("day") or today.isoformat())
            sheet = walk_sheet.make(day, actor=actor(request))
        except ValueError:
            messages.error(request, say("Choose a day for the sheet."))
        except CannotPrint as why:
            messages.error(request, again(why.says))
        else:
            request.session["paper"] = request.POST.get("page", "a4")
            return redirect("round-sheet", sheet.code)
        return redirect("round-print")
    recent = [desk.opened(kept.code) for kept, _ in walk_sheet.recent()[:8]]
    context = {
        "today": today, "tomorrow": today + timedelta(days=1), "recent": recent, "papers": PAPERS,
        "paper": request.session.get("paper", "a4"),
    }  # fmt: skip
    return render(request, "chirr/print_round.html", context)


@door(WORK)
@require_GET
def paper(request: HttpRequest, code: str) -> HttpResponse:
    """The run sheet as PDF; the same each time it is asked for at the same address."""
    (sheet, _), _ = found(request, walk_sheet.load, code)
    page = request.GET.get("page") or request.session.get("paper", "a4")
    try:
        printed = walk_sheet.pdf(sheet, address=addresses(request)[0], page=page if page in PAGES_MM else "a4")
    except CannotPrint as why:
        return render(request, "chirr/refused.html", {"words": again(why.says)}, status=503)
    for remark in printed.remarks:
        messages.warning(request, again(remark))
    return pdf(printed, f"round-{sheet.day}-{sheet.code}.pdf")


@door(SEE)
@require_http_methods(["GET", "POST"])
def type_in(request: HttpRequest, code: str) -> HttpResponse:
    """The sheet's lines in their order, to be ticked as on paper."""
    opened, may_write = found(request, desk.opened, code)
    values, faults = opened.marks.values, {}
    if request.method == "POST":
        values = {k: v for k, v in request.POST.items() if isinstance(v, str)}
        try:
            outcome = desk.type_in(code, values, actor=actor(request))
        except FormFaults as wrong:
            faults = wrong.faults
        else:
            _say(request, outcome)
            return redirect(reverse("round-sheet", args=[opened.sheet.code]))
    context = {
        "opened": opened, "sheet": opened.sheet, "values": values,
        "day": day_words(date.fromisoformat(opened.sheet.day), year=True),
        "faults": faults, "may_write": may_write,
        "people": [p.person for p, _ in people.everybody() if p.role in ("owner", "hand")],
        "me": actor(request).person, "lines": len(opened.sheet.lines),
    }  # fmt: skip
    return render(request, "chirr/walk_sheet.html", context, status=422 if faults else 200)


def _say(request: HttpRequest, outcome: desk.Outcome) -> None:
    if outcome.written:
        messages.success(request, say_n("{n} entry written.", "{n} entries written.", outcome.written))
    if outcome.held:
        many = len(outcome.held)
        messages.warning(
            request,
            say_n(
                "{n} line could not be written; the reason stands beside each, below.",
                "{n} lines could not be written; the reason stands beside each, below.",
                many,
            ),
        )
    if not outcome.written and not outcome.held:
        messages.info(request, say("Kept. Nothing new was ticked."))


@door(WORK)
@require_POST
def photo(request: HttpRequest, code: str) -> HttpResponse:
    """Keep a photograph of the marked sheet with it."""
    file = request.FILES.get("photo")
    try:
        if file is None:
            raise counting.CannotCount(say("Take or choose a picture of the sheet."))
        if file.size is None or file.size > counting.MOST_BYTES:
            raise counting.CannotCount(say("This picture is too large; give a plain photograph."))
        seen = desk.add_photo(code, file.read(), (file.name or "picture")[:60], actor=actor(request))
    except counting.CannotCount as why:
        messages.error(request, str(why))
    except LookupError as unknown:
        raise Http404(str(unknown)) from unknown
    else:
        _say_seen(request, seen)
    return redirect("round-sheet", code.upper())


def _say_seen(request: HttpRequest, seen: desk.Seen | None) -> None:
    messages.success(request, say("The photograph is kept with the sheet."))
    if seen is None:
        words = say(
            "Its boxes could not be read: show the whole page, with the marks at its corners, flat and evenly lit."
        )
        messages.info(request, words)
        return
    ticked = say_n("{n} box is ticked", "{n} boxes are ticked", len(seen.ticked))
    words = say("Page {page}: {ticked}. Look them over below, then write them.", page=seen.page, ticked=ticked)
    messages.info(request, words)
    if seen.doubtful:
        messages.warning(request, say("Hard to tell: {names}. Look at the paper.", names=", ".join(seen.doubtful)))
