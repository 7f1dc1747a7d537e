"""What limits the farm now, measured in its book: space, labour, survival, or else eggs."""

from __future__ import annotations

import statistics
from dataclasses import asdict

from chirr.book import ledger, shelf
from chirr.book.standing import Fact, Lot, Standing
from chirr.desk import clock
from chirr.desk.shapes import Beliefs
from chirr.desk.timing import WEEKS, timing
from chirr.desk.trial_answers import Answer
from chirr.desk.trial_lots import mass_at_end_mg
from chirr.desk.trial_tables import TableFault
from chirr.engine.biology.species import Species, species
from chirr.engine.trials.limits import Measures, limiting, limits

HOURS_EACH = 20.0
"""Hours a week that each person has for the bins, where nobody says otherwise (judgement)."""
LATE_LOTS = 40
"""So many of the lots harvested last say how many survive (judgement)."""


def what_limits(*, people: int | None = None, hours_each: float = HOURS_EACH, beliefs: Beliefs | None = None) -> Answer:
    """Each of the four with its measure and reason, and which of them limits the farm.

    people: how many work at the bins; else as many as wrote entries in the last weeks. hours_each: a week.
    Raises LookupError without a farm, TableFault for hours or people that cannot be.
    """
    card = shelf.card()
    if card is None:
        raise LookupError("This book holds no farm yet; set one up or import a folder.")
    if not 0 < hours_each <= 168 or (people is not None and not 0 < people <= 10_000):
        raise TableFault("Give at least one person, and from 1 to 168 hours a week for each.")
    s, animal = ledger.live(), species(card.species)
    crew = people if people is not None else _crew()
    m = measured(s, beliefs, animal, hours=timing()["week"][-1]["hours"], hours_there=crew * hours_each)
    found = limits(m)
    chosen = limiting(found)
    also = [x.name for x in found if x.tight and x is not chosen]
    return {
        "limit": chosen.name, "why": chosen.says, "also_tight": also,
        "measures": [{"name": x.name, "tight": x.tight, "load": x.load, "says": x.says} for x in found],
        "people": crew, "hours_each": hours_each, "figures": asdict(m),
    }  # fmt: skip


def measured(s: Standing, beliefs: Beliefs | None, animal: Species, *, hours: float, hours_there: float) -> Measures:
    """The measures of a standing; without beliefs nothing is known of densities."""
    growing = [b for b in s.bins.values() if b.duty != "breeding"]
    knee = animal.density_knee_per_cm2.value
    dense = {
        name: x.per_cm2.mid for name, x in (beliefs.lots if beliefs else {}).items()
        if x.bin in s.bins and s.bins[x.bin].duty != "breeding" and not x.waiting
    }  # fmt: skip
    nursery = [d for name, d in dense.items() if s.bins[s.lots[name].bin or ""].duty == "nursery"]
    shares = survived(s)
    early, late = animal.survival_to_day14, animal.survival_day14_to_adult
    return Measures(
        bins=len(growing), empty_bins=sum(1 for b in growing if not b.lots and not b.hatching), lots=len(dense),
        crowded_lots=sum(d > knee for d in dense.values()), knee=knee,
        nursery_density=statistics.median(nursery) if nursery else None,
        survival=statistics.median(shares) if shares else None, survival_lots=len(shares),
        band=(early.low * late.low, early.high * late.high), hours=hours, hours_there=hours_there,
    )  # fmt: skip


def survived(s: Standing) -> list[float]:
    """Crickets harvested of each pinhead counted, lot by lot, of the lots harvested last that nobody left or joined."""
    ended = sorted((x for x in s.lots.values() if x.end_kg and x.ended_at), key=lambda x: x.ended_at or 0)
    shares = [share for lot in ended if (share := _share(s, lot)) is not None]
    return shares[-LATE_LOTS:]


def _share(s: Standing, lot: Lot) -> float | None:
    if lot.origin != "clutches" or any(f.kind in ("out", "in", "mix", "take") for f in lot.facts):
        return None
    mass, young = mass_at_end_mg(lot), _pinheads(s, lot)
    return None if mass is None or not young else (lot.end_kg or 0.0) * 1e6 / mass[0] / young


def _pinheads(s: Standing, lot: Lot) -> float | None:
    """Pinheads counted in the lot, else in all of its clutches; None where they were not."""

    def counted(facts: list[Fact]) -> list[float]:
        return [f.quantity for f in facts if f.kind == "count" and f.unit == "pinheads" and f.quantity]

    own = counted(lot.facts)
    if own:
        return statistics.fmean(own)
    of = [counted(s.clutches[c].facts) for c in lot.clutches if c in s.clutches]
    return sum(statistics.fmean(x) for x in of) if of and all(of) else None


def _crew() -> int:
    """People who wrote entries in the last weeks."""
    since = clock.now() - WEEKS * 7 * 86400
    return len({e.person for e in ledger.entries("at >= %s", (since,)) if e.person})
