"""How good the forecasts have been: the past forecast again from what was known then, scored by the later book.

'Known then' is what the book holds with a time up to then, as for every look back. The report is kept in a file beside
the book and can be thrown away; pages only read it.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import msgspec
import numpy as np
from django.db import connection
from numpy.typing import NDArray

from chirr.book import ledger, shelf
from chirr.book.standing import Standing
from chirr.desk import clock
from chirr.desk.belief import Foresight, foresee
from chirr.desk.grade_cases import DAY, KINDS, REACH_DAYS, Question, questions
from chirr.desk.grade_report import RIVALS, Case, Grade, drift_sentence, find_drift, grade_kinds
from chirr.desk.grade_rivals import CalendarRule, Keeper, Ledger, published_alone
from chirr.desk.shapes import QUANTILES
from chirr.desk.spoken import say
from chirr.engine.biology.species import species
from chirr.engine.colony.ahead import Ahead, ClutchAhead, LotAhead
from chirr.engine.colony.calendar import Textbook
from chirr.engine.colony.scores import wider

Floats = NDArray[np.float64]
Told = Callable[[str, int, int | None], None]

DATES, DRAWS = 26, 400
STALE_WEEKS = 4
"""A grade is called old from so many weeks on (judgement)."""
WARM_UP_DAYS = 56
"""No forecast is scored before the book is so old."""


class TooShort(LookupError):  # noqa: N818 - it is what is said, not a failure of the program
    """The book does not reach back far enough to grade anything."""


def grade(
    *, dates: int = DATES, every_days: int = 7, draws: int = DRAWS, rivals: bool = True, told: Told | None = None,
    keep: bool = True,
) -> Grade:  # fmt: skip
    """Grade the forecasts of this farm's book.

    Parameters
    ----------
    dates : int
        Forecast the past from at most so many days, evenly chosen.
    every_days : int
        No two of them nearer than this.
    draws : int
        Draws of each forecast.
    rivals : bool
        Whether published values alone are run too, which takes as long again.
    told : callable, optional
        Told how far it has come: (what, done, of).
    keep : bool
        Whether the report is kept beside the book, if it `is_whole`.

    Raises
    ------
    LookupError
        If the book holds no farm, or is too short to grade (TooShort).
    """
    card, last = shelf.card(), ledger.last_at()
    if card is None:
        raise LookupError("This book holds no farm yet; set one up or import a folder.")
    asked = asked_days(dates=dates, every_days=every_days)
    (_, newest), later = ledger.newest(), ledger.live()
    cases: list[Case] = []
    for i, at in enumerate(asked):
        if told is not None:
            told("Forecasting the past", i, len(asked))
        cases += cases_of(foresee(at, days=REACH_DAYS + 1, draws=draws), later, draws=draws if rivals else 0)
    if told is not None:
        told("Forecasting the past", len(asked), len(asked))
    report = Grade(
        made_at=clock.now(), farm=card.name, first_entry=_first_entry(), asked=asked, draws=draws,
        kinds=grade_kinds(cases), drift=find_drift(cases, last or 0),
        newest_entry=newest,
    )  # fmt: skip
    if keep and is_whole(report):
        _write(report)
    return report


def is_whole(report: Grade) -> bool:
    """Whether it asks at least as many days as a usual grade of this book.

    Only such a report is kept: drift is found in recent answers, and one of few days has too few to find any.
    """
    return len(report.asked) >= len(asked_days())


def asked_days(*, dates: int = DATES, every_days: int = 7) -> tuple[int, ...]:
    """Midnights from which the past is forecast: evenly spread over the book, its first `WARM_UP_DAYS` left out."""
    first = next(ledger.entries("1", order="at, id LIMIT 1"), None)
    last = ledger.last_at()
    if first is None or last is None:
        raise TooShort("The book holds no entries yet, so there is no past to forecast again.")
    days = int((last - first.at) / DAY) - WARM_UP_DAYS - 1
    if days < every_days:
        weeks = (WARM_UP_DAYS + every_days) // 7 + 1
        raise TooShort(
            f"The book is {int((last - first.at) / DAY)} days long; grading needs at least {weeks} weeks, "
            f"because the first {WARM_UP_DAYS // 7} only teach."
        )
    step = max(every_days, days / max(dates, 1))
    start, tz = clock.local(first.at).date() + timedelta(days=WARM_UP_DAYS), clock.zone()
    count = min(dates, int(days / step))
    return tuple(clock.day_bounds(start + timedelta(days=round(step * i)), tz)[0] for i in range(count))


def cases_of(f: Foresight, later: Standing, *, draws: int) -> list[Case]:
    """The questions of one past day with what Chirr and its rivals said; `draws` 0 leaves published values out."""
    looks, keepers = answerers(f, draws=draws)
    out = []
    for q in questions(f.standing, later, f.as_of):
        said = {who: look.answer(q) for who, look in looks.items()}
        if any(a is None for a in said.values()):
            continue
        said |= {who: _rival(keeper, q, f.standing) for who, keeper in keepers.items()}
        out.append(Case(
            kind=q.kind, thing=q.thing, asked_at=q.asked_at, answered_at=q.answered_at, truth=q.truth,
            said={who: tuple(float(v) for v in a) for who, a in said.items() if a is not None},
        ))  # fmt: skip
    return out


def answerers(f: Foresight, *, draws: int) -> tuple[dict[str, Look], dict[str, CalendarRule | Keeper]]:
    """Those who forecast as of a day: Chirr with and without what it learnt (if `draws`), the calendar, the keeper."""
    own = Ledger(standing=f.standing, at=f.as_of, book=Textbook.of(species(f.card.species)), trays=shelf.tray_types())
    looks = {"chirr": Look(f, f.ahead)}
    if draws:
        looks["published"] = Look(f, published_alone(f, draws=draws))
    return looks, {"calendar": CalendarRule(ledger=own), "keeper": Keeper(ledger=own)}


def _rival(keeper: CalendarRule | Keeper, q: Question, s: Standing) -> Floats:
    if q.kind == "first pinheads":
        return keeper.first_pinheads(s.clutches[q.thing])
    if q.kind == "pinheads":
        own = [s.clutches[q.thing]] if q.thing in s.clutches else [s.clutches[n] for n in s.lots[q.thing].clutches]
        return keeper.pinheads(own)
    if q.kind == "mean mass":
        return keeper.mean_mg(s.lots[q.thing], q.answered_at)
    return keeper.kg(s.lots[q.thing], q.answered_at)


class Look:
    """A look ahead, asked for single figures."""

    def __init__(self, f: Foresight, ahead: Ahead) -> None:
        self.now_h = f.belief.history.now_h
        self.clutches: dict[str, ClutchAhead] = {f.gathered.clutches[c.clutch]: c for c in ahead.clutches}
        self.lots: dict[str, LotAhead] = {f.gathered.lots[a.lot]: a for a in ahead.lots}

    def answer(self, q: Question) -> Floats | None:
        """Quantiles of what the book will say: the forecast widened by the answer's error; None if not foreseen."""
        clutch, lot = self.clutches.get(q.thing), self.lots.get(q.thing)
        if q.kind == "first pinheads" and clutch is not None:
            return wider((clutch.first_pinheads_h - self.now_h) / 24, QUANTILES, q.error)
        if q.kind == "pinheads" and clutch is not None:
            return _counted(clutch.pinheads, q.error)
        if lot is None:
            return None
        daily = {"pinheads": lot.alive, "mean mass": lot.mean_mg, "harvest": lot.kg}[q.kind]
        return _counted(on_day(daily, q.days), q.error)


