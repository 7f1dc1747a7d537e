"""The words in which a figure is explained: facts by their names, how far they moved it, what would narrow it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from chirr.book import ledger
from chirr.desk.belief import Foresight
from chirr.engine.colony.ahead import LotAhead
from chirr.engine.colony.belief import ODD_BEYOND
from chirr.engine.colony.influence import KINDS, Moved

TIMES = ("ready", "first")
"""Figures that are hours."""

FAR_LOG = math.log(2)
"""What moved a figure further than this is not given in figures: leaving it out is reckoned along a straight line."""


GATHERED = (
    ("hatch", "hatches"),
    ("look in vain", "looks in vain"),
    ("count of eggs", "counts of eggs"),
    ("count of pinheads", "counts of pinheads"),
    ("count of crickets", "counts of crickets"),
    ("weighing", "weighings"),
    ("harvest", "harvests"),
)
"""What facts of each kind elsewhere on the farm are called, one and many, in the order of the engine's KINDS."""


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


def narrowed_words(f: Foresight, n: Narrowed, a: LotAhead | None) -> str:
    if n.key in TIMES:
        return f"the band of its harvest day shrinks from ±{n.now:.1f} to ±{n.then:.1f} days"
    on = f" on {day_words(f, f.as_of + 86400 * likely_day(f, a))}" if a is not None else ""
    what = {"kg": f"kilograms{on}", "alive": "number", "pinheads": "pinheads"}[n.key]
    return f"the band of its {what} shrinks from ±{100 * n.now:.0f} % to ±{100 * n.then:.0f} %"


def _day_of_hour(f: Foresight, hour: float) -> str:
    return day_words(f, f.gathered.start + 3600 * hour)


def day_words(f: Foresight, at: float) -> str:
    then = datetime.fromtimestamp(at, ZoneInfo(f.card.timezone))
    return f"{then.day} {then:%B}"


def moved_words(key: str, by: float) -> str:
    if key in TIMES:
        days = abs(by) / 24.0
        return f"made it {days:.1f} day{'' if f'{days:.1f}' == '1.0' else 's'} {'later' if by > 0 else 'earlier'}"
    times = math.exp(min(by, 50.0))
    if abs(by) > FAR_LOG:
        return f"made it {'over twice' if by > 0 else 'less than half'} as {'heavy' if key == 'kg' else 'many'}"
    change = f"{abs(times - 1):.1%}" if abs(times - 1) < 0.01 else f"{abs(times - 1):.0%}"
    words = ("heavier", "lighter") if key == "kg" else ("more", "fewer")
    return f"made it {change.replace('%', ' %')} {words[by < 0]}"


def fact_words(m: Moved, subject: Subject) -> str:
    """A fact by its name: 'The weighing of 12 March (60 crickets, 32 mg each)'; others by their number."""
    if not m.own:
        one, many = GATHERED[m.kind]
        n = len(m.facts)
        return f"The farm’s {n:,} other {many}" if n > 1 else f"The farm’s one other {one}"
    f, i = subject.f, int(m.facts[0])
    facts, row = f.belief.facts, int(f.belief.facts.row[i])
    said = (_lot_fact if facts.what[i] <= 2 else _clutch_fact)(f, i, row, KINDS[m.kind], subject)
    odd = ", which does not go with the others," if abs(f.belief.off[i]) > ODD_BEYOND else ""
    return said + odd


def _lot_fact(f: Foresight, i: int, row: int, kind: str, subject: Subject) -> str:
    facts, schedule = f.belief.facts, f.belief.schedule
    name = f.gathered.lots[int(schedule.lot[row])]
    of = "" if name == subject.lot else f" of lot {name}"
    on = _day_of_hour(f, float(schedule.hour[row]))
    number = math.exp(facts.value[i])
    if kind == "weighings":
        sample = int(schedule.sample[row])
        return f"The weighing{of} of {on} ({sample:,} cricket{'s' if sample != 1 else ''}, {number:.3g} mg each)"
    if kind == "harvests":
        return f"The harvest{of} of {on} ({number / 1e6:.3g} kg)"
    unit = "pinheads" if kind == "pinhead counts" else "crickets"
    return f"The count{of} of {on} ({number:,.0f} {unit})"


def _clutch_fact(f: Foresight, i: int, row: int, kind: str, subject: Subject) -> str:
    clutch, facts = f.belief.history.clutches[row], f.belief.facts
    of = "" if clutch.name == subject.clutch else f" of clutch {clutch.name}"
    if kind == "looks in vain":
        seen = _day_of_hour(f, clutch.unseen_until_h or 0.0)
        return f"That no pinheads{of} were out by {seen}"
    if kind == "hatches":
        between = clutch.first_between or (0.0, 0.0)
        return f"The hatch{of} seen on {_day_of_hour(f, between[1])}"
    counts = clutch.egg_counts if kind == "egg counts" else clutch.pinhead_counts
    hour = next((h for h, _, _, entry in counts if entry == facts.entry[i]), clutch.laid_h)
    unit = "eggs" if kind == "egg counts" else "pinheads"
    return f"The count{of} of {_day_of_hour(f, hour)} ({math.exp(facts.value[i]):,.0f} {unit})"


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
