"""Why a figure is what it is: the facts that moved it most, and the one measurement that would narrow it most."""

from __future__ import annotations

import math
from collections.abc import Collection

import msgspec
import numpy as np

from chirr.book import ledger
from chirr.desk.belief import Foresight, foresight
from chirr.desk.minutes import learnt
from chirr.desk.spoken import again, say
from chirr.desk.why_words import (
    TIMES,
    Narrowed,
    Subject,
    day_words,
    entry_of,
    fact_words,
    likely_day,
    moved_words,
    narrowed_words,
)
from chirr.engine.colony.ahead import LotAhead
from chirr.engine.colony.figures import (
    WEIGHED,
    Beside,
    Explained,
    Measurement,
    colour_columns,
    explain_clutch,
    explain_lot,
    lot_unknowns,
    own_columns,
)
from chirr.engine.colony.influence import Surroundings
from chirr.says import said

SHOWN = 3
BAND = 1.2816
"""Half the width of an 80 % band, in standard deviations."""

LEAST_LOG, LEAST_H = 0.005, 1.2
"""What moved a figure by less than half a per cent, or a time by less than a twentieth of a day, is not named."""

AT_MOST, LEAST_GAIN, LEAST_DAYS, LEAST_SHARE = 5, 0.03, 0.5, 0.15
"""A day's round offers so many weighings. A measurement is advised if it narrows a band by at least so much of the
figure, or so many days, and by such a share of the band itself (judgement)."""


class Mover(msgspec.Struct, frozen=True, kw_only=True):
    """A fact, or all facts of a kind, and how far it moved a figure: `by` is of the logarithm, or in hours."""

    says: str
    by: float
    entry: str | None = None


class Figure(msgspec.Struct, frozen=True, kw_only=True):
    """A figure and what moved it most, the most first."""

    title: str
    moved: tuple[Mover, ...]


class Advice(msgspec.Struct, frozen=True, kw_only=True):
    """The measurement that would narrow a figure most.

    now, then: half-widths of its 80 % band before and after, shares of the figure, or days for a time.
    """

    says: str
    deed: str
    now: float
    then: float
    minutes: float
    bin: str | None = None
    lot: str | None = None
    clutch: str | None = None
    sample: int | None = None


Answer = tuple[list[Figure], list[Advice]]


class Why(msgspec.Struct, frozen=True, kw_only=True):
    """The answer to 'why?' for a bin, lot or clutch. `odd`: entries of the farm that count for little or nothing."""

    figures: tuple[Figure, ...]
    advice: tuple[Advice, ...]
    odd: int


def why(kind: str, name: str) -> Why:
    """Why the figures of a bin, lot or clutch are what they are.

    Raises LookupError if the farm has no such thing.
    """
    f = foresight()
    s = ledger.live()
    known: dict[str, Collection[str]] = {"bin": s.bins, "lot": s.lots, "clutch": s.clutches}
    if name not in known.get(kind, ()):
        raise LookupError(
            {
                "bin": say("There is no bin {name} on this farm.", name=name),
                "lot": say("There is no lot {name} on this farm.", name=name),
            }.get(kind, say("There is no clutch {name} on this farm.", name=name))
        )
    if kind == "bin":
        lots = list(s.bins[name].lots)
        clutches = [] if lots else [*s.bins[name].trays, *s.bins[name].hatching]
    else:
        lots, clutches = ([name], []) if kind == "lot" else ([], [name])
    found = [_lot(f, n) for n in lots] + [_clutch(f, n) for n in clutches]
    odd = {o.entry for o in f.belief.odd if o.entry} | set(s.misfits)
    return Why(
        figures=tuple(x for figures, _ in found for x in figures),
        advice=tuple(a for _, advice in found for a in advice),
        odd=len(odd),
    )


