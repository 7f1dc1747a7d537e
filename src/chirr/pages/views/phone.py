"""What the phone's own part asks for: worker, pocket, who is signed in, and where entries go up."""

from __future__ import annotations

import time
from hashlib import sha256

import msgspec
from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from chirr.book.actions import NotAllowed
from chirr.desk import phone
from chirr.desk.spoken import say
from chirr.pages import assets, display, pocket
from chirr.pages.access import ALWAYS, OPEN, SEE, WORK, actor, door

MOST_BYTES = 2_000_000
_decode = msgspec.json.Decoder(phone.Sending).decode


def wall() -> int:
    """The clock on the wall of the farm's computer [epoch s]; the book's own time may be ahead of it."""
    return int(time.time())


def _language(request: HttpRequest) -> str:
    """The language that the address asks for; browsers fetch a worker, and it the shell, without the cookie of it."""
    from django.utils.translation import get_language

    asked = request.GET.get("language", "")
    return asked if asked in dict(settings.LANGUAGES) else get_language() or settings.LANGUAGE_CODE


@door(ALWAYS)
@require_GET
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker: a few lines that name the version and its files; the rest is in js/worker.js."""
    language = _language(request)
    told = msgspec.json.encode(
        {
            "version": f"{assets.version()}-{language}", "shell": f"{reverse('phone-shell')}?language={language}",
            "statics": static("").rstrip("/") + "/", "files": [static(path) for path in assets.kept_on_phones()],
        }
    ).decode()  # fmt: skip
    script = f'import {{ serve }} from "{static("chirr/js/worker.js")}";\nserve({told});\n'
    return HttpResponse(script, content_type="text/javascript", headers={"Cache-Control": "no-cache"})


@door(ALWAYS)
@require_GET
def manifest(request: HttpRequest) -> HttpResponse:
    """What a phone needs to know to put the pages among its programs."""
    card = getattr(request, "card", None)
    icon = {"src": static("chirr/icon.svg"), "sizes": "any", "type": "image/svg+xml", "purpose": "any"}
    told = {
        "name": f"{card.name}: Chirr" if card else "Chirr", "short_name": "Chirr", "id": "/", "start_url": "/round",
        "scope": "/", "display": "standalone", "background_color": "#191410", "theme_color": "#191410",
        "icons": [icon, icon | {"purpose": "maskable"}],
    }  # fmt: skip
    return JsonResponse(told, content_type="application/manifest+json")


@door(OPEN)
@require_GET
def shell(request: HttpRequest) -> HttpResponse:
    """The empty page that the phone fills from its own store when nobody answers; the worker asks for it unsigned."""
    from django.utils.translation import override

    with override(_language(request)):
        return render(request, "chirr/shell.html", {"shell": True})


@door(SEE)
@require_GET
def waiting(request: HttpRequest) -> HttpResponse:
    """What waits on this phone; the page is drawn by the phone."""
    return render(request, "chirr/shell.html", {"shell": True})


@door(OPEN)
@require_GET
def now(request: HttpRequest) -> HttpResponse:
    """The farm's time, who is signed in here, and the token that a sending needs.

    With `last`, the entry that the book took last from this phone, whether it still `has` it: a book that was put back
    to an older copy has not.
    """
    person = getattr(request, "person", None)
    told = {
        "now": wall(), "person": person.person if person else None, "role": person.role if person else None,
        "csrf": get_token(request) if person else None, "version": assets.version(),
    }  # fmt: skip
    if person:
        told |= {"book": phone.first_entry(), "has": phone.has(last) if (last := request.GET.get("last")) else None}
    return JsonResponse(told, headers={"Cache-Control": "no-store"})


@door(SEE)
@require_GET
def pocket_(request: HttpRequest) -> HttpResponse:
    """What the phone carries; 304 while nothing in it has changed."""
    from django.utils.translation import get_language

    from chirr.desk import pocket as desk

    who = actor(request)
    units = display.shown().units
    state = f"{desk.state()} {who.person} {who.role} {units} {get_language()} {assets.version()}"
    tag = f'W/"{sha256(state.encode()).hexdigest()[:20]}"'
    headers = {"ETag": tag, "Cache-Control": "no-store"}
    if request.headers.get("If-None-Match") == tag:
        return HttpResponse(status=304, headers=headers)
    told = pocket.as_json(desk.pocket(), units=units, may_write=who.role in phone.WRITERS)
    told |= {"person": who.person, "role": who.role, "farm": request.card.name}  # type: ignore[attr-defined]
    return HttpResponse(msgspec.json.encode(told), content_type="application/json", headers=headers)


@door(WORK)
@require_POST
def entries(request: HttpRequest) -> HttpResponse:
    """Take what a phone gathered; each entry is answered on its own."""
    if len(request.body) > MOST_BYTES:
        return _no(say("Too much at once. Send fewer entries."), 413)
    try:
        sending = _decode(request.body)
    except msgspec.MsgspecError as wrong:
        return _no(say("This sending cannot be read: {wrong}.", wrong=str(wrong)), 422)
    try:
        answers = phone.take(sending, actor=actor(request), now=wall())
    except NotAllowed as why:
        return _no(str(why), 403)
    return HttpResponse(
        msgspec.json.encode({"now": wall(), "answers": answers}), content_type="application/json",
        headers={"Cache-Control": "no-store"},
    )  # fmt: skip


def _no(words: str, status: int) -> HttpResponse:
    return JsonResponse({"why": words}, status=status)
