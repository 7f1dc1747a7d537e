"""The ways that running trials have drawn, put on the jobs of a day: what a tray of this bin is to be, and why.

What is drawn goes into the columns of the new tray, so that one tap does it as drawn; a way that no column says (a net,
a feed) goes into its note. Days in the bin become the bin's own swap days.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from chirr.book.standing import Standing
from chirr.desk.trial_notes import Trial, all_trials
from chirr.desk.trial_words import WAY
from chirr.engine.rounds.due import Job
from chirr.says import joined, said, word


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """What one bin has by lot now: the way, what tells the ways apart, and of which trial."""

    bin: str
    way: str
    by: str
    trial: str

    @property
    def why(self) -> str:
        """The reason on the round."""
        return said("trial {trial}: {way} here, drawn by lot", trial=self.trial, way=in_words(self.by, self.way))


def in_words(by: str, way: str) -> str:
    """A way as the hand at the bin needs to read it."""
    if by == "days_in":
        return said("trays stay {way} day", way=way) if way == "1" else said("trays stay {way} days", way=way)
    patterns = {
        "tray_type": word("tray {way}"), "substrate": word("substrate {way}"),
        "cycle": word("substrate in cycle {way}"),
    }  # fmt: skip
    return said(patterns[by], way=way) if by in patterns else way


def turn(t: Trial, bin_: str, day: date) -> str | None:
    """The way that a bin has on a day; None where it has none, or the trial has not begun or is over."""
    ways = t.bins.get(bin_, ())
    if not ways or not t.start:
        return None
    days = (day - date.fromisoformat(t.start)).days
    if days < 0 or (t.weeks and days >= 7 * t.weeks):
        return None
    return ways[min(days // 7 // max(t.period_weeks, 1), len(ways) - 1)]


def drawn_on(day: date) -> dict[str, list[Drawn]]:
    """bin -> what running trials of the book have drawn for it on a day."""
    out: dict[str, list[Drawn]] = {}
    for t in all_trials().values():
        for bin_ in t.bins:
            way = turn(t, bin_, day)
            if way is not None:
                out.setdefault(bin_, []).append(Drawn(bin=bin_, way=way, by=t.by, trial=t.trial))
    return out


def stay_days(drawn: Iterable[Drawn]) -> int | None:
    """Days that a tray stays in a bin whose days are drawn; None where they are not."""
    return next((int(d.way) for d in drawn if d.by == "days_in" and d.way.isdigit() and int(d.way) > 0), None)


def as_drawn(job: Job, drawn: Iterable[Drawn], standing: Standing) -> Job:
    """A job of laying or pulling a tray with what trials have drawn for its bin; any other as it is."""
    mine = [d for d in drawn if job.deed == "lay" or (job.deed == "pull" and d.by == "days_in")]
    if not mine or job.deed not in ("lay", "pull"):
        return job
    fill = dict(job.fill)
    for d in mine if job.deed == "lay" else ():
        fill |= _columns(d, standing)
    return replace(job, why=joined([job.why, *(d.why for d in mine)], "; "), fill=tuple(fill.items()))


def _columns(d: Drawn, standing: Standing) -> dict[str, str]:
    if d.by == "tray_type":
        return {"tray_type": d.way}
    if d.by == "mark":
        return {"note": WAY + d.way}
    if d.by == "substrate":
        batch = standing.substrates.get(d.way)
        return {"substrate": d.way, **({"cycle": str(max(batch.cycles))} if batch and batch.cycles else {})}
    if d.by == "cycle":
        newest = next((c.substrate for c in reversed(standing.clutches.values()) if str(c.cycle) == d.way), None)
        return {"cycle": d.way, **({"substrate": newest} if newest else {})}
    return {}


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """What hangs on a bin of a trial. turns: (from, until, way in words), one where the bin keeps its way."""

    bin: str
    room: str
    stack: int
    level: int
    turns: tuple[tuple[date | None, date | None, str], ...]


def labels(t: Trial, standing: Standing) -> tuple[Label, ...]:
    """The labels of a trial's bins, in walking order of their places; a bin that is gone is left out."""
    start = date.fromisoformat(t.start) if t.start else None
    found = []
    for name, ways in t.bins.items():
        b = standing.bins.get(name)
        if b is None or not ways:
            continue
        days = 7 * (t.period_weeks if len(ways) > 1 else t.weeks)
        turns = []
        for n, way in enumerate(ways):
            first = start + timedelta(days=n * days) if start else None
            last = first + timedelta(days=days - 1) if first and days else None
            turns.append((first, last, in_words(t.by, way)))
        found.append(Label(bin=name, room=b.room, stack=b.stack, level=b.level, turns=tuple(turns)))
    return tuple(sorted(found, key=lambda x: (x.room, x.stack, x.level, x.bin)))
