"""People and their sign-ins: who they are, how they prove it, and how guessing is slowed."""

from __future__ import annotations

from typing import Any

from django.contrib.auth import authenticate, get_user_model, password_validation
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q

from chirr.book import actions, shelf
from chirr.book.models import FeedRow, PersonRow, SignInTry
from chirr.desk import devices
from chirr.desk.forms import FormFaults
from chirr.desk.spoken import say, say_n
from chirr.records import ROLES, Person

TRIES = 5
TRIES_FROM_ONE_ADDRESS = 30
TRY_WINDOW_S = 15 * 60


class TooManyTries(Exception):  # noqa: N818 - it is an answer, not a failure of the program
    """Sign-in has failed too often; `wait_s` seconds must pass."""

    def __init__(self, wait_s: int) -> None:
        minutes = max(1, -(-wait_s // 60))
        super().__init__(
            say_n(
                "Sign-in failed too often. Wait {n} minute, then try again.",
                "Sign-in failed too often. Wait {n} minutes, then try again.",
                minutes,
            )
        )
        self.wait_s = wait_s


class WrongNames(Exception):  # noqa: N818
    """Name and password do not belong together."""

    def __init__(self) -> None:
        super().__init__(say("Name and password do not belong together. Check both and try again."))


def person_of(user: Any) -> Person | None:
    """The person whose sign-in this is; None for an outsider."""
    if not user.is_authenticated:
        return None
    row = PersonRow.objects.filter(user=user).first()
    return None if row is None else Person(person=row.name, role=row.role, extra=row.extra)


def everybody() -> list[tuple[Person, bool]]:
    """All people, each with whether they have a sign-in."""
    rows = PersonRow.objects.all()
    return [(Person(person=p.name, role=p.role, extra=p.extra), p.user_id is not None) for p in rows]


def get(name: str) -> Person:
    """A person by name; LookupError when the farm has nobody of that name."""
    for person in shelf.people():
        if person.person == name:
            return person
    raise LookupError(say("Nobody on this farm is called {name}.", name=name))


def ensure_user(person: str) -> Any:
    """The sign-in of a person, made without a usable password if there is none yet."""
    row = PersonRow.objects.select_related("user").get(name=person)
    if row.user is None:
        users: Any = get_user_model().objects
        user = users.filter(username=person, person__isnull=True).first() or users.create_user(username=person)
        PersonRow.objects.filter(name=person).update(user=user)
        return user
    return row.user


def set_password(person: str, password: str, *, actor: Person) -> None:
    """Give a person a password: the owner for anybody, everybody for themselves.

    Raises FormFaults when the password is too easy to guess, LookupError when there is no such person.
    """
    if actor.person != person:
        actions.allow(actor, "owner")
    get(person)
    check_password(password)
    with transaction.atomic():
        devices.forget_proofs(person)
        user = ensure_user(person)
        user.set_password(password)
        user.is_active = True
        user.save()


def check_password(password: str) -> None:
    """Raise FormFaults unless a password is hard enough to guess."""
    try:
        password_validation.validate_password(password)
    except ValidationError as fault:
        raise FormFaults({"password": " ".join(fault.messages)}) from fault


def check_own_password(user: Any, password: str, *, field: str, address: str, now: int) -> None:
    """Raise FormFaults at `field` unless this is the user's present password.

    Wrong ones count as failed sign-ins: whoever finds a phone signed in may not guess on either.
    """
    key = user.get_username().casefold()[:150]
    try:
        _hold_back(key, address, now)
    except TooManyTries as wait:
        raise FormFaults({field: str(wait)}) from wait
    if not user.check_password(password):
        SignInTry.objects.create(at=now, name=key, address=address)
        raise FormFaults({field: say("This is not your present password.")})


def change_own_password(user: Any, old: str, new: str, *, address: str, now: int) -> None:
    """Change one's own password, knowing the old one."""
    check_own_password(user, old, field="old", address=address, now=now)
    person = person_of(user)
    if person is None:
        raise FormFaults({"old": say("You are not on the farm's list of people.")})
    set_password(person.person, new, actor=person)
    user.refresh_from_db()


def end_sign_in(person: str, *, actor: Person) -> None:
    """Take a person's sign-in away; their entries stay."""
    actions.allow(actor, "owner")
    if actor.person == person:
        raise FormFaults({"person": say("You cannot take away your own sign-in. Ask another owner.")})
    row = PersonRow.objects.select_related("user").filter(name=person).first()
    if row is not None and row.user is not None:
        devices.forget_proofs(person)
        FeedRow.objects.filter(person=row).delete()
        row.user.delete()


def save_person(name: str, role: str, *, actor: Person, new: bool = False) -> None:
    """Add a person or change their role."""
    name = name.strip()
    faults = {}
    if not name or len(name) > 60:
        faults["person"] = say("Give a name of up to 60 letters.")
    elif new and PersonRow.objects.filter(name__iexact=name).exists():
        faults["person"] = say("There is already somebody called {name}. Choose another name.", name=name)
    if role not in ROLES:
        faults["role"] = say("Choose owner, hand or reader.")
    if faults:
        raise FormFaults(faults)
    extra = {} if new else get(name).extra
    try:
        actions.set_person(Person(person=name, role=role, extra=extra), actor=actor)
    except actions.NotAllowed as refusal:
        raise FormFaults({"role": str(refusal)}) from refusal


def sign_in(request: Any, name: str, password: str, *, address: str, now: int) -> Any:
    """The user whose name and password these are.

    Raises TooManyTries after TRIES failures for one name from one address within TRY_WINDOW_S, or
    TRIES_FROM_ONE_ADDRESS for any names; WrongNames when the two do not belong together.
    """
    name = name.strip()[:150]
    key = name.casefold()[:150]
    _hold_back(key, address, now)
    row = PersonRow.objects.select_related("user").filter(Q(name=name) | Q(name__iexact=name)).first()
    username = row.user.get_username() if row is not None and row.user is not None else name
    user = authenticate(request, username=username, password=password)
    if user is None:
        SignInTry.objects.create(at=now, name=key, address=address)
        raise WrongNames
    SignInTry.objects.filter(name=key, address=address).delete()
    return user


def _hold_back(key: str, address: str, now: int) -> None:
    SignInTry.objects.filter(at__lte=now - TRY_WINDOW_S).delete()
    from_here = SignInTry.objects.filter(address=address).order_by("-at")
    for tries, most in ((from_here.filter(name=key), TRIES), (from_here, TRIES_FROM_ONE_ADDRESS)):
        times = list(tries.values_list("at", flat=True)[:most])
        if len(times) == most:
            raise TooManyTries(times[-1] + TRY_WINDOW_S - now)
