"""Devices on which people have signed in, and coming in by PIN where several share one.

A PIN is short, so it opens little: only on a device on which that person has signed in with the password before, five
wrong ones shut it there until they do so again, and an owner who comes in by PIN may do what a hand may.
"""

from __future__ import annotations

import re
import secrets
from hashlib import sha256
from itertools import pairwise
from typing import Any

import msgspec
from django.contrib.auth.hashers import check_password, make_password
from django.db import OperationalError, connection, transaction
from django.db.models import F
from django.utils.crypto import salted_hmac
from uuid_utils.compat import uuid4

from chirr.book import actions
from chirr.book.models import DevicePersonRow, DeviceRow, PersonRow, PinRow
from chirr.desk.forms import FormFaults
from chirr.desk.spoken import again, say, say_n
from chirr.records import Person
from chirr.says import word

WRONG_PINS = 5
PIN_DIGITS = (4, 8)
SEEN_EVERY_S = 60
"""Last contact is written down at most so often."""


class PinRefused(Exception):  # noqa: N818 - it is an answer, not a failure of the program
    """The PIN does not let this person in here; the text says why."""


class DeviceShown(msgspec.Struct, frozen=True, kw_only=True):
    """A device as the owner sees it; `people` may come in by PIN on it, `shut` only by password."""

    id: str
    name: str
    made_at: int
    last_at: int
    last_person: str
    people: tuple[str, ...]
    shut: tuple[str, ...]


# --- the device --------------------------------------------------------------------------------------------------


def by_token(token: str | None) -> DeviceRow | None:
    """The device whose cookie this is; None for an unknown or an ended one."""
    return DeviceRow.objects.filter(token=_hashed(token), ended_at=None).first() if token else None


def by_id(device_id: str) -> DeviceRow | None:
    """A device by its id; None for an unknown or an ended one."""
    return DeviceRow.objects.filter(id=device_id, ended_at=None).first()


def enrol(agent: str, now: int) -> tuple[DeviceRow, str]:
    """A new device and the token for its cookie. agent: what the browser calls itself."""
    token = secrets.token_urlsafe(32)
    row = DeviceRow.objects.create(
        id=str(uuid4()), token=_hashed(token), name=called(agent), made_at=now, last_at=now
    )  # fmt: skip
    return row, token


def proved(device: DeviceRow, person: str) -> None:
    """Somebody has signed in on a device with their password: their PIN counts there, whatever was typed before."""
    DevicePersonRow.objects.update_or_create(device=device, person_id=person, defaults={"wrong": 0})


def seen(device: DeviceRow, person: str, now: int) -> None:
    """Write down the last contact; passed over when the book is busy, so that no page waits for it."""
    if now - device.last_at < SEEN_EVERY_S and device.last_person == person:
        return
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA busy_timeout")
        patience = cursor.fetchone()[0]
        cursor.execute("PRAGMA busy_timeout = 0")
        try:
            DeviceRow.objects.filter(id=device.id).update(last_at=now, last_person=person)
        except OperationalError:
            pass
        finally:
            cursor.execute(f"PRAGMA busy_timeout = {int(patience)}")


def everything(*, actor: Person) -> list[DeviceShown]:
    """All devices that have not been ended, the one last heard of first."""
    actions.allow(actor, "owner")
    with_pin = set(PinRow.objects.values_list("person_id", flat=True))
    shown = []
    for d in DeviceRow.objects.filter(ended_at=None).order_by("-last_at").prefetch_related("people"):
        known = [(p.person_id, p.wrong) for p in d.people.all() if p.person_id in with_pin]
        shown.append(
            DeviceShown(
                id=d.id, name=_shown(d.name), made_at=d.made_at, last_at=d.last_at, last_person=d.last_person,
                people=tuple(sorted(p for p, wrong in known if wrong < WRONG_PINS)),
                shut=tuple(sorted(p for p, wrong in known if wrong >= WRONG_PINS)),
            )
        )  # fmt: skip
    return shown


def rename(device_id: str, name: str, *, actor: Person) -> None:
    """Give a device a name that people know it by."""
    actions.allow(actor, "owner")
    name = " ".join(name.split())
    if not name or len(name) > 60:
        raise FormFaults({"name": say("Give a name of up to 60 letters.")})
    DeviceRow.objects.filter(id=device_id).update(name=name)


def end(device_id: str, *, actor: Person, now: int) -> str:
    """End a device: every sign-in on it is over, and no PIN counts there. Gives its name.

    What it still keeps of the farm's pages stays on it until its browser is cleared; it gets nothing new.
    """
    actions.allow(actor, "owner")
    row = by_id(device_id)
    if row is None:
        raise LookupError(say("There is no such device, or it has been ended already."))
    with transaction.atomic():
        DeviceRow.objects.filter(id=device_id).update(ended_at=now)
        DevicePersonRow.objects.filter(device_id=device_id).delete()
    return _shown(row.name)


