"""The Round: what is due, in walking order; one tap does an item or a bin; undo; the clock."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

import msgspec
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET, require_POST

from chirr.book.actions import NotAllowed, Refused
from chirr.desk import browse, settle
from chirr.desk import clock as farm_clock
from chirr.desk import round as desk
from chirr.desk.misfit_words import does_not_fit
from chirr.desk.shapes import RoundItem, RoundSheet, RoundStop
from chirr.desk.spoken import say, say_n
from chirr.pages.access import SEE, actor, door
from chirr.pages.roundclock import RoundClock
from chirr.pages.templatetags.chirr import slug

LAST = "last_tap"
GROUP_WORDS = {
    "hatching": _("Hatching"), "nursery": _("Nursery"), "grow-out": _("Grow-out"), "breeding": _("Breeding"),
    "sick": _("Sick: last, then wash your hands"),
}  # fmt: skip
UNDO_S = 30 * 60
"""After half an hour a tap is mended in the Book, not by a button that hides what it would take back."""
MINUTES_EACH = (30, 60, 90, 120, 180, 240, 480)
HANDS = (1, 2, 3, 4, 5, 6)


REACH = 400
"""Days back and ahead of which a round is shown."""
LEG = 40
"""Stops shown until all are asked for: more than a person walks in half a day."""
FIRST = 12
"""Of these, stops sent with the page: a few screens of a phone, there at once. The script that fetches the others when
the browser is at rest is js/further.js."""


UNDER_ELSE = ("deaths", "count", "weigh", "note")
"""What may come up at any stop, two taps away."""


class ShownItem(msgspec.Struct, frozen=True, kw_only=True):
    """An item with what a tap on it does: 'tap' writes it, 'look' asks yes or not yet, 'form' opens its form.

    `fill` and `none` are the columns that 'done' and 'none yet' write, as JSON, for the phone to write by itself.
    """

    item: RoundItem
    place: str
    how: str
    form: str
    fill: str
    none: str


class ShownStop(msgspec.Struct, frozen=True, kw_only=True):
    """A stop as its card is drawn, at `place` of the page."""

    stop: RoundStop
    place: str
    items: tuple[ShownItem, ...]
    whole: str
    """Keys of what one tap on the whole bin does, as JSON; empty where that is not more than one."""
    at_once: int
    """How many they are."""
    other: tuple[tuple[str, str], ...]
    """Deeds for what else there may be here, each with the address of its form."""
    photo: str
    """Where the crickets here are counted on a photograph; empty where there are none."""
    wrong: str
    """The form on which what is wrong here is written down."""
    heading: str
    """Words of the group, at its first stop."""
    cut: bool
    """The line of 'you get to here' stands before this stop."""


@door(SEE)
@require_GET
def sheet(request: HttpRequest) -> HttpResponse:
    """The round of a day: the page, for htmx the whole sheet, or the stops after the last one that the page has."""
    if request.headers.get("HX-Target") == "round":
        return render(request, "chirr/parts/round.html", _context(request))
    after = request.GET.get("after")
    if after is not None:
        return render(request, "chirr/parts/stops.html", _context(request, after=after))
    return render(request, "chirr/round.html", _context(request, first=FIRST))


def _context(request: HttpRequest, *, first: int | None = None, after: str = "") -> dict[str, Any]:
    """What the sheet is drawn from: with `first` only so many stops, with `after` those that follow the stop there."""
    today = farm_clock.today()
    day = _day(request, today)
    hands, each = _chosen(request, "hands", HANDS, 1), _chosen(request, "each", MINUTES_EACH, 240)
    answer: RoundSheet = desk.round_sheet(day, hands=hands, minutes_each=float(each))
    clock = RoundClock.of(request.session)
    live = day == today
    now = time.time()
    now_due = [stop for stop in answer.stops if any(i.urgency != "soon" for i in stop.items)]
    coming = [stop for stop in answer.stops if all(i.urgency == "soon" for i in stop.items)]
    every = _all_wanted(request, day)
    shown = _shown(now_due if every else now_due[:LEG], live)
    start = next((n + 1 for n, s in enumerate(shown) if s.stop.key == after), FIRST) if after else 0
    sent = shown[start:] if every or first is None else shown[:first]
    further = ""
    if start + len(sent) < len(shown):
        query = {"after": sent[-1].stop.key, **({} if live else {"day": day.isoformat()})}
        further = f"{reverse('round')}?{urlencode(query)}"
    return {
        "sheet": answer, "stops": sent, "stops_due": len(now_due), "beyond": len(now_due) - start - len(sent),
        "further": further,
        "coming": [] if further else _shown(coming[:LEG], live),
        "day": day, "today": today, "live": live,
        "not_understood": _not_understood(request, today, hands, each),
        "before": day - timedelta(days=1), "after": day + timedelta(days=1),
        "hands": hands, "each": each, "hands_offered": HANDS, "each_offered": MINUTES_EACH,
        "clock": clock, "clock_minutes": clock.minutes(now), "last": _last_tap(request, now),
        "do_it": reverse("round-do"), "to_settle": settle.how_many(),
        "doable": sum(1 for s in answer.stops for i in s.items if i.urgency != "soon"),
    }  # fmt: skip


def _all_wanted(request: HttpRequest, day: date) -> bool:
    """Whether the whole of this day's walk was asked for, now or earlier in this session."""
    if request.GET.get("all"):
        request.session["round_all"] = day.isoformat()
    return request.session.get("round_all") == day.isoformat()


