"""What every request passes through: the content policy, and the farm with the person who asks."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware
from django.shortcuts import redirect, render
from django.urls import reverse

from chirr.desk import devices, farm, learning, people
from chirr.desk.spoken import say, term
from chirr.pages import display, entering
from chirr.pages.access import Door, door_of

Answer = Callable[[HttpRequest], HttpResponse]

AGAIN_S = 3
"""A page that waits for the first belief asks for itself again after so many seconds."""


class SqueezeMiddleware(GZipMiddleware):
    """Sends text in a tenth of its size, pages and scripts alike; pictures and papers are as small as they get.

    Django's own adds a random length to each page, and the tokens in them change every time, so that their size tells
    nothing (the attack known as BREACH).
    """

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        kind = response.headers.get("Content-Type", "")
        squeezable = kind.startswith("text/") or "json" in kind or "javascript" in kind or "svg" in kind
        return super().process_response(request, response) if squeezable else response


class ContentPolicyMiddleware:
    """Says to the browser what a page may load: our own files and nothing else."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response
        self.policy = "; ".join(f"{name} {' '.join(sources)}" for name, sources in settings.SECURE_CSP.items())

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", self.policy)
        response.headers.setdefault("Permissions-Policy", "camera=(self), geolocation=(), microphone=()")
        return response


class FarmMiddleware:
    """Puts the farm card and the person on the request, and keeps every door that a view declares.

    A view that declares no door is shut: forgetting to say who may enter lets nobody in.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.card = farm.card()  # type: ignore[attr-defined]
        request.person = devices.as_came_in(  # type: ignore[attr-defined]
            people.person_of(request.user), by_pin=entering.by_pin(request)
        )
        with display.shown_as(request):
            response = self.get_response(request)
        if "Cookie" not in response.get("Vary", ""):
            response["Vary"] = ", ".join(filter(None, (response.get("Vary"), "Cookie")))
        if not response.has_header("Cache-Control"):
            response["Cache-Control"] = "private, no-cache"
        return response

    def process_exception(self, request: HttpRequest, told: Exception) -> HttpResponse | None:
        """Where there is no belief yet, what is known without one, and the page itself as soon as there is."""
        if not isinstance(told, learning.StillLearning):
            return None
        again = request.method == "GET"
        context = {"again": again, "seconds": AGAIN_S, "rooms": learning.as_it_stands() if again else ()}
        response = render(request, "chirr/learning.html", context, status=503)
        response["Retry-After"], response["Cache-Control"] = str(AGAIN_S), "no-store"
        return response

    def process_view(
        self, request: HttpRequest, view: Callable[..., HttpResponse], _args: Any, _kwargs: Any
    ) -> HttpResponse | None:
        door = door_of(view)
        if door is not None and door.always:
            return None
        if request.card is None:  # type: ignore[attr-defined]
            return _go(request, reverse("set-up"))
        if door is not None and door.anyone:
            return None
        if not request.user.is_authenticated:
            return _go(
                request, f"{reverse('sign-in')}?next={request.path}" if request.method == "GET" else reverse("sign-in")
            )
        return _refusal(request, door)


def _refusal(request: HttpRequest, door: Door | None) -> HttpResponse | None:
    person = request.person  # type: ignore[attr-defined]
    if person is None:
        words = say("You are signed in, but the farm's list of people does not name you. Ask the owner to add you.")
        return render(request, "chirr/refused.html", {"words": words}, status=403)
    if door is None or person.role not in (door.roles if request.method in ("GET", "HEAD") else door.writers):
        for_owner = door is not None and door.roles == ("owner",)
        words = (
            say("This is for the owner.")
            if for_owner
            else say("A {role} may not do this. Ask the owner.", role=term("role", person.role))
        )
        context = {"words": words, "by_pin": for_owner and entering.by_pin(request)}
        return render(request, "chirr/refused.html", context, status=403)
    return None


def _go(request: HttpRequest, where: str) -> HttpResponse:
    """Send the browser on; a part of a page that was asked for by htmx takes the whole page with it."""
    if request.headers.get("HX-Request") == "true":
        return HttpResponse(status=204, headers={"HX-Redirect": where})
    return redirect(where)
