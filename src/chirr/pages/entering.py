"""Coming in on a device: each session belongs to one, and ends with it."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from django.contrib.auth import login, logout
from django.http import HttpRequest, HttpResponse

from chirr.book.models import DeviceRow
from chirr.desk import devices, people
from chirr.records import Person

COOKIE = "device"
COOKIE_DAYS = 400
"""Longer than browsers keep any cookie (400 days, from memory); renewed at each sign-in with the password."""
BACKEND = "django.contrib.auth.backends.ModelBackend"
Answer = Callable[[HttpRequest], HttpResponse]


class DeviceMiddleware:
    """Ends the sign-ins of an ended device, enrols a new one, and writes down when each was last heard of."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.user.is_authenticated:
            self._look(request)
        response = self.get_response(request)
        token = getattr(request, "device_token", None)
        if token:
            response.set_cookie(
                COOKIE, token, max_age=COOKIE_DAYS * 86400, httponly=True, samesite="Lax", secure=request.is_secure()
            )
        return response

    @staticmethod
    def _look(request: HttpRequest) -> None:
        person = people.person_of(request.user)
        if person is None:
            return
        known = request.session.get("device")
        device = devices.by_id(known) if known else _enrolled(request, person.person)
        if device is None:
            logout(request)
        else:
            devices.seen(device, person.person, int(time.time()))


def device_of(request: HttpRequest) -> DeviceRow | None:
    """The device that asks, signed in or not; None for one that is unknown or ended."""
    return devices.by_token(request.COOKIES.get(COOKIE))


def let_in(request: HttpRequest, user: Any) -> None:
    """Sign somebody in who gave their password; from now on their PIN counts on this device."""
    login(request, user)
    for key in ("by_pin", "device"):
        request.session.pop(key, None)
    prove(request)


def let_in_by_pin(request: HttpRequest, device: DeviceRow, name: str, pin: str) -> None:
    """Sign somebody in by PIN. Raises PinRefused, and leaves who is in where they are."""
    user = devices.come_in(device, name, pin)
    login(request, user, backend=BACKEND)
    request.session["device"] = device.id
    request.session["by_pin"] = True


def prove(request: HttpRequest) -> None:
    """Somebody has just given their password again."""
    person = people.person_of(request.user)
    if person is not None:
        _enrolled(request, person.person)


def others(device: DeviceRow | None, here: Person | None) -> list[str]:
    """Who else can come in by PIN on a device."""
    return [name for name in devices.may_come_in(device) if here is None or name != here.person]


def of_me(request: HttpRequest) -> dict[str, object]:
    """What the page of oneself shows of devices and PINs."""
    person = people.person_of(request.user)
    return {
        "has_pin": person is not None and devices.has_pin(person.person),
        "by_pin": by_pin(request),
    }


def by_pin(request: HttpRequest) -> bool:
    """Whether who is here came in by PIN."""
    return bool(request.session.get("by_pin"))


def _enrolled(request: HttpRequest, person: str) -> DeviceRow:
    """The device that asks, made known if it is not, with somebody who has just proved who they are."""
    device, token = device_of(request), request.COOKIES.get(COOKIE)
    if device is None:
        device, token = devices.enrol(request.headers.get("User-Agent", ""), int(time.time()))
    devices.proved(device, person)
    request.session["device"] = device.id
    request.device_token = token  # type: ignore[attr-defined]
    return device
