"""Set up a phone: the code to scan, the signs to compare, the steps, what the trust means and how to take it back."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from chirr.desk import reach
from chirr.pages.access import SEE, door


@door(SEE)
@require_GET
def phone(request: HttpRequest) -> HttpResponse:
    """How a phone reaches the farm; while it is not served to its network, how to do that."""
    return render(request, "chirr/phone.html", {"reach": reach.of_book(settings.FARM_PATH, settings.LAN)})