def worth_weighing(f: Foresight) -> dict[str, str]:
    """The few growing lots of which a weighing today would narrow the forecast most: lot -> why, in a sentence."""
    growing = [a for a in f.ahead.lots if _grows(f, a) and not a.waiting and a.x < 1]
    if not growing:
        return {}
    beside = Beside.of(f.belief, f.gathered.clocks, f.horizon, f.gathered.place_room, colour_columns(f.belief))
    none = np.zeros(0, dtype=np.int64)
    best: list[tuple[float, str, str]] = []
    for a in growing:
        seen = explain_lot(beside, a.lot, none, day=likely_day(f, a))
        weighing = [m for m in seen.measurements if m.name == "weigh"]
        if not weighing or not len(seen.unknowns):
            continue
        around = f.ground.around(seen.unknowns)
        found = [_narrowed(key, seen, around, weighing[0], _band(f, a, key)) for key in ("ready", "kg")]
        told = [n for n in found if _worth_it(n)]
        if told:
            gain = max(1 - n.then / n.now for n in told)
            narrowed = [narrowed_words(f, n, a) for n in told]
            words = narrowed[0] if len(told) == 1 else said("{a} and {b}", a=narrowed[0], b=narrowed[1])
            best.append((gain, f.gathered.lots[a.lot], said("{words}: weigh {n} or more", words=words, n=WEIGHED)))
    best.sort(key=lambda x: (-x[0], x[1]))
    return {name: words for _, name, words in best[:AT_MOST]}


# --- figures --------------------------------------------------------------------------------------------------------


def _grows(f: Foresight, a: LotAhead) -> bool:
    bin_ = f.standing.bins.get(f.standing.lots[f.gathered.lots[a.lot]].bin or "")
    return bool(np.isfinite(a.ready_h).all()) and not (bin_ is not None and bin_.duty == "breeding")


def _open_clutches(f: Foresight) -> np.ndarray:
    return np.array([c.clutch for c in f.ahead.clutches], dtype=np.int64)


def _lot(f: Foresight, name: str) -> Answer:
    a = next((x for x in f.ahead.lots if f.gathered.lots[x.lot] == name), None)
    if a is None:
        return [], []
    b, waiting = f.belief, _open_clutches(f)
    unknowns, day = lot_unknowns(b, a.lot, waiting), likely_day(f, a)
    column = own_columns(b, unknowns)
    beside = Beside.of(b, f.gathered.clocks, f.horizon, f.gathered.place_room, column, np.array([a.lot]))
    seen = explain_lot(beside, a.lot, waiting, day=day)
    if not seen.figures:
        return [], []
    titles = {"alive": say("Crickets alive in lot {lot}", lot=name)}
    if _grows(f, a):
        on = again(day_words(f, f.as_of + 86400 * day))
        titles = {
            "kg": say("Kilograms of lot {lot} on {day}", lot=name, day=on),
            "ready": say("The day on which lot {lot} is ready", lot=name),
            **titles,
        }
        if a.ready_h[3] <= b.history.now_h:
            del titles["ready"]
    bands = {key: _band(f, a, key) for key in titles}
    return _explained(f, seen, titles, bands, Subject(f=f, lot=name, ahead=a))


def _band(f: Foresight, a: LotAhead, key: str) -> np.ndarray:
    """Quantiles of a lot's figure as they are shown."""
    if key == "ready":
        return a.ready_h
    return np.asarray(a.kg[likely_day(f, a)] if key == "kg" else a.alive[0])


def _clutch(f: Foresight, name: str) -> Answer:
    c = next((x for x in f.ahead.clutches if f.gathered.clutches[x.clutch] == name), None)
    if c is None:
        return [], []
    b = f.belief
    column = own_columns(b, b.latents.clutch[:, c.clutch])
    none = np.zeros(0, dtype=np.int64)
    beside = Beside.of(b, f.gathered.clocks, f.horizon, f.gathered.place_room, column, none)
    seen = explain_clutch(beside, c.clutch)
    titles = {
        "pinheads": say("Pinheads of clutch {clutch}", clutch=name),
        "first": say("First pinheads of clutch {clutch}", clutch=name),
    }
    if f.standing.clutches[name].hatched_at is not None:
        del titles["first"]
    return _explained(f, seen, titles, {"pinheads": c.pinheads}, Subject(f=f, clutch=name))


