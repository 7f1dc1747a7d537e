"""Breeders: when each lot has had its day, and who follows."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from chirr.pages.access import SEE, door


@door(SEE)
@require_GET
def breeders(request: HttpRequest) -> HttpResponse:
    """Every breeding lot, the soonest to retire first; of one bin with `?bin=`."""
    from chirr.desk import breeders as desk

    name = request.GET.get("bin") or None
    context = {"lots": desk.breeders(bin=name), "ages": desk.ages_of_laying(), "bin": name}
    return render(request, "chirr/breeders.html", context)
