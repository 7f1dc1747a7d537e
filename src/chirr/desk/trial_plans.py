"""A trial planned from the farm's own book: what a plan rests on, the draw, and the notes written down."""

from __future__ import annotations

import time
from datetime import date

import msgspec
import numpy as np
from uuid_utils.compat import uuid7

from chirr.book import actions, ledger, shelf
from chirr.book.standing import Standing
from chirr.desk import clock
from chirr.desk.belief import swap_days_of
from chirr.desk.trial_answers import Answer
from chirr.desk.trial_notes import Trial, all_trials, trial
from chirr.desk.trial_rows import own_spread
from chirr.desk.trial_sizes import Ground
from chirr.desk.trial_tables import TableFault
from chirr.desk.trial_words import WAY, WORD
from chirr.engine.trials.allocation import allocate, allocate_crossing
from chirr.records import Entry, Person


def ground(outcome: str) -> Ground:
    """What the book gives a plan to rest on; usual spreads where its own are not known yet."""
    s, card = ledger.live(), shelf.card()
    breeding = [b for b in s.bins.values() if b.duty == "breeding"]
    trays = max((len(b.trays) for b in breeding), default=1) or 1
    rhythm = trays * 7 / (swap_days_of(card.swap_days) if card else 3.0)
    own = own_spread(s, outcome)
    if own is None:
        source = "usual spreads, as the book has too few counts to show its own"
        return Ground(source=source, bins=len(breeding), clutches_per_bin_week=rhythm)
    spread, n = own
    source = f"this farm's own spread, from {n} clutches"
    return Ground(spread=spread, source=source, bins=len(breeding), clutches_per_bin_week=rhythm)


def keep(
    name: str, answer: Answer, *, kind: str, seed: int | None = None, actor: Person, start: date | None = None
) -> Trial:
    """Draw the bins by lot and write the trial into the book. Blocks are room, level and age of the breeders."""
    if not name or len(name) > 60 or any(ord(c) < 32 for c in name):
        raise TableFault("Give the trial a name of up to 60 letters.")
    if name in all_trials():
        raise TableFault(f"The book has a trial called {name} already; give this one another name.")
    option = next((o for o in answer["options"] if o["kind"] == kind), None)
    if option is None:
        raise TableFault(f"There are too few bins for this plan ({kind}).")
    if answer["by"] == "tray_type":
        known = {x.tray_type for x in shelf.tray_types()}
        strange = [w for w in answer["ways"] if w not in known]
        if strange:
            have = ", ".join(sorted(known)) or "none yet"
            raise TableFault(f"The farm has no tray type {' or '.join(strange)}; it has {have}.")
    if answer["by"] == "days_in" and not all(w.isdigit() and int(w) > 0 for w in answer["ways"]):
        raise TableFault("Days in the bin are whole numbers, such as --ways 2,3.")
    s = ledger.live()
    blocks = _blocks(s)
    if len(blocks) < (len(answer["ways"]) if kind == "crossing" else 2 * len(answer["ways"])):
        raise TableFault(f"The farm has {len(blocks)} breeding bins with a lot in them: too few for this trial.")
    rng = np.random.default_rng(seed)
    ways = answer["ways"]
    weeks = int(option["weeks"])
    if kind == "crossing":
        drawn = allocate_crossing(blocks, ways, len(ways), rng=rng)
        period = -(-weeks // len(ways))
    else:
        drawn, period = {b: (w,) for b, w in allocate(blocks, ways, rng=rng).items()}, weeks
    made = Trial(
        trial=name, by=answer["by"], ways=tuple(ways), outcome=answer["outcome"], alpha=answer["alpha"], bins=drawn,
        margin=round(1 - answer["margin"][0], 6), start=(start or clock.today()).isoformat(), period_weeks=period,
        weeks=period * (len(ways) if kind == "crossing" else 1), clutches=int(option["clutches"]),
    )  # fmt: skip
    at = max(int(time.time()), ledger.last_at() or 0)
    note = WORD + msgspec.json.encode(made).decode()
    actions.record([Entry(id=str(uuid7()), at=at, deed="note", person=actor.person, note=note)], actor=actor)
    return made


def _blocks(s: Standing) -> dict[str, tuple[str, int, str]]:
    """Breeding bins that are in use, with the block of each."""
    out = {}
    for b in s.bins.values():
        lots = [s.lots[name] for name in b.lots if name in s.lots]
        if b.duty != "breeding" or not lots:
            continue
        lot = lots[0]
        days = (s.at - (lot.began_at or s.at)) / 86400 + ((lot.age_days or 0.0) if lot.stage == "adult" else 0.0)
        out[b.name] = (b.room, b.level, "young" if days < 14 else "older")
    return out


def mark(way: str, *, clutch: str | None, lot: str | None, actor: Person) -> None:
    """Write down which way a clutch or lot had, where the book does not say it otherwise (net, feed, density)."""
    s = ledger.live()
    if (clutch is None) == (lot is None):
        raise TableFault("Say which clutch or which lot had this way.")
    if (clutch is not None and clutch not in s.clutches) or (lot is not None and lot not in s.lots):
        raise TableFault(f"The book has no {'clutch' if clutch else 'lot'} {clutch or lot}.")
    at = max(int(time.time()), ledger.last_at() or 0)
    entry = Entry(id=str(uuid7()), at=at, deed="note", person=actor.person, clutch=clutch, lot=lot, note=WAY + way)
    actions.record([entry], actor=actor)


__all__ = ["Trial", "all_trials", "ground", "keep", "mark", "trial"]
