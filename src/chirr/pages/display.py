"""How figures are shown to the person who asks: their units, the farm's zone; set for each request."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime
from zoneinfo import ZoneInfo

import msgspec
from django.http import HttpRequest

from chirr.desk.spoken import day_words, decimal_sign, local_signs, say, term

UNIT_SYSTEMS = ("metric", "imperial")
THEMES = ("auto", "light", "dark")
DEVICE = {"side": ("right", "left"), "sound": ("on", "off"), "buzz": ("on", "off")}
"""What is chosen for a device rather than a person, the first being so until chosen otherwise."""

G_PER_OZ = 28.349523125
"""International avoirdupois ounce, exact by the international yard and pound agreement of 1959."""
G_PER_LB = 453.59237
"""Pound, same source."""
CM_PER_IN = 2.54
"""Inch, same source."""


class Shown(msgspec.Struct, frozen=True):
    """A unit system, a zone and the currency."""

    units: str = "metric"
    zone: ZoneInfo = ZoneInfo("UTC")
    currency: str = ""


_PLAIN = Shown()
_shown: ContextVar[Shown] = ContextVar("shown", default=_PLAIN)


def shown() -> Shown:
    """How the present request wants its figures."""
    return _shown.get()


@contextmanager
def shown_as(request: HttpRequest) -> Iterator[None]:
    """Figures in the units of the request's cookie and the zone of its farm, until it is answered."""
    card = request.card  # type: ignore[attr-defined]
    units = request.COOKIES.get("units", "metric")
    zone = ZoneInfo(card.timezone) if card else ZoneInfo("UTC")
    token = _shown.set(Shown(units if units in UNIT_SYSTEMS else "metric", zone, card.currency if card else ""))
    try:
        yield
    finally:
        _shown.reset(token)


def number(value: float, digits: int = 0) -> str:
    """A number with the separators of the language, and a plain minus sign.

    >>> number(1850.4), number(0.25, 2), number(-3.0)
    ('1,850', '0.25', '−3')
    """
    return local_signs(f"{value:,.{digits}f}".replace("-", "−"))


def about(value: float) -> str:
    """A number that is not certain, to two or three figures.

    >>> about(1849.6), about(37.2), about(0.0), about(123456.0), about(0.0316)
    ('1,850', '37', '0', '123,000', '0.032')
    """
    value = float(f"{value:.9g}")  # 9.9999999999 is ten
    if value == 0:
        return "0"
    size = abs(value)
    if size < 1:
        return number(value, 3 if size < 0.1 else 2)
    if size < 10:
        return number(value, 1)
    if size < 100:
        return number(value)
    step = 10 ** (len(str(int(size))) - 3)
    return number(round(value / step) * step)


def _weight(value: float) -> str:
    value = float(f"{value:.9g}")
    return about(value) if abs(value) >= 10 or value == 0 else number(value, 2)


def mass_mg(value: float) -> str:
    """The mass of one cricket, from mg."""
    if shown().units == "imperial":
        return f"{number(value / 1000 / G_PER_OZ, 4)} oz"
    return f"{about(value)} mg"


def mass_kg(value: float) -> str:
    """A mass of crickets, from kg: kg, or pounds."""
    if shown().units == "imperial":
        return f"{_weight(value * 1000 / G_PER_LB)} lb"
    return f"{_weight(value)} kg"


def mass_g(value: float) -> str:
    """A mass of feed or water or a sample, from g: g, or ounces."""
    if shown().units == "imperial":
        return f"{_weight(value / G_PER_OZ)} oz"
    return f"{_weight(value)} g"


def temperature_c(value: float) -> str:
    """A temperature, from degrees Celsius."""
    if shown().units == "imperial":
        return f"{number(value * 9 / 5 + 32, 1)} °F"
    return f"{number(value, 1)} °C"


def length_cm(value: float) -> str:
    """A length, from cm."""
    if shown().units == "imperial":
        return f"{number(value / CM_PER_IN, 1)} in"
    return f"{number(value, 1).removesuffix(decimal_sign() + '0')} cm"


def area_cm2(value: float) -> str:
    """A surface, from cm2: square metres, or square feet."""
    if shown().units == "imperial":
        return say("{area} sq ft", area=number(value / (CM_PER_IN * 12) ** 2, 2))
    return f"{number(value / 10_000, 2)} m²"


def amount(value: float, unit: str) -> str:
    """An amount in one of the book's units."""
    if unit == "kg":
        return mass_kg(value)
    if unit == "g":
        return mass_g(value)
    return f"{about(value)} {term('unit', unit)}".strip()


def local(at: float) -> datetime:
    """A moment in the farm's zone, from epoch seconds."""
    return datetime.fromtimestamp(at, shown().zone)


def day(at: float) -> str:
    """A moment's day, such as 'Tue 3 Feb'; with the year unless it is within the half year about today."""
    then, now = local(at), datetime.now(shown().zone)
    return day_words(then, year=abs((then - now).days) >= 180)


def moment(at: float) -> str:
    """A moment's day and time of day."""
    return f"{day(at)}, {local(at):%H:%M}"