def _last_tap(request: HttpRequest, now: float) -> dict[str, Any] | None:
    """The last tap of this session, while it is fresh enough to be taken back by one tap."""
    last = request.session.get(LAST)
    return last if last and now - last.get("at", 0) < UNDO_S else None


def _day(request: HttpRequest, today: date) -> date:
    try:
        day = date.fromisoformat(request.GET.get("day") or request.POST.get("day") or "")
    except ValueError:
        return today
    return day if abs((day - today).days) <= REACH else today


def _not_understood(request: HttpRequest, today: date, hands: int, each: int) -> list[str]:
    """What the address asks for and does not get, each with what is shown instead."""
    day, people, minutes = (request.GET.get(name, "")[:40] for name in ("day", "hands", "each"))
    out = []
    if day and _day(request, today) == today:
        try:
            if date.fromisoformat(day) != today:
                out.append(say("The round reaches {days} days back and ahead; today is shown.", days=REACH))
        except ValueError:
            out.append(say("The day “{text}” was not understood; today is shown.", text=day))
    if people and people != str(hands):
        out.append(say("The number of people “{text}” was not understood; {n} is taken.", text=people, n=hands))
    if minutes and minutes != str(each):
        out.append(say("The minutes “{text}” for each were not understood; {n} is taken.", text=minutes, n=each))
    return out


def _asked(day: date, today: date) -> str:
    return "" if day == today else urlencode({"day": day.isoformat()})


def _chosen(request: HttpRequest, name: str, allowed: tuple[int, ...], otherwise: int) -> int:
    """A choice from the address, else the one made before in this session."""
    text = request.GET.get(name, "")
    if text.isdecimal() and int(text) in allowed:
        request.session[f"round_{name}"] = int(text)
        return int(text)
    kept = request.session.get(f"round_{name}", otherwise)
    return kept if kept in allowed else otherwise


def _shown(stops: list[RoundStop], live: bool) -> list[ShownStop]:
    shown: list[ShownStop] = []
    lot_in = desk.lots_in_bins() if live and stops else {}
    group, reached = None, True
    for stop in stops:
        heading = str(GROUP_WORDS.get(stop.group, stop.group)) if stop.group != group else ""
        cut = reached and not stop.within_reach
        group, reached = stop.group, reached and stop.within_reach
        place, lot = slug(stop.key), lot_in.get(stop.bin or "")
        whole = desk.whole_bin(stop) if live else ()
        other = _other(stop, place, lot) if live else ()
        shown.append(
            ShownStop(
                stop=stop, place=place, items=tuple(_shown_item(i, live) for i in stop.items),
                whole=msgspec.json.encode(whole).decode() if len(whole) > 1 else "", at_once=len(whole), other=other,
                wrong=f"{other[-1][1]}&ask=wrong" if other else "", photo=_photo(place, lot) if live else "",
                heading=heading, cut=cut,
            )
        )  # fmt: skip
    return shown


def _shown_item(item: RoundItem, live: bool) -> ShownItem:
    done, none_yet = fills(item)
    does = how(item, live)
    return ShownItem(
        item=item, place=slug(item.key), how=does, form=_form_of(item) if does == "form" else "",
        fill=msgspec.json.encode(done).decode(), none=msgspec.json.encode(none_yet).decode() if none_yet else "",
    )  # fmt: skip


def fills(item: RoundItem) -> tuple[dict[str, str], dict[str, str]]:
    """Columns of the entry that a tap writes, and of the one that 'none yet' writes ({} where nobody asks)."""
    things = {k: v for k in ("bin", "lot", "clutch") if (v := item.prefill.get(k))}
    none_yet = {"deed": "note", **things, "note": desk.NONE_YET} if item.deed == "hatch" else {}
    none_yet.pop("lot", None)
    return {"deed": item.deed, **item.prefill}, none_yet


