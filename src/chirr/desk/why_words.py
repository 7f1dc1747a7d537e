"""The words in which a figure is explained: facts by their names, how far they moved it, what would narrow it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from chirr.book import ledger
from chirr.desk.belief import Foresight
from chirr.engine.colony.ahead import LotAhead
from chirr.engine.colony.belief import ODD_BEYOND
from chirr.engine.colony.influence import KINDS, Moved
from chirr.says import Said, said, said_n, word

FULL_MONTHS = (
    word("January"), word("February"), word("March"), word("April"), word("May"), word("June"), word("July"),
    word("August"), word("September"), word("October"), word("November"), word("December"),
)  # fmt: skip

TIMES = ("ready", "first")
"""Figures that are hours."""

FAR_LOG = math.log(2)
"""What moved a figure further than this is not given in figures: leaving it out is reckoned along a straight line."""


GATHERED: tuple[Callable[[int], Said], ...] = (
    lambda n: said_n("The farm’s one other hatch", "The farm’s {n:,} other hatches", n),
    lambda n: said_n("The farm’s one other look in vain", "The farm’s {n:,} other looks in vain", n),
    lambda n: said_n("The farm’s one other count of eggs", "The farm’s {n:,} other counts of eggs", n),
    lambda n: said_n("The farm’s one other count of pinheads", "The farm’s {n:,} other counts of pinheads", n),
    lambda n: said_n("The farm’s one other count of crickets", "The farm’s {n:,} other counts of crickets", n),
    lambda n: said_n("The farm’s one other weighing", "The farm’s {n:,} other weighings", n),
    lambda n: said_n("The farm’s one other harvest", "The farm’s {n:,} other harvests", n),
)
"""What facts of each kind elsewhere on the farm are called, by their number, in the order of the engine's KINDS."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """What is explained: a lot, or a clutch."""

    f: Foresight
    lot: str | None = None
    clutch: str | None = None
    ahead: LotAhead | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Narrowed:
    """Half-widths of a figure's 80 % band, now and after a measurement: shares of the figure, or days for a time."""

    key: str
    measurement: str
    now: float
    then: float


def likely_day(f: Foresight, a: LotAhead) -> int:
    """Days from now to the likeliest day of harvest, within the days that are foreseen."""
    if not np.isfinite(a.ready_h[3]):
        return 0
    return int(np.clip(round((a.ready_h[3] - f.belief.history.now_h) / 24.0), 0, f.days))


def narrowed_words(f: Foresight, n: Narrowed, a: LotAhead | None) -> Said:
    if n.key in TIMES:
        return said("the band of its harvest day shrinks from ±{now:.1f} to ±{then:.1f} days", now=n.now, then=n.then)
    now, then = 100 * n.now, 100 * n.then
    if n.key == "kg" and a is not None:
        on = day_words(f, f.as_of + 86400 * likely_day(f, a))
        return said(
            "the band of its kilograms on {day} shrinks from ±{now:.0f} % to ±{then:.0f} %", day=on, now=now, then=then
        )
    pattern = {
        "kg": word("the band of its kilograms shrinks from ±{now:.0f} % to ±{then:.0f} %"),
        "alive": word("the band of its number shrinks from ±{now:.0f} % to ±{then:.0f} %"),
        "pinheads": word("the band of its pinheads shrinks from ±{now:.0f} % to ±{then:.0f} %"),
    }[n.key]
    return said(pattern, now=now, then=then)


def _day_of_hour(f: Foresight, hour: float) -> Said:
    return day_words(f, f.gathered.start + 3600 * hour)


def day_words(f: Foresight, at: float) -> Said:
    then = datetime.fromtimestamp(at, ZoneInfo(f.card.timezone))
    return said("{day} {month}", day=str(then.day), month=said(FULL_MONTHS[then.month - 1]))


def moved_words(key: str, by: float) -> Said:
    if key in TIMES:
        days = abs(by) / 24.0
        if f"{days:.1f}" == "1.0":
            pattern = word("made it {days:.1f} day later") if by > 0 else word("made it {days:.1f} day earlier")
        else:
            pattern = word("made it {days:.1f} days later") if by > 0 else word("made it {days:.1f} days earlier")
        return said(pattern, days=days)
    times = math.exp(min(by, 50.0))
    if abs(by) > FAR_LOG:
        if key == "kg":
            return said("made it over twice as heavy") if by > 0 else said("made it less than half as heavy")
        return said("made it over twice as many") if by > 0 else said("made it less than half as many")
    digits = 1 if abs(times - 1) < 0.01 else 0
    change = Said(f"{{pct:.{digits}f}} %", parts={"pct": 100 * abs(times - 1)})
    if key == "kg":
        return (
            said("made it {change} heavier", change=change)
            if by > 0
            else said("made it {change} lighter", change=change)
        )
    return said("made it {change} more", change=change) if by > 0 else said("made it {change} fewer", change=change)


