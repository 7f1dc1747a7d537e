"""Calendar feeds: making and ending them, and the file that a calendar program reads."""

from __future__ import annotations

import time

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import get_language
from django.views.decorators.http import require_GET, require_http_methods

from chirr.desk import feeds
from chirr.desk.forms import FormFaults
from chirr.desk.spoken import say
from chirr.pages.access import OPEN, WORK, actor, door

_FRESH = "fresh_feed"


@door(WORK)
@require_http_methods(["GET", "POST"])
def calendars(request: HttpRequest) -> HttpResponse:
    """One's own feeds; the address of a new one is shown once."""
    faults: dict[str, str] = {}
    if request.method == "POST":
        try:
            if request.POST.get("do") == "end":
                name = feeds.end(request.POST.get("feed", ""), actor=actor(request))
                messages.success(request, say("{name} is ended: its address answers nobody any more.", name=name))
            else:
                token = feeds.make(
                    request.POST.get("name", ""), request.POST.get("language", get_language() or ""),
                    actor=actor(request), now=int(time.time()),
                )  # fmt: skip
                request.session[_FRESH] = request.build_absolute_uri(reverse("calendar", args=[token]))
            return redirect("calendars")
        except LookupError as missing:
            raise Http404(str(missing)) from missing
        except FormFaults as wrong:
            faults = wrong.faults
    fresh = request.session.pop(_FRESH, "")
    values = {"language": get_language(), **request.POST.dict()}
    context = {"feeds": feeds.shown_to(actor(request)), "fresh": fresh, "faults": faults, "values": values}
    return render(request, "chirr/calendars.html", context, status=422 if faults else 200)


@door(OPEN)
@require_GET
def calendar(request: HttpRequest, token: str) -> HttpResponse:
    """The feed itself: whoever knows the address reads it, and nobody else."""
    file = feeds.read(token, now=int(time.time()), base=request.build_absolute_uri("/"))
    if file is None:
        raise Http404
    return HttpResponse(
        file, content_type="text/calendar; charset=utf-8",
        headers={"Content-Disposition": 'inline; filename="farm.ics"', "Cache-Control": "private, no-store"},
    )  # fmt: skip
