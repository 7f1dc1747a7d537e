"""The hand-over sheet: who is away, for which days, and one page to print for the stand-in."""

from __future__ import annotations

from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from chirr.desk import clock
from chirr.desk import hand_over as desk
from chirr.desk.spoken import say
from chirr.pages.access import SEE, actor, door

USUAL_DAYS = 7


@door(SEE)
@require_GET
def hand_over(request: HttpRequest) -> HttpResponse:
    """The form, and the sheet beneath it; without days, the week from today on."""
    today = clock.today()
    fault, sheet = "", None
    first, last = today, today + timedelta(days=USUAL_DAYS - 1)
    try:
        first = _day(request.GET.get("first"), first)
        last = _day(request.GET.get("last"), first + timedelta(days=USUAL_DAYS - 1))
        sheet = desk.hand_over(first, last)
    except ValueError as wrong:
        fault = str(wrong)
    away = " ".join(request.GET.get("away", actor(request).person).split())[:60]
    context = {"sheet": sheet, "first": first, "last": last, "away": away, "fault": fault, "today": today}
    return render(request, "chirr/hand_over.html", context, status=422 if fault else 200)


def _day(text: str | None, otherwise: date) -> date:
    if not text:
        return otherwise
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError(say("'{text}' is not a day; write it as 2031-02-28.", text=text[:20])) from None
