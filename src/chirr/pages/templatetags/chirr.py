"""Template words of our own: figures in the reader's units, bands as sentences, duty shapes and pulse bars."""

from __future__ import annotations

from datetime import datetime
from functools import cache, lru_cache
from typing import Any

from django import template
from django.template.loader import get_template
from django.templatetags.static import static
from django.utils.html import format_html, format_html_join, json_script
from django.utils.safestring import SafeString
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from chirr.desk import misfit_words, spoken, terms
from chirr.desk.shapes import Band, BinTile, Chart
from chirr.pages import assets, display, scripts, vendor
from chirr.says import word

register = template.Library()
ABOUT = word("about {mid}, eight chances in ten between {low} and {high}")

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

register.filter("mass_mg", display.mass_mg)
register.filter("mass_kg", display.mass_kg)
register.filter("mass_g", display.mass_g)
register.filter("temperature", display.temperature_c)
register.filter("cm", display.length_cm)
register.filter("area", display.area_cm2)
register.filter("about", display.about)
register.filter("day", display.day)
register.filter("moment", display.moment)
register.filter("amount", display.amount)
register.filter("number", display.number)


def _times(band: Band) -> str:
    low, mid, high = display.day(band.low), display.day(band.mid), display.day(band.high)
    return mid if low == high else spoken.say(ABOUT, mid=mid, low=low, high=high)


@register.filter
def band(value: Band | None, unit: str = "") -> str:
    """A band as a sentence: the middle, then what holds eight chances in ten. unit 'time' for epoch seconds."""
    if value is None:
        return _("not known")
    if unit == "time":
        return _times(value)
    show = _SHOW.get(unit, lambda v: display.amount(v, unit))
    low, mid, high = show(value.low), show(value.mid), show(value.high)
    return mid if low == high else spoken.say(ABOUT, mid=mid, low=low, high=high)


NO_BREAK = "\u00a0"
"""Keeps a figure and its unit, or a day and its month, on one line of a narrow cell."""


@register.filter
def short_band(value: Band | None, unit: str = "") -> str:
    """A band for a table cell: 'middle (low to high)'."""
    if value is None:
        return "–"
    show = display.day if unit == "time" else _SHOW.get(unit, display.about)
    low, mid, high = (show(v).replace(" ", NO_BREAK) for v in (value.low, value.mid, value.high))
    return mid if low == high else spoken.say("{mid} ({low} to {high})", mid=mid, low=low, high=high)


@register.filter
def money_band(value: Band | None) -> str:
    """A band of money, gains and losses with their sign.

    >>> money_band(Band((-2.0, -1.0, 0.0, 0.5, 1.0, 2.25, 3.0)))
    '+0.50 (-1.00 to +2.25)'
    """
    if value is None:
        return "–"
    parts = {"low": value.low, "mid": value.mid, "high": value.high}
    return spoken.say("{mid:+,.2f} ({low:+,.2f} to {high:+,.2f})", **parts)


_SHOW = {"mg": display.mass_mg, "kg": display.mass_kg, "g": display.mass_g, "number": display.about}


@register.filter
def chance(value: float) -> str:
    """A probability in words that a person can act on.

    >>> chance(0.9), chance(0.999), chance(0.003), chance(0.72)
    ('9 chances in 10', 'more than 99 chances in 100', 'less than 1 chance in 100', '72 chances in 100')
    """
    if value > 0.99:
        return _("more than 99 chances in 100")
    if value < 0.01:
        return _("less than 1 chance in 100")
    hundredths = round(value * 100)
    if hundredths % 10 == 0:
        tenths = hundredths // 10
        return spoken.say_n("{n} chance in 10", "{n} chances in 10", tenths)
    return spoken.say_n("{n} chance in 100", "{n} chances in 100", hundredths)


@register.filter
def minutes(value: float | None) -> str:
    """Minutes, as hours and minutes from an hour on.

    >>> minutes(0.4), minutes(7.6), minutes(95.0), minutes(120)
    ('under a minute', '8 min', '1 h 35 min', '2 h')
    """
    if value is None:
        return ""
    whole = round(value)
    if whole < 1:
        return _("under a minute") if value > 0 else "0 min"
    hours, rest = divmod(whole, 60)
    return " ".join(part for part in (f"{hours} h" if hours else "", f"{rest} min" if rest else "") if part)


