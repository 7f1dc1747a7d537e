"""What every template knows: the farm, the person, the places, how things are shown."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _

from chirr.pages import display
from chirr.pages.access import SEE

PLACES = (
    ("round", _("Round")),
    ("racks", _("Racks")),
    ("ahead", _("Ahead")),
    ("trays", _("Trays")),
    ("book", _("Book")),
    ("farm", _("Farm")),
)

BELONGS = {
    "trial": "trays", "trials": "trays", "trial-labels": "trays", "hours": "round",
    "bin": "racks", "lot": "racks", "clutch": "trays", "laying": "trays", "promise": "ahead", "grade": "ahead",
    "phone-waiting": "", "settle": "book", "breeders": "ahead", "add": "book", "entry": "book", "correct": "book",
    "replace": "book", "cautions": "farm",
    "me": "", "switch": "", "pin": "", "calendars": "farm", "calendar": "", "hand-over": "round",
}  # fmt: skip


def farm(request: HttpRequest) -> dict[str, Any]:
    """Context of every page."""
    person = getattr(request, "person", None)
    theme = request.COOKIES.get("theme", "auto")
    name = request.resolver_match.url_name or "" if request.resolver_match else ""
    place = name if name in dict(PLACES) else BELONGS.get(name, name.split("-", 1)[0])
    return {
        "card": getattr(request, "card", None),
        "person": person,
        "may_write": person is not None and person.role in SEE.writers,
        "is_owner": person is not None and person.role == "owner",
        "places": PLACES,
        "place": place,
        "theme": theme if theme in display.THEMES else "auto",
        **{name: _of_device(request, name) for name in display.DEVICE},
        "units": display.shown().units,
        "renew_before": (settings.LAN or {}).get("renew_before", ""),
        "language": get_language(),
        "LANGUAGE_CODE": get_language(),
        "languages": settings.LANGUAGES,
        "belief_waits": _belief_waits,
    }


def _belief_waits() -> bool:
    """Whether the newest entries are not in what is believed yet; only pages that show belief ask."""
    from chirr.desk.just_entered import waits

    return waits()


def _of_device(request: HttpRequest, name: str) -> str:
    """What this device was told on the 'me' page, else the first choice."""
    allowed = display.DEVICE[name]
    kept = request.COOKIES.get(name, "")
    return kept if kept in allowed else allowed[0]
