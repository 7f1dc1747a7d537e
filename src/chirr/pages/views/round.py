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
from chirr.desk import browse, farm, settle
from chirr.desk import clock as farm_clock
from chirr.desk import round as desk
from chirr.desk.misfit_words import does_not_fit
from chirr.desk.shapes import RoundItem, RoundSheet, RoundStop
from chirr.desk.spoken import say
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


LEG = 40
"""Stops sent at first: more than a person walks in half a day, and a page that a phone draws at once."""


UNDER_ELSE = ("deaths", "count", "weigh", "note")
"""What may come up at any stop, two taps away."""


class ShownItem(msgspec.Struct, frozen=True, kw_only=True):
    """An item with what a tap on it does: 'tap' writes it, 'look' asks yes or not yet, 'form' opens its form.

    `fill` and `none` are the columns that 'done' and 'none yet' write, as JSON, for the phone to write by itself.
    """

    item: RoundItem
    how: str
    form: str
    fill: str
    none: str


class ShownStop(msgspec.Struct, frozen=True, kw_only=True):
    """A stop as its card is drawn."""

    stop: RoundStop
    items: tuple[ShownItem, ...]
    whole: tuple[str, ...]
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
    """The round of a day."""
    context = _context(request)
    part = request.headers.get("HX-Target") == "round"
    return render(request, "chirr/parts/round.html" if part else "chirr/round.html", context)


def _context(request: HttpRequest) -> dict[str, Any]:
    today = farm_clock.today()
    day = _day(request, today)
    hands, each = _chosen(request, "hands", HANDS, 1), _chosen(request, "each", MINUTES_EACH, 240)
    answer: RoundSheet = desk.round_sheet(day, hands=hands, minutes_each=float(each))
    clock = RoundClock.of(request.session)
    live = day == today
    now = time.time()
    coming = [stop for stop in answer.stops if all(i.urgency == "soon" for i in stop.items)]
    now_due = [stop for stop in answer.stops if stop not in coming]
    shown = now_due if _all_wanted(request, day) else now_due[:LEG]
    return {
        "sheet": answer, "stops": _shown(shown, live), "stops_due": len(now_due), "beyond": len(now_due) - len(shown),
        "coming": _shown(coming[:LEG], live),
        "day": day, "today": today, "live": live,
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
    return day if abs((day - today).days) <= 400 else today


def _asked(day: date, today: date) -> str:
    return "" if day == today else urlencode({"day": day.isoformat()})


def _chosen(request: HttpRequest, name: str, allowed: tuple[int, ...], otherwise: int) -> int:
    """A choice from the address, else the one made before in this session."""
    text = request.GET.get(name, "")
    if text.isdigit() and int(text) in allowed:
        request.session[f"round_{name}"] = int(text)
        return int(text)
    kept = request.session.get(f"round_{name}", otherwise)
    return kept if kept in allowed else otherwise


def _shown(stops: list[RoundStop], live: bool) -> list[ShownStop]:
    shown: list[ShownStop] = []
    lot_in = {bin_: lot for lot, bin_ in farm.choices().lots.items()} if live and stops else {}
    group, reached = None, True
    for stop in stops:
        heading = str(GROUP_WORDS.get(stop.group, stop.group)) if stop.group != group else ""
        cut = reached and not stop.within_reach
        group, reached = stop.group, reached and stop.within_reach
        whole = desk.whole_bin(stop) if live else ()
        items = tuple(_shown_item(i, live) for i in stop.items)
        other = _other(stop, lot_in.get(stop.bin or "")) if live else ()
        whole = whole if len(whole) > 1 else ()
        wrong = f"{other[-1][1]}&ask=wrong" if other else ""
        photo = _photo(stop, lot_in.get(stop.bin or "")) if live else ""
        shown.append(
            ShownStop(
                stop=stop, items=items, whole=whole, other=other, photo=photo, wrong=wrong, heading=heading, cut=cut
            )
        )
    return shown


def _shown_item(item: RoundItem, live: bool) -> ShownItem:
    done, none_yet = fills(item)
    return ShownItem(
        item=item, how=how(item, live), form=_form_of(item), fill=msgspec.json.encode(done).decode(),
        none=msgspec.json.encode(none_yet).decode() if none_yet else "",
    )  # fmt: skip


def fills(item: RoundItem) -> tuple[dict[str, str], dict[str, str]]:
    """Columns of the entry that a tap writes, and of the one that 'none yet' writes ({} where nobody asks)."""
    things = {k: v for k in ("bin", "lot", "clutch") if (v := item.prefill.get(k))}
    none_yet = {"deed": "note", **things, "note": desk.NONE_YET} if item.deed == "hatch" else {}
    none_yet.pop("lot", None)
    return {"deed": item.deed, **item.prefill}, none_yet


def _other(stop: RoundStop, lot: str | None) -> tuple[tuple[str, str], ...]:
    """Addresses of the forms for what may come up at a bin besides what is due."""
    if stop.bin is None:
        return ()
    known = {"bin": stop.bin, **({"lot": lot} if lot else {}), "next": f"{reverse('round')}#{slug(stop.key)}"}
    return tuple(
        (deed, f"{reverse('add')}?{urlencode({'deed': deed, **known})}") for deed in UNDER_ELSE if lot or deed == "note"
    )


def _photo(stop: RoundStop, lot: str | None) -> str:
    """Address at which the lot of a stop is counted on a photograph."""
    back = f"{reverse('round')}#{slug(stop.key)}"
    return f"{reverse('count')}?{urlencode({'lot': lot, 'next': back})}" if lot else ""


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
    keys = request.POST.getlist("all" if "whole" in request.POST else "key")
    clock, now = RoundClock.of(request.session), time.time()

    def write() -> str:
        ids = desk.do(keys, actor=actor(request), minutes=clock.since_last_tap(now))
        if not ids:
            return say("That was done already.")
        says = request.POST.get("whole") or request.POST.get("says") or browse.line(ids[0]).says
        request.session[LAST] = {"ids": ids, "says": says[:200], "at": now}
        clock.tapped(now).keep(request.session)
        return ""

    return _after(request, write)


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

    return _after(request, write)


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


def _after(request: HttpRequest, write: Callable[[], str]) -> HttpResponse:
    """Write, and say in one sentence why not where that cannot be."""
    try:
        words = write()
    except (NotAllowed, desk.NotNow) as why:
        words = str(why)
    except Refused as refused:
        words = " ".join(does_not_fit(m.found, m.expected) for m in refused.misfits[:2])
    if words:
        messages.error(request, words)
    return _answer(request)


def _answer(request: HttpRequest) -> HttpResponse:
    if request.headers.get("HX-Request") == "true":
        return render(request, "chirr/parts/round.html", _context(request) | {"with_messages": True})
    query = _asked(_day(request, farm_clock.today()), farm_clock.today())
    return redirect(reverse("round") + (f"?{query}" if query else "") + _anchor(request))


def _anchor(request: HttpRequest) -> str:
    """Where on the sheet the hand was."""
    stop = request.POST.get("stop", "")
    return f"#{stop}" if stop and all(c.isalnum() or c in "-_." for c in stop) else ""
