"""Signing in and out, one's own password, and how the pages look."""

from __future__ import annotations

import time

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout, update_session_auth_hash
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_http_methods, require_POST

from chirr.desk import devices, people
from chirr.desk.forms import FormFaults
from chirr.desk.spoken import say
from chirr.pages import display, entering
from chirr.pages.access import ALWAYS, OPEN, OWN, door

YEAR_S = 365 * 24 * 3600


def safe_next(request: HttpRequest, otherwise: str = "round") -> str:
    """Where a form says to go on to, if that is a page of ours."""
    where = request.POST.get("next") or request.GET.get("next") or ""
    if where.startswith("/") and url_has_allowed_host_and_scheme(where, allowed_hosts={request.get_host()}):
        return where
    return otherwise


@door(OPEN)
def home(_request: HttpRequest) -> HttpResponse:
    """The round is the first thing to see."""
    return redirect("round")


@door(OPEN)
@require_http_methods(["GET", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    """Name and password; a plain sentence and the wait when guessing."""
    name, fault, status = "", "", 200
    if request.method == "POST":
        name = request.POST.get("name", "")
        try:
            user = people.sign_in(
                request, name, request.POST.get("password", ""),
                address=request.META.get("REMOTE_ADDR", ""), now=int(time.time()),
            )  # fmt: skip
        except people.TooManyTries as wait:
            fault, status = str(wait), 429
        except people.WrongNames as wrong:
            fault, status = str(wrong), 422
        else:
            entering.let_in(request, user)
            return redirect(safe_next(request))
    elif request.user.is_authenticated and "again" not in request.GET:
        return redirect("round")
    context = {"name": name, "fault": fault, "next": safe_next(request, ""),
               "offered": devices.may_come_in(entering.device_of(request))}  # fmt: skip
    return render(request, "chirr/sign_in.html", context, status=status)


@door(OPEN)
@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    return redirect("sign-in")


@door(OWN)
@require_http_methods(["GET", "POST"])
def me(request: HttpRequest) -> HttpResponse:
    """One's own password, units and light."""
    faults: dict[str, str] = {}
    if request.method == "POST":
        new = request.POST.get("password", "")
        try:
            if new != request.POST.get("password_again", ""):
                raise FormFaults({"password_again": say("The two passwords differ. Type the same one twice.")})
            people.change_own_password(
                request.user, request.POST.get("old", ""), new,
                address=request.META.get("REMOTE_ADDR", ""), now=int(time.time()),
            )  # fmt: skip
        except FormFaults as wrong:
            faults = wrong.faults
        else:
            update_session_auth_hash(request, request.user)  # type: ignore[arg-type]
            entering.prove(request)
            messages.success(request, say("Your password is changed."))
            return redirect("me")
    context = {"faults": faults, **entering.of_me(request)}
    return render(request, "chirr/me.html", context, status=422 if faults else 200)


@door(ALWAYS)
@require_POST
def look(request: HttpRequest) -> HttpResponse:
    """Light or dark, metric or imperial: kept in a cookie of this device."""
    response = redirect(safe_next(request))
    for name, allowed in (
        ("theme", display.THEMES),
        ("units", display.UNIT_SYSTEMS),
        ("language", dict(settings.LANGUAGES)),
        *display.DEVICE.items(),
    ):
        if (value := request.POST.get(name, "")) in allowed:
            response.set_cookie(name, value, max_age=YEAR_S, samesite="Lax", httponly=True, secure=request.is_secure())
    return response
