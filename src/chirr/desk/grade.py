"""How good the forecasts have been: the past forecast again from what was known then, scored by the later book.

'Known then' is what the book holds with a time up to then, as for every look back. The report is kept in a file beside
the book and can be thrown away; pages only read it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from chirr.book import ledger, shelf
from chirr.book.standing import Standing
from chirr.desk import clock
from chirr.desk.belief import Foresight, foresee
from chirr.desk.grade_cases import REACH_DAYS, Question, questions
from chirr.desk.grade_report import Case, Grade, find_drift, grade_kinds
from chirr.desk.grade_rivals import CalendarRule, Keeper, Ledger, published_alone
from chirr.desk.kept_grade import DATES, asked_days, first_entry_id, is_whole
from chirr.desk.kept_grade import keep as keep_it
from chirr.desk.shapes import QUANTILES
from chirr.engine.biology.species import species
from chirr.engine.colony.ahead import Ahead, ClutchAhead, LotAhead
from chirr.engine.colony.calendar import Textbook
from chirr.engine.colony.scores import wider

Floats = NDArray[np.float64]
Told = Callable[[str, int, int | None], None]

DRAWS = 400


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
        made_at=clock.now(), farm=card.name, first_entry=first_entry_id(), asked=asked, draws=draws,
        kinds=grade_kinds(cases), drift=find_drift(cases, last or 0),
        newest_entry=newest,
    )  # fmt: skip
    if keep and is_whole(report):
        keep_it(report)
    return report


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
