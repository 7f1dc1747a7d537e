"""People: the owner adds them, gives them a role and a password, or takes their sign-in away."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from chirr.desk import people
from chirr.desk.forms import FormFaults
from chirr.desk.spoken import say
from chirr.pages.access import OWNER, actor, door, found
from chirr.records import ROLES


@door(OWNER)
@require_http_methods(["GET", "POST"])
def person(request: HttpRequest, name: str | None = None) -> HttpResponse:
    """One person's role and password; without a name, a new person."""
    old = found(request, people.get, name)[0] if name is not None else None
    values = {"role": old.role if old else "hand"}
    faults: dict[str, str] = {}
    if request.method == "POST":
        values = {k: v for k, v in request.POST.items() if isinstance(v, str)}
        try:
            words = _save(request, values, name)
        except FormFaults as wrong:
            faults = wrong.faults
        else:
            messages.success(request, words)
            return redirect("farm")
    shown = {k: v for k, v in values.items() if k != "password"}
    context = {"old": old, "values": shown, "faults": faults, "roles": ROLES,
               "signs_in": any(p.person == name and has for p, has in people.everybody())}  # fmt: skip
    return render(request, "chirr/person.html", context, status=422 if faults else 200)


def _save(request: HttpRequest, values: dict[str, str], name: str | None) -> str:
    if name is not None and values.get("do") == "end":
        people.end_sign_in(name, actor=actor(request))
        return say("{name} can no longer sign in. Their entries stay.", name=name)
    who = name if name is not None else " ".join(values.get("person", "").split())
    with transaction.atomic():
        people.save_person(who, values.get("role", ""), actor=actor(request), new=name is None)
        if values.get("password"):
            people.set_password(who, values["password"], actor=actor(request))
    if who == actor(request).person and values.get("password"):
        request.user.refresh_from_db()  # type: ignore[union-attr]
        update_session_auth_hash(request, request.user)  # type: ignore[arg-type]
    return {
        "owner": say("{name} is an owner.", name=who), "hand": say("{name} is a hand.", name=who),
    }.get(values["role"], say("{name} is a reader.", name=who))  # fmt: skip