def _explained(
    f: Foresight, seen: Explained, titles: dict[str, str], bands: dict[str, np.ndarray], subject: Subject
) -> Answer:
    around = f.ground.around(seen.unknowns)
    figures, advice = [], []
    for key, title in titles.items():
        least = LEAST_H if key in TIMES else LEAST_LOG
        moved = [m for m in around.moved(seen.figures[key].by) if abs(m.by) >= least][:SHOWN]
        movers = tuple(
            Mover(
                says=say("{fact} {moved}.", fact=fact_words(m, subject), moved=moved_words(key, m.by)),
                by=m.by,
                entry=entry_of(f, m),
            )
            for m in moved
        )
        figures.append(Figure(title=title, moved=movers))
        if key in bands and not (key == "alive" and "kg" in titles):
            tried = [_narrowed(key, seen, around, m, bands[key]) for m in seen.measurements]
            best = min(tried, key=lambda n: n.then, default=None)
            if best is not None and _worth_it(best):
                advice.append(_advice(best, subject))
    return figures, advice


def _narrowed(key: str, seen: Explained, around: Surroundings, measured: Measurement, band: np.ndarray) -> Narrowed:
    """What a measurement would do to a figure's band.

    The band shown also holds what no measurement of today can tell (weather to come): that part stays. Where little is
    known it is narrower than the straight line makes it (no more can live than have hatched); what the measurement
    leaves is then taken as the line has it, for a narrow band is near the line.
    """
    slope = seen.figures[key].by
    with np.errstate(divide="ignore", invalid="ignore"):
        wide = (band[5] - band[1]) / 24.0 if key in TIMES else np.log(band[5] / band[1])
    sd, known = float(wide) / (2 * BAND), around.variance(slope) / (24.0**2 if key in TIMES else 1.0)
    if not math.isfinite(sd) or sd <= 0 or known <= 0:
        return Narrowed(key=key, measurement=measured.name, now=0.0, then=0.0)
    gone = around.taken_away(slope, measured.slope.by, measured.noise_sd) / around.variance(slope)
    left = math.sqrt(min(max(sd**2 - known, 0.0) + (1 - gone) * known, sd**2))
    now, then = (BAND * x if key in TIMES else math.sinh(BAND * x) for x in (sd, left))
    return Narrowed(key=key, measurement=measured.name, now=now, then=then)


def _worth_it(n: Narrowed) -> bool:
    least = LEAST_DAYS if n.key in TIMES else LEAST_GAIN
    return n.now - n.then >= max(least, LEAST_SHARE * n.now)


def _advice(best: Narrowed, subject: Subject) -> Advice:
    f = subject.f
    deed = "weigh" if best.measurement == "weigh" else "count"
    minutes = learnt(f.standing, f.as_of).of(deed)
    bin_ = f.standing.lots[subject.lot].bin if subject.lot else None
    here = say("bin {name}", name=bin_) if bin_ else say("lot {name}", name=subject.lot)
    do = {
        "weigh": lambda: say("Weigh {n} from {here} today", n=WEIGHED, here=here),
        "count": lambda: say("Count the crickets of {here} today by their whole weight, right to 10 %", here=here),
        "eggs": lambda: (
            say("Count the eggs of clutch {clutch} from a sample, right to 20 %", clutch=subject.clutch)
            if subject.clutch
            else say("Count the eggs of clutch to hatch from a sample, right to 20 %")
        ),
    }[best.measurement]()
    return Advice(
        says=say(
            "{do}: {narrowed}, about {minutes:.0f} minutes.",
            do=do, narrowed=narrowed_words(f, best, subject.ahead), minutes=float(minutes),
        ),
        deed=deed, now=best.now, then=best.then, minutes=minutes,
        bin=bin_, lot=subject.lot, clutch=subject.clutch, sample=WEIGHED if deed == "weigh" else None,
    )  # fmt: skip