def _other(stop: RoundStop, place: str, lot: str | None) -> tuple[tuple[str, str], ...]:
    """Addresses of the forms for what may come up at a bin besides what is due."""
    if stop.bin is None:
        return ()
    known = urlencode({"bin": stop.bin, **({"lot": lot} if lot else {}), "next": f"{reverse('round')}#{place}"})
    add = reverse("add")
    return tuple((deed, f"{add}?deed={deed}&{known}") for deed in UNDER_ELSE if lot or deed == "note")


def _photo(place: str, lot: str | None) -> str:
    """Address at which the lot of a stop is counted on a photograph."""
    asked = urlencode({"lot": lot or "", "next": f"{reverse('round')}#{place}"})
    return f"{reverse('count')}?{asked}" if lot else ""


def how(item: RoundItem, live: bool) -> str:
    """What a tap on an item does; see `ShownItem`."""
    if not live or item.urgency == "soon":
        return "none"
    if item.asks:
        return "form"
    return "look" if item.deed == "hatch" else "tap"


def _form_of(item: RoundItem) -> str:
    """Address of the deed form that is filled as far as the item knows."""
    query = {"deed": item.deed, **item.prefill, "next": f"{reverse('round')}#{slug(item.key)}"}
    for name in ("bin", "lot", "clutch"):
        if getattr(item, name):
            query.setdefault(name, getattr(item, name))
    return f"{reverse('add')}?{urlencode(query)}"


@door(SEE)
@require_POST
def do(request: HttpRequest) -> HttpResponse:
    """Do an item, or all one-tap items of a bin."""
    clock, now = RoundClock.of(request.session), time.time()
    stop: RoundStop | None = None

    def write() -> str:
        nonlocal stop
        keys = _keys(request)
        stop = _stop_of(keys)
        ids = desk.do(keys, actor=actor(request), minutes=clock.since_last_tap(now))
        if not ids:
            return say("That was done already.")
        place = (stop.bin if stop else None) or say("Rack")
        says = (
            say_n("{place}: {n} thing done", "{place}: {n} things done", len(ids), place=place)
            if len(ids) > 1
            else browse.line(ids[0]).says
        )
        request.session[LAST] = {"ids": ids, "says": says[:200], "at": now}
        clock.tapped(now).keep(request.session)
        return ""

    words = _written(write)
    return _answer(request, words, at=slug(stop.key) if stop else "")


def _keys(request: HttpRequest) -> list[str]:
    """Keys of what was tapped: of an item, or of all that the button of a whole bin named."""
    whole = request.POST.get("whole")
    if whole is None:
        return request.POST.getlist("key")
    try:
        return msgspec.json.decode(whole, type=list[str])
    except msgspec.MsgspecError as wrong:
        raise desk.NotNow(
            say("That did not work, and nothing was written. Open the page afresh and try again.")
        ) from wrong


def _stop_of(keys: list[str]) -> RoundStop | None:
    """The stop at which the hand is."""
    wanted = {key.replace("none:", "hatch:", 1) for key in keys}
    return next((s for s in desk.round_sheet().stops if any(i.key in wanted for i in s.items)), None)


@door(SEE)
@require_POST
def undo(request: HttpRequest) -> HttpResponse:
    """Take back what the last tap wrote."""
    last = _last_tap(request, time.time())

    def write() -> str:
        if not last:
            return say("There is nothing to take back here; mend older entries in the Book.")
        desk.undo(last["ids"], actor=actor(request))
        del request.session[LAST]
        return ""

    return _answer(request, _written(write))


@door(SEE)
@require_POST
def clock(request: HttpRequest) -> HttpResponse:
    """Start, pause or stop the clock of the round."""
    now, held = time.time(), RoundClock.of(request.session)
    match request.POST.get("do"):
        case "start":
            held.start(now).keep(request.session)
        case "pause":
            held.pause(now).keep(request.session)
        case "stop":
            messages.info(request, say("The round took {minutes:.0f} minutes.", minutes=float(held.minutes(now))))
            held.stop().keep(request.session)
    return _answer(request)


def _written(write: Callable[[], str]) -> str:
    """Write, and say in one sentence why not where that cannot be; an empty text where all is well."""
    try:
        return write()
    except (NotAllowed, desk.NotNow) as why:
        return str(why)
    except Refused as refused:
        return " ".join(does_not_fit(m.found, m.expected) for m in refused.misfits[:2])


def _answer(request: HttpRequest, words: str = "", *, at: str = "") -> HttpResponse:
    """The sheet as it is now, with what went wrong; `at` is the place of the page where the hand was."""
    if words:
        messages.error(request, words)
    if request.headers.get("HX-Request") == "true":
        return render(request, "chirr/parts/round.html", _context(request) | {"with_messages": True})
    query = _asked(_day(request, farm_clock.today()), farm_clock.today())
    return redirect(reverse("round") + (f"?{query}" if query else "") + (f"#{at}" if at else ""))
