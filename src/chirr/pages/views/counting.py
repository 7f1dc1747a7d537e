"""Counting on a photograph: take it, look over the marks, write the count."""

from __future__ import annotations

from statistics import median
from urllib.parse import urlencode

import msgspec
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from chirr.desk import clock, counting, from_wall, photos, sampling
from chirr.desk.forms import FormFaults, Sheet
from chirr.desk.numbers_read import shown_number
from chirr.desk.spoken import say, term
from chirr.pages.access import SEE, WORK, actor, door, found
from chirr.pages.views.sign import safe_next

SIDE_CM = (0.5, 1000.0)
"""Least and most length that a photograph may show."""


@door(WORK)
@require_http_methods(["GET", "POST"])
def take(request: HttpRequest) -> HttpResponse:
    """Choose or take a photograph of a clutch's wall or of a lot's tray."""
    given = request.POST if request.method == "POST" else request.GET
    values = {k: v for k, v in given.items() if isinstance(v, str)}
    values.setdefault("what", "eggs" if values.get("clutch") else "pinheads")
    if "side_cm" not in values:
        tray = photos.tray_type_of(values.get("clutch"))
        values["side_cm"] = shown_number(tray.clear_side_cm) if tray and tray.clear_side_cm else ""
    faults: dict[str, str] = {}
    if request.method == "POST":
        try:
            kept = _kept(request, values)
        except FormFaults as wrong:
            faults = wrong.faults
        else:
            back = safe_next(request, "")
            more = f"?{urlencode({'next': back})}" if back else ""
            return redirect(reverse("count-marks", args=[kept.id]) + more)
    context = {
        "values": values,
        "faults": faults,
        "whats": [(w, term("unit", w)) for w in counting.WHATS],
        "next": safe_next(request, ""),
    }
    return render(request, "chirr/count.html", context, status=422 if faults else 200)


def _kept(request: HttpRequest, values: dict[str, str]) -> photos.KeptPhoto:
    sheet = Sheet(values)
    what = sheet.choice("what", counting.WHATS, say("Say what is on the picture."))
    side_cm = sheet.number("side_cm", *SIDE_CM)
    clutch, lot = sheet.text("clutch"), sheet.text("lot")
    file = request.FILES.get("photo")
    if file is None:
        sheet.faults["photo"] = say("Take or choose a picture.")
    elif file.size is None or file.size > counting.MOST_BYTES:
        sheet.faults["photo"] = say("This picture is too large; give a plain photograph.")
    sheet.done()
    assert file is not None  # noqa: S101  done() has raised otherwise
    try:
        return photos.keep(
            file.read(), name=(file.name or "picture")[:60], what=what or "eggs", at=clock.now(),
            person=actor(request).person, clutch=clutch, lot=lot, side_cm=side_cm,
        )  # fmt: skip
    except counting.CannotCount as error:
        raise FormFaults({"photo": str(error)}) from error


@door(WORK)
@require_GET
def sample(request: HttpRequest) -> HttpResponse:
    """Weigh and count, cups, squares, dead, packing: worked out as it is filled in; nothing is written here."""
    values = {k: v for k, v in request.GET.items() if isinstance(v, str)}
    values["way"] = next((way for way in sampling.WAYS if way == values.get("way")), "weigh")
    clutch, tray = values.get("clutch"), photos.tray_type_of(values.get("clutch"))
    values.setdefault("unit", "eggs" if clutch else "crickets")
    if tray is not None:
        values.setdefault("tray_cm2", shown_number(tray.length_cm * tray.width_cm))
    faults: dict[str, str] = {}
    worked = None
    try:
        worked = sampling.worked_out(values)
    except FormFaults as wrong:
        faults = wrong.faults
    back = safe_next(request, "")
    entry = urlencode(worked.values | ({"next": back} if back else {})) if worked and worked.values else ""
    kept = {k: values[k] for k in ("lot", "clutch", "unit", "next") if values.get(k)}
    context = {
        "values": values, "faults": faults, "worked": worked, "next": back,
        "units": [(u, term("unit", u)) for u in sampling.UNITS],
        "add": f"{reverse('add')}?{entry}" if entry else "", "rows": _rows(values),
        "ways": [(way, f"{reverse('count-sample')}?{urlencode(kept | {'way': way})}") for way in sampling.WAYS],
    }  # fmt: skip
    whole = "chirr/parts/sampled.html" if "part" in request.GET else "chirr/count_sample.html"
    return render(request, whole, context, status=422 if faults and "part" not in request.GET else 200)


def _rows(values: dict[str, str]) -> dict[str, object]:
    """Numbers of the samples: the first few, and the others, folded away until one of them is filled."""
    more = range(5, sampling.MOST_ROWS + 1)
    return {
        "first": range(1, 5), "more": more, "all": range(1, sampling.MOST_ROWS + 1),
        "open": any(values.get(f"{name}_{i}") for i in more for name in ("count", "mass")),
    }  # fmt: skip


@door(WORK)
@require_http_methods(["GET", "POST"])
def marks(request: HttpRequest, photo_id: str) -> HttpResponse:
    """The picture with its marks: tap to correct them, then write the count."""
    kept, _ = found(request, photos.load, photo_id)
    faults: dict[str, str] = {}
    typed = shown_number(kept.side_cm) if kept.side_cm else ""
    if request.method == "POST":
        values = {k: v for k, v in request.POST.items() if isinstance(v, str)}
        sheet = Sheet(values)
        side_cm, faults = sheet.number("side_cm", *SIDE_CM), sheet.faults
        kept = photos.corrected(kept, values, None if faults else side_cm)  # a wrong length loses no mark
        kept = msgspec.structs.replace(kept, gone_over=kept.gone_over or "scale" not in request.POST)
        photos.save(kept)
        typed = values.get("side_cm", "")
        if "scale" not in request.POST and not faults:
            back = safe_next(request, "")
            more = {"next": back} if back else {}
            return redirect(f"{reverse('add')}?{urlencode(from_wall.deed_values(kept) | more)}")
    context = {
        "kept": kept, "answer": kept.answer, "guess": from_wall.tray_guess(kept), "next": safe_next(request, ""),
        "marks": [
            (i, m, m.doubt < kept.answer.cut, _state(kept, i, m.doubt), m.length / 2 + 1, m.width / 2 + 1)
            for i, m in enumerate(kept.answer.marks)
        ],
        "usual": round(median([m.length for m in kept.answer.marks] or [0])),
        "reach": max(6, round(kept.answer.width_px / 150)), "added": " ".join(f"{x:g},{y:g}" for x, y in kept.added),
        "ends": " ".join(f"{x:g},{y:g}" for x, y in kept.ends or ()), "off": " ".join(map(str, kept.off)),
        "on": " ".join(map(str, kept.on)), "values": {"side_cm": typed}, "faults": faults,
    }  # fmt: skip
    return render(request, "chirr/count_marks.html", context, status=422 if faults else 200)


def _state(kept: photos.KeptPhoto, number: int, doubt: float) -> str:
    if number in kept.on or (doubt < kept.answer.cut and number not in kept.off):
        return "counted"
    return "doubted" if doubt >= kept.answer.cut else "off"


@door(SEE)
@require_GET
def picture(request: HttpRequest, photo_id: str) -> HttpResponse:
    """The kept picture itself."""
    data, _ = found(request, photos.picture_bytes, photo_id)
    return HttpResponse(data, content_type="image/jpeg", headers={"Cache-Control": "private, max-age=86400"})
