"""The hours: where the week's go, what it would take otherwise, and what limits the farm."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from chirr.pages.access import SEE, door


@door(SEE)
@require_GET
def hours(request: HttpRequest) -> HttpResponse:
    """Pictures of the week's hours, and the four things that may limit the farm."""
    from chirr.desk.belief import beliefs
    from chirr.desk.hours_view import hours_view

    try:
        view = hours_view(beliefs())
    except LookupError:
        view = None
    return render(request, "chirr/hours.html", {"view": view})