@register.filter
def days_text(value: int | tuple[str, ...]) -> str:
    """A rhythm in words: every so many days, or on weekdays.

    >>> days_text(3), days_text(1), days_text(("mon", "wed", "fri"))
    ('every 3 days', 'every day', 'on Mon, Wed and Fri')
    """
    if isinstance(value, int):
        return _("every day") if value == 1 else spoken.say_n("every {n} day", "every {n} days", value)
    names = [spoken.weekday(WEEKDAYS.index(d)) for d in value]
    return spoken.say("on {days}", days=spoken.listed(names)) if names else _("on no day")


register.filter("again", spoken.again)
register.filter("weekday", lambda name: spoken.weekday(WEEKDAYS.index(name)))
register.filter("short_day", spoken.day_words)
register.filter("short_date", lambda day: spoken.day_words(day, weekday_too=False, year=True))


@register.filter
def whole(value: float) -> int:
    """A figure as a whole number, to choose between one and many."""
    return round(value)


@register.filter
def term(word: str, kind: str) -> str:
    """A word that the book keeps (a duty, a state, a deed), as it is shown."""
    return spoken.term(kind, word)


@register.filter
def named(kind: str, name: str) -> str:
    """A bin, lot or clutch with its name: 'bin N1-1'."""
    return terms.named(kind, name)


@register.filter
def misfit(standing: str) -> str:
    """Why an entry does not fit, as a sentence."""
    return misfit_words.sentence(standing)


@register.filter
def against(ways: list[str]) -> str:
    """Ways that are compared: 'A against B'."""
    return _("{a} against {b}").format(a=_(" against ").join(ways[:-1]), b=ways[-1]) if len(ways) > 1 else "".join(ways)


@register.filter
def then(ways: list[str]) -> str:
    """Ways in turn: 'A, then B'."""
    return _(", then ").join(ways)


@register.simple_tag
def shape(name: str, words: str = "") -> SafeString:
    """One of the shapes of the sprite; with `words` it speaks, without it is decoration beside a text."""
    return _shape(name, str(words))


@lru_cache(maxsize=1024)
def _shape(name: str, words: str) -> SafeString:
    if words:
        return format_html('<svg class="shape" role="img" aria-label="{}"><use href="#s-{}"/></svg>', words, name)
    return format_html('<svg class="shape" aria-hidden="true"><use href="#s-{}"/></svg>', name)


@register.simple_tag
def bin_tile(tile: BinTile) -> SafeString:
    """A bin as the Racks draw it."""
    return _tile(get_language() or "en", tile)


@lru_cache(maxsize=4096)
def _tile(_language: str, tile: BinTile) -> SafeString:
    """Kept, for most of the hundreds of tiles look as they did at the last visit, whoever it was that looked."""
    return SafeString(get_template("chirr/parts/tile.html").render({"tile": tile}))


PULSES = 14


@register.simple_tag
def pulses(progress: float | None, words: str = "") -> SafeString:
    """How far along, as a run of short strokes like a chirp drawn on paper: filled so far, hollow to come."""
    if progress is None:
        return SafeString("")
    strokes = _strokes(round(max(0.0, min(1.0, progress)) * PULSES))
    return format_html(
        '<svg class="pulses" viewBox="0 0 {} 16" role="img" aria-label="{}">{}</svg>',
        PULSES * 7,
        words or spoken.say("{pct} % of the way", pct=round(progress * 100)),
        strokes,
    )


@cache
def _strokes(done: int) -> SafeString:
    """The strokes of a pulse bar of which the first `done` are filled."""
    return format_html_join(
        "", '<rect class="{}" x="{}" y="{}" width="4" height="{}" rx="2"/>',
        (("on" if i < done else "off", i * 7 + 1, (0, 3)[i % 2], (16, 10)[i % 2]) for i in range(PULSES)),
    )  # fmt: skip


