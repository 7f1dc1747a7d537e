"""Feeding, watering and cleaning: what falls due at a bin."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from chirr.engine.rounds.days import Days, Due, ago, day_in_words, due, first_falls, in_words
from chirr.engine.rounds.due import Job, lateness, urgency_of
from chirr.says import joined, said, word

CLEAN_WITHIN_DAYS = 3
"""An emptied bin is cleaned, dried and rested within one to three days (common practice, no published source)."""


@dataclass(frozen=True, kw_only=True)
class BinCare:
    """A bin as far as its care goes. `lots` are those whose animals are there, not those still to hatch.

    `came_on` is the day the latest of them came in. `to_harvest` says that a lot there is ready, so it may be fasting.
    """

    bin: str
    lots: tuple[str, ...] = ()
    occupied: bool = False
    """Whether anything stands in it, eggs still to hatch included."""
    came_on: date | None = None
    fed_on: date | None = None
    watered_on: date | None = None
    vacated_on: date | None = None
    clean: bool = True
    """Whether it was cleaned after the last crickets left, or never held any."""
    to_harvest: bool = False


def care_jobs(care: BinCare, feed_days: Days, day: date, today: date) -> list[Job]:
    """Feed, water and clean jobs of one bin on `day`; `today` tells a day to come from today. Raises `BadDays`."""
    jobs = []
    if care.lots:
        jobs += _turn("feed", care, feed_days, day, today)
        jobs += _turn("water", care, feed_days, day, today)
    elif not care.occupied:
        jobs += _clean(care, day, today)
    return jobs


def _turn(deed: str, care: BinCare, days: Days, day: date, today: date) -> list[Job]:
    """Feed or water by the farm's days; what was given before the animals came does not count."""
    fed = deed == "feed"
    last = care.fed_on if fed else care.watered_on
    if last is not None and care.came_on is not None and last < care.came_on:
        last = None
    turn = due(days, last, day, kept_from=today)
    if turn is None:
        return []
    if last is None and care.came_on is not None and day <= today:
        turn = Due(care.came_on, (day - care.came_on).days)
    if turn.again:
        why = said("by turn, {days}", days=in_words(days))
    elif last is None:
        why = said("not fed yet since the crickets came") if fed else said("not watered yet since the crickets came")
        why = joined([why, ago(care.came_on, day)]) if care.came_on else why
    else:
        pattern = word("fed {ago}, {days}{late}") if fed else word("watered {ago}, {days}{late}")
        why = said(pattern, ago=ago(last, day), days=in_words(days), late=lateness(turn))
    if fed and care.to_harvest:
        why = said("{why}; ready to harvest: leave it out if you harvest within a day", why=why)
    what = said("Feed {bin}", bin=care.bin) if fed else said("Water {bin}", bin=care.bin)
    return [Job(key=f"{deed}:{care.bin}", deed=deed, what=what, why=why, urgency=urgency_of(turn), bin=care.bin)]


def _clean(care: BinCare, day: date, today: date) -> list[Job]:
    gone = care.vacated_on
    if gone is None or care.clean or not first_falls(gone, day, today):
        return []
    late = (day - gone).days > CLEAN_WITHIN_DAYS
    why = said("empty since {day} and not cleaned since", day=day_in_words(gone))
    return [
        Job(key=f"clean:{care.bin}", deed="clean", what=said("Clean {bin}", bin=care.bin), why=why, bin=care.bin,
            urgency="overdue" if late else "due")
    ]  # fmt: skip
