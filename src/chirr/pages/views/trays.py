"""The Trays: every clutch from laid to emptied, and the substrate batches with their uses."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET

from chirr.pages.access import SEE, door

ORDER = ("overdue", "hatching", "window open", "waiting", "laying", "hatched", "emptied")
SAYS = {
    "overdue": _("Overdue: look for mould or dry substrate"), "hatching": _("Hatching now"),
    "window open": _("Window open: look for pinheads"), "waiting": _("Waiting"), "laying": _("Still being laid in"),
    "hatched": _("Hatched, to be emptied"), "emptied": _("Emptied"),
}  # fmt: skip
SHAPES = {
    "overdue": "overdue", "hatching": "hatching", "window open": "open", "waiting": "soon", "laying": "breeding",
    "hatched": "nursery", "emptied": "empty",
}  # fmt: skip


@door(SEE)
@require_GET
def trays(request: HttpRequest) -> HttpResponse:
    """Clutches by state, the most pressing first."""
    from chirr.desk import trays as desk

    finished = request.GET.get("finished") == "1"
    view = desk.trays(finished=finished)
    states = [*ORDER, *sorted({c.state for c in view.clutches} - set(ORDER))]
    groups = [
        (state, SAYS.get(state, state), SHAPES.get(state, "due"), [c for c in view.clutches if c.state == state])
        for state in states
    ]
    context = {"view": view, "groups": [g for g in groups if g[3]], "finished": finished}
    return render(request, "chirr/trays.html", context)