@register.filter
def of(mapping: dict[str, object] | None, key: str) -> object:
    """The value of a mapping for a key; an empty text when there is none."""
    return (mapping or {}).get(key, "")


@register.inclusion_tag("chirr/parts/field.html", takes_context=True)
def field(
    context: template.Context, name: str, label: str, *, kind: str = "text", hint: str = "", options: object = None,
    required: bool = False, auto: str = "off", blank: str | None = None, start: str = "",
) -> dict[str, object]:  # fmt: skip
    """One field of a form with its label, hint and fault, from the `values` and `faults` of the page.

    kind: text, decimal, whole, area, password, moment (date and time), date, select, list (free text with suggestions).
    `options` are words, or (value, word) pairs.
    """
    values, faults = context.get("values") or {}, context.get("faults") or {}
    pairs = [o if isinstance(o, tuple | list) else (o, o) for o in (options or ())]  # type: ignore[attr-defined]
    return {
        "name": name, "label": label, "kind": kind, "hint": hint, "options": pairs, "required": required, "auto": auto,
        "blank": blank, "value": "" if kind in ("password", "pin") else values.get(name, start),
        "fault": faults.get(name, ""),
    }  # fmt: skip


SAMPLED = {"count": "Sample {n}: number", "mass": "Sample {n}: g", "sent": "Sent {n}", "lost": "Of them dead {n}"}


@register.inclusion_tag("chirr/parts/field.html", takes_context=True)
def samplefield(context: template.Context, name: str, n: object) -> dict[str, object]:
    """One figure of the n-th sample on the sampling page."""
    label = spoken.say(SAMPLED[name], n=str(n))
    kind = "decimal" if name in ("count", "mass") else "whole"
    return field(context, f"{name}_{n}", label, kind=kind)


@register.filter
def iso(at: float) -> str:
    """A moment for machines, with its offset."""
    return display.local(at).isoformat(timespec="minutes")


@register.filter
def phone_time(text: str) -> str:
    """The time that a phone's clock showed, kept as ISO text in UTC, as the farm would say it."""
    try:
        return display.moment(datetime.fromisoformat(text).timestamp())
    except ValueError:
        return text


@register.filter
def words(text: str) -> list[str]:
    """A text as its words."""
    return text.split()


@register.filter
def slug(key: str) -> str:
    """A key as an id of the page: what is not a letter or digit becomes a stroke with its number.

    >>> slug("bin:N1-1"), slug("rack:north/2/1")
    ('bin_3aN1-1', 'rack_3anorth_2f2_2f1')
    """
    return "".join(c if c.isascii() and (c.isalnum() or c in "-.") else f"_{ord(c):x}" for c in key)


@register.filter
def percent(share: float) -> str:
    """A share as whole per cent."""
    return f"{round(share * 100)} %"


@register.filter
def band_per_100(value: Band) -> str:
    """A band of something per cm2, said per 100 cm2."""
    return band(Band(tuple(100 * q for q in value.q)))


@register.simple_tag
def vega_bundle() -> str:
    """Address of the chart library that is kept with the pages."""
    return static(vendor.bundle_name())


@register.simple_tag
def module_links(*paths: str) -> SafeString:
    """Links in the head that fetch scripts with all that they import, side by side."""
    wanted = dict.fromkeys(name for path in paths for name in assets.with_imports(path))
    return format_html_join("\n", '<link rel="modulepreload" href="{}">', ((static(name),) for name in wanted))


@register.filter
def chart_spec(chart: Chart) -> dict[str, Any]:
    """The specification of a chart with its words in the language of the page."""
    spec: dict[str, Any] = _said_in(chart.spec)
    return spec


SHOWN_KEYS = ("title", "description", "words", "part", "domain")
"""Where a specification has words rather than names of its fields."""


def _said_in(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: spoken.again_in(x) if k in SHOWN_KEYS else _said_in(x) for k, x in value.items()}
    return [_said_in(x) for x in value] if isinstance(value, list | tuple) else value


@register.simple_tag
def page_words() -> SafeString:
    """What the scripts of every page need to speak the language of the page: sentences, signs, names of months."""
    return json_script(scripts.words(), "page-words")
