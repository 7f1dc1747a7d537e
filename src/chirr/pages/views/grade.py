"""How good the forecasts have been: the last grade of this book."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from chirr.pages.access import SEE, door


@door(SEE)
@require_GET
def grade(request: HttpRequest) -> HttpResponse:
    """The last grade, with its date, and how to renew it; nothing is worked out here."""
    from chirr.desk.grade_view import grade_view

    return render(request, "chirr/grade.html", {"view": grade_view()})