def on_day(daily: Floats, days: float) -> Floats:
    """Quantiles some days ahead, shape (7,), between those of whole days, shape (days + 1, 7)."""
    i = min(int(days), len(daily) - 2)
    low, high = np.log(np.maximum(daily[i : i + 2], 1e-6))
    return np.asarray(np.exp(low + (days - i) * (high - low)))


def _counted(said: Floats, error: float) -> Floats:
    return np.exp(wider(np.log(np.maximum(said, 1e-6)), QUANTILES, error))


# --- the report that is kept -------------------------------------------------------------------------------------


def kept_path() -> Path | None:
    """The file beside the book; None for a book that is only in memory."""
    name = str(connection.settings_dict["NAME"])
    return (
        None if name == ":memory:" or "mode=memory" in name else Path(name).with_name(Path(name).name + ".grade.json")
    )


def kept() -> Grade | None:
    """The last report of this book, or None: never graded, or the file is of another book or cannot be read.

    A book that was put back to an older copy is another book: it no longer has all that was graded.
    """
    path = kept_path()
    try:
        report = msgspec.json.decode(path.read_bytes(), type=Grade) if path is not None else None
    except (OSError, msgspec.DecodeError):
        return None
    if report is None or report.first_entry != _first_entry():
        return None
    there = not report.newest_entry or ledger.how_many("id = %s", (report.newest_entry,)) == 1
    return report if there else None


def drift_remark(as_of: int | None = None) -> str | None:
    """A warning where bands promise too much, or where nobody has looked for long; None while all is well.

    None too for a look back (`as_of` more than a day ago): the warning is about the forecasts of today.
    """
    if as_of is not None and clock.now() - as_of > DAY:
        return None
    report = kept()
    return stale_sentence(report) if report is None else drift_sentence(report.drift) or stale_sentence(report)


def stale_sentence(report: Grade | None) -> str | None:
    """That the forecasts were never graded, though the book is long enough, or not for weeks; None if they were."""
    last = ledger.last_at()
    if last is None:
        return None
    if report is None:
        try:
            asked_days()
        except TooShort:
            return None
        return say(
            "The forecasts of this book have never been held against what came: “chirr grade” does it, and from then on"
            " a warning stands here when they promise too much."
        )
    weeks = (last - report.made_at) // (7 * DAY)
    if weeks < STALE_WEEKS:
        return None
    return say(
        "The forecasts were last held against what came {weeks} weeks ago, so nobody would know if they had begun to"
        " promise too much: run “chirr grade”.",
        weeks=int(weeks),
    )


def _write(report: Grade) -> None:
    """Whole or not at all."""
    path = kept_path()
    if path is None:
        return
    part = path.with_name(path.name + ".part")
    part.write_bytes(msgspec.json.format(msgspec.json.encode(report), indent=1))
    part.replace(path)


def _first_entry() -> str:
    first = next(ledger.entries("1", order="at, id LIMIT 1"), None)
    return "" if first is None else first.id


__all__ = ["DATES", "DRAWS", "KINDS", "RIVALS", "Grade", "TooShort", "drift_remark", "grade", "is_whole", "kept",
           "kept_path"]  # fmt: skip
