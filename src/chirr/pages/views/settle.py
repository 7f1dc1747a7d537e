"""To settle: entries that contradict each other, side by side, and the ways to settle it."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from chirr.book.actions import NotAllowed
from chirr.desk import settle as desk
from chirr.desk.forms import FormFaults
from chirr.desk.spoken import say
from chirr.pages.access import SEE, WORK, actor, door
from chirr.pages.views import phone


@door(SEE)
@require_GET
def settle(request: HttpRequest) -> HttpResponse:
    """Both facts of each contradiction: who, when, what."""
    return render(request, "chirr/settle.html", {"open": desk.unsettled()})


@door(WORK)
@require_POST
def give_way(request: HttpRequest) -> HttpResponse:
    """Withdraw one entry because the other stands."""
    try:
        desk.give_way(
            request.POST.get("entry", ""), request.POST.get("stands", ""), actor=actor(request), now=phone.wall()
        )
    except (FormFaults, NotAllowed) as why:
        messages.error(request, str(why))
    else:
        messages.success(request, say("Settled. Both entries stay in the book; the one withdrawn is struck through."))
    return redirect("settle")


@door(WORK)
@require_POST
def both(request: HttpRequest) -> HttpResponse:
    """Both entries are right: two people did the work, each once."""
    try:
        desk.both_happened(
            request.POST.get("first", ""), request.POST.get("second", ""), actor=actor(request), now=phone.wall()
        )
    except (FormFaults, NotAllowed) as why:
        messages.error(request, str(why))
    else:
        messages.success(request, say("Settled: both happened, and both count."))
    return redirect("settle")