def called(agent: str) -> str:
    """A device's first name, from what its browser calls itself.

    >>> called("Mozilla/5.0 (Linux; Android 14; Pixel 7) AppleWebKit/537.36 Chrome/130.0 Mobile Safari/537.36")
    'Android phone, Chrome'
    >>> called("Mozilla/5.0 (iPhone; CPU iPhone OS 17_5 like Mac OS X) AppleWebKit/605.1 Version/17.5 Safari/604.1")
    'iPhone, Safari'
    >>> called("")
    'a device'
    """
    what = next((words for mark, words in _KINDS if re.search(mark, agent)), SOME)
    browser = next((words for mark, words in _BROWSERS if re.search(mark, agent)), "")
    return f"{what}, {browser}" if browser else what


def _shown(name: str) -> str:
    """A first name in the language of the reader; a name that somebody gave stays as it is."""
    what, comma, browser = name.partition(", ")
    ours = what == SOME or what in dict(_KINDS).values()
    return f"{again(what)}{comma}{browser}" if ours and (not comma or browser in dict(_BROWSERS).values()) else name


SOME = word("a device")
_KINDS = (
    ("iPhone", "iPhone"), ("iPad", "iPad"), ("Android.*Mobile", word("Android phone")),
    ("Android", word("Android tablet")), ("Windows", word("Windows computer")), ("Macintosh", "Mac"),
    ("CrOS", "Chromebook"), ("Linux", word("Linux computer")),
)  # fmt: skip
_BROWSERS = (("Firefox|FxiOS", "Firefox"), ("Edg", "Edge"), ("Chrom|CriOS", "Chrome"), ("Safari", "Safari"))


# --- the PIN -----------------------------------------------------------------------------------------------------


def has_pin(person: str) -> bool:
    """Whether somebody has a PIN."""
    return PinRow.objects.filter(person_id=person).exists()


def set_pin(person: Person, pin: str, again: str) -> None:
    """Give oneself a PIN, having given one's password (`people.check_own_password`). Raises FormFaults."""
    faults = {}
    if why := _poor(pin):
        faults["pin"] = why
    elif pin != again:
        faults["pin_again"] = say("The two PINs differ. Type the same one twice.")
    if faults:
        raise FormFaults(faults)
    PinRow.objects.update_or_create(person_id=person.person, defaults={"pin": make_password(_peppered(pin))})


def drop_pin(person: Person) -> None:
    """Take one's own PIN away."""
    PinRow.objects.filter(person_id=person.person).delete()


def forget_proofs(person: str) -> None:
    """After a new password, or the end of a sign-in: the PIN counts nowhere until they sign in again."""
    DevicePersonRow.objects.filter(person_id=person).delete()


def may_come_in(device: DeviceRow | None) -> list[str]:
    """Who can come in by PIN on a device, by name."""
    if device is None:
        return []
    return list(_able(device).order_by("person__order", "person_id").values_list("person_id", flat=True))


def come_in(device: DeviceRow, name: str, pin: str) -> Any:
    """The user whose PIN this is. Each try is counted before it is looked at, so that none can run beside the count.

    Raises PinRefused.
    """
    password = say("On this device {name} can only come in with the password.", name=name)
    with transaction.atomic():
        tried = _able(device).filter(person_id=name).update(wrong=F("wrong") + 1)
    if not tried:
        raise PinRefused(password)
    kept = PinRow.objects.get(person_id=name).pin
    here = DevicePersonRow.objects.filter(device=device, person_id=name)
    if not check_password(_peppered(pin), kept):
        left = WRONG_PINS - (here.values_list("wrong", flat=True).first() or WRONG_PINS)
        if left <= 0:
            raise PinRefused(say("Wrong {n} times. {password}", n=WRONG_PINS, password=password))
        raise PinRefused(
            say_n(
                "That is not the PIN of {name}. {n} more try.",
                "That is not the PIN of {name}. {n} more tries.",
                left,
                name=name,
            )
        )
    here.update(wrong=0)
    return PersonRow.objects.select_related("user").get(name=name).user


def as_came_in(person: Person | None, *, by_pin: bool) -> Person | None:
    """What somebody may do who came in by PIN: an owner does what a hand does, until they give the password."""
    if person is not None and by_pin and person.role == "owner":
        return msgspec.structs.replace(person, role="hand")
    return person


def _able(device: DeviceRow) -> Any:
    return DevicePersonRow.objects.filter(
        device=device, wrong__lt=WRONG_PINS, person__pinrow__isnull=False, person__user__is_active=True
    )


def _poor(pin: str) -> str:
    low, high = PIN_DIGITS
    if not (pin.isascii() and pin.isdigit() and low <= len(pin) <= high):
        return say("A PIN has {low} to {high} digits.", low=low, high=high)
    steps = {int(b) - int(a) for a, b in pairwise(pin)}
    if steps in ({0}, {1}, {-1}):
        return say("One digit over and over, or a row such as 1234, is tried first. Choose another.")
    return ""


def _peppered(pin: str) -> str:
    """The PIN mixed with the key beside the book: whoever copies the book alone cannot try ten thousand PINs on it."""
    return salted_hmac("chirr.pin", pin, algorithm="sha256").hexdigest()


def _hashed(token: str) -> str:
    return sha256(token.encode()).hexdigest()
