"""How long to leave a tray in, and how many trays a bin deserves."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from chirr.desk.forms import FormFaults, Sheet
from chirr.pages.access import SEE, door


@door(SEE)
@require_GET
def laying(request: HttpRequest) -> HttpResponse:
    """The curve of each tray type, for a bin of as many adults as asked, or of the usual number."""
    from chirr.desk import laying as desk

    values = {k: v for k, v in request.GET.items() if isinstance(v, str)}
    sheet = Sheet(values)
    adults = sheet.number("adults", 1, desk.MOST_ADULTS)
    faults: dict[str, str] = {}
    try:
        sheet.done()
    except FormFaults as wrong:
        faults, adults = wrong.faults, None
    view, charts = desk.laying_page(adults=adults)
    context = {
        "view": view, "types": list(zip(view.types, charts, strict=True)), "values": values, "faults": faults,
    }  # fmt: skip
    return render(request, "chirr/laying.html", context, status=422 if faults else 200)
