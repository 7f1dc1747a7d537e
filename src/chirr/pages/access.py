"""Who may come in: each view declares its door, and the middleware keeps it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from chirr.records import ROLES, Person

View = TypeVar("View", bound=Callable[..., HttpResponse])


class Door(NamedTuple):
    """`roles` may look (GET), `writers` also do (POST). `anyone`: without sign-in; `always`: even without a farm."""

    roles: tuple[str, ...] = ROLES
    writers: tuple[str, ...] = ("owner", "hand")
    anyone: bool = False
    always: bool = False


SEE = Door()
"""Everybody with a sign-in looks, owner and hands write."""
OWN = Door(writers=ROLES)
"""Everybody, for what concerns themselves alone."""
WORK = Door(roles=("owner", "hand"))
"""Owner and hands only."""
OWNER = Door(roles=("owner",), writers=("owner",))
OPEN = Door(anyone=True)
ALWAYS = Door(anyone=True, always=True)


def door(where: Door) -> Callable[[View], View]:
    """Declare who may enter a view."""

    def hang(view: View) -> View:
        view.door = where  # type: ignore[attr-defined]
        return view

    return hang


def door_of(view: Callable[..., Any]) -> Door | None:
    """The door a view declares; None when it declares none."""
    return getattr(view, "door", None)


def actor(request: HttpRequest) -> Person:
    """The person who asks; the middleware has made sure that there is one."""
    person: Person | None = getattr(request, "person", None)
    if person is None:
        raise Http404
    return person


def found(request: HttpRequest, get: Callable[[str], Any], name: str) -> tuple[Any, bool]:
    """A thing of the farm by name, and whether the person who asks may write about it; 404 when there is none."""
    try:
        thing = get(name)
    except LookupError as fault:
        raise Http404(str(fault)) from fault
    return thing, actor(request).role in SEE.writers


def refuse(request: HttpRequest, words: str, status: int = 403) -> HttpResponse:
    """A plain page that says why not."""
    return render(request, "chirr/refused.html", {"words": words}, status=status)
