"""To settle: entries that contradict each other, side by side, and the ways to settle it."""

from __future__ import annotations

from collections.abc import Callable

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
    done = say("Settled. Both entries stay in the book; the one withdrawn is struck through.")
    return _settle(request, desk.give_way, ("entry", "stands"), done)


@door(WORK)
@require_POST
def both(request: HttpRequest) -> HttpResponse:
    """Both entries are right: two people did the work, each once."""
    return _settle(request, desk.both_happened, ("first", "second"), say("Settled: both happened, and both count."))


def _settle(request: HttpRequest, settle_by: Callable[..., object], fields: tuple[str, str], done: str) -> HttpResponse:
    """Settle two entries that a form names, say how it went, and show what is left."""
    one, other = (request.POST.get(field, "") for field in fields)
    try:
        settle_by(one, other, actor=actor(request), now=phone.wall())
    except (FormFaults, NotAllowed) as why:
        messages.error(request, str(why))
    else:
        messages.success(request, done)
    return redirect("settle")