def fact_words(m: Moved, subject: Subject) -> Said:
    """A fact by its name: 'The weighing of 12 March (60 crickets, 32 mg each)'; others by their number."""
    if not m.own:
        return GATHERED[m.kind](len(m.facts))
    f, i = subject.f, int(m.facts[0])
    facts, row = f.belief.facts, int(f.belief.facts.row[i])
    told = (_lot_fact if facts.what[i] <= 2 else _clutch_fact)(f, i, row, KINDS[m.kind], subject)
    if abs(f.belief.off[i]) > ODD_BEYOND:
        return said("{fact}, which does not go with the others,", fact=told)
    return told


def _lot_fact(f: Foresight, i: int, row: int, kind: str, subject: Subject) -> Said:
    facts, schedule = f.belief.facts, f.belief.schedule
    name = f.gathered.lots[int(schedule.lot[row])]
    other = name != subject.lot
    on = _day_of_hour(f, float(schedule.hour[row]))
    number = math.exp(facts.value[i])
    if kind == "weighings":
        sample = int(schedule.sample[row])
        if other:
            return said_n(
                "The weighing of lot {lot} of {day} ({n:,} cricket, {mg:.3g} mg each)",
                "The weighing of lot {lot} of {day} ({n:,} crickets, {mg:.3g} mg each)",
                sample, lot=name, day=on, mg=number,
            )  # fmt: skip
        return said_n(
            "The weighing of {day} ({n:,} cricket, {mg:.3g} mg each)",
            "The weighing of {day} ({n:,} crickets, {mg:.3g} mg each)",
            sample, day=on, mg=number,
        )  # fmt: skip
    if kind == "harvests":
        if other:
            return said("The harvest of lot {lot} of {day} ({kg:.3g} kg)", lot=name, day=on, kg=number / 1e6)
        return said("The harvest of {day} ({kg:.3g} kg)", day=on, kg=number / 1e6)
    unit = said("pinheads") if kind == "pinhead counts" else said("crickets")
    if other:
        return said("The count of lot {lot} of {day} ({n:,.0f} {unit})", lot=name, day=on, n=number, unit=unit)
    return said("The count of {day} ({n:,.0f} {unit})", day=on, n=number, unit=unit)


def _clutch_fact(f: Foresight, i: int, row: int, kind: str, subject: Subject) -> Said:
    clutch, facts = f.belief.history.clutches[row], f.belief.facts
    name, other = clutch.name, clutch.name != subject.clutch
    if kind == "looks in vain":
        seen = _day_of_hour(f, clutch.unseen_until_h or 0.0)
        if other:
            return said("That no pinheads of clutch {clutch} were out by {day}", clutch=name, day=seen)
        return said("That no pinheads were out by {day}", day=seen)
    if kind == "hatches":
        between = clutch.first_between or (0.0, 0.0)
        seen = _day_of_hour(f, between[1])
        if other:
            return said("The hatch of clutch {clutch} seen on {day}", clutch=name, day=seen)
        return said("The hatch seen on {day}", day=seen)
    counts = clutch.egg_counts if kind == "egg counts" else clutch.pinhead_counts
    hour = next((h for h, _, _, entry in counts if entry == facts.entry[i]), clutch.laid_h)
    unit = said("eggs") if kind == "egg counts" else said("pinheads")
    on, n = _day_of_hour(f, hour), math.exp(facts.value[i])
    if other:
        return said("The count of clutch {clutch} of {day} ({n:,.0f} {unit})", clutch=name, day=on, n=n, unit=unit)
    return said("The count of {day} ({n:,.0f} {unit})", day=on, n=n, unit=unit)


def entry_of(f: Foresight, m: Moved) -> str | None:
    """The entry behind a single fact, to open it."""
    if not m.own:
        return None
    i = int(m.facts[0])
    if f.belief.facts.what[i] == 5:
        clutch = f.standing.clutches[f.gathered.clutches[int(f.belief.facts.row[i])]]
        return _hatch_entry(clutch.name) if clutch.hatched_at is not None else None
    return f.belief.facts.entry[i] or None


def _hatch_entry(clutch: str) -> str | None:
    return next((e.id for e in ledger.entries("clutch = %s AND deed = 'hatch'", (clutch,), order="at DESC")), None)
