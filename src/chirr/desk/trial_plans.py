"""Trials planned: how many bins for how many weeks, the draw, and the note of the book that keeps it.

A plan is a `note` entry whose note is the word 'trial' and a line of JSON; the way of a clutch is read from what the
book says of its tray anyway (type, substrate, cycle, days in), or from a note on the clutch or lot: 'way NAME'. So a
trial travels with the folder and is corrected like any other entry (docs/decisions/trials-are-notes.md).
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from datetime import date
from typing import Any

import msgspec
import numpy as np
from uuid_utils.compat import uuid7

from chirr.book import actions, ledger, shelf
from chirr.book.replay import voided
from chirr.book.standing import Standing
from chirr.desk import clock
from chirr.desk.belief import swap_days_of
from chirr.desk.trial_answers import Answer
from chirr.desk.trial_rows import BY, OUTCOMES, WAY, own_spread
from chirr.desk.trial_tables import TableFault
from chirr.engine.trials.allocation import allocate, allocate_crossing
from chirr.engine.trials.rows import Spread
from chirr.engine.trials.sizing import MOST_WEEKS, Sized, sized, smallest_margin
from chirr.records import Entry, Person

WORD = "trial "
USUAL = Spread(bin_sd=0.2, clutch_sd=math.hypot(0.40, 0.34))
"""Before any data, on logs: between bins, and between clutches of a bin with a core sample's error of 35 % (judgement;
the error of counting is common practice, no published source)."""


class Trial(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A plan as it stands in the book. `bins` holds the order of ways of each bin; one way where it keeps it."""

    trial: str
    by: str
    ways: tuple[str, ...]
    outcome: str
    margin: float = 0.1
    alpha: float = 0.05
    bins: dict[str, tuple[str, ...]] = {}
    start: str = ""
    weeks: int = 0
    period_weeks: int = 0
    clutches: int = 0
    """Clutches of all ways with which the trial ends."""


_decode = msgspec.json.Decoder(Trial).decode


def all_trials() -> dict[str, Trial]:
    """Trials of the book by name, the latest note of each."""
    void = voided(ledger.entries("replaces IS NOT NULL"))
    found: dict[str, Trial] = {}
    for e in ledger.entries("deed = 'note' AND note LIKE 'trial {%%'"):
        if e.id in void or e.note is None:
            continue
        try:
            plan = _decode(e.note.removeprefix(WORD))
        except msgspec.DecodeError:
            continue  # somebody's own words that begin alike
        if plan.by in BY and plan.outcome in OUTCOMES and len(plan.ways) > 1:
            found[plan.trial] = plan
    return found


def trial(name: str) -> Trial:
    """A trial by name; LookupError when there is none."""
    known = all_trials()
    if name not in known:
        have = f"there are {', '.join(known)}" if known else "there is none yet"
        raise LookupError(f"The book has no trial called {name}; {have}.")
    return known[name]


def plan(
    ways: Sequence[str],
    *,
    by: str = "tray_type",
    outcome: str = "eggs",
    margin: float = 0.1,
    alpha: float = 0.05,
    wanted: float = 0.8,
    bins: int | None = None,
    clutches_per_bin_week: float | None = None,
    farm: bool = True,
) -> Answer:
    """How many bins and clutches for how many weeks, each bin keeping one way or having all in turn.

    With `farm` spread, bins and rhythm are the book's own as far as it has them; 'from' says which.
    """
    asked(ways, by, outcome, margin, alpha, wanted)
    spread, source = USUAL, "usual spreads, as no farm was asked"
    have, rhythm = 12, 7 / 3
    if farm:
        s = ledger.live()
        spread, source = _spread(s, outcome)
        breeding = [b for b in s.bins.values() if b.duty == "breeding"]
        have = len(breeding)
        card = shelf.card()
        trays = max((len(b.trays) for b in breeding), default=1) or 1
        rhythm = trays * 7 / (swap_days_of(card.swap_days) if card else 3.0)
    have, rhythm = bins or have, clutches_per_bin_week or rhythm
    bound = -math.log1p(-margin)
    common: dict[str, Any] = {
        "bins": have, "ways": len(ways), "clutches_per_bin_week": rhythm, "low": -bound, "high": bound, "alpha": alpha,
        "wanted": wanted,
    }  # fmt: skip
    options = [o for kind in ("apart", "crossing") if (o := sized(kind, spread, **common)) is not None]
    return {
        "ways": list(ways), "by": by, "outcome": outcome, "margin": [1 - margin, 1 / (1 - margin)], "alpha": alpha,
        "wanted": wanted, "bins": have, "clutches_per_bin_week": rhythm,
        "spread": {"between_bins": spread.bin_sd, "between_clutches": spread.clutch_sd, "from": source},
        "options": [_option(o, spread, len(ways), alpha, wanted) for o in options],
        "advice": _advice(options, have, len(ways)),
    }  # fmt: skip


def asked(ways: Sequence[str], by: str, outcome: str, margin: float, alpha: float, wanted: float) -> None:
    """Raise TableFault when a question cannot be asked."""
    if len(set(ways)) < 2 or len(set(ways)) < len(ways):
        raise TableFault("Name at least two different ways, such as --ways short,long.")
    if by not in BY:
        raise TableFault(f"Ways cannot be told apart by {by}; use one of {', '.join(BY)}.")
    if outcome not in OUTCOMES:
        raise TableFault(f"{outcome} is not an outcome; use one of {', '.join(OUTCOMES)}.")
    if not 0 < margin < 1:
        raise TableFault("A plan needs a margin between 0 and 100 %: how big a loss would matter.")
    if not 0 < alpha < 0.5 or not alpha < wanted < 1:
        raise TableFault("The error must lie under 0.5, and the power above it and under 1.")


def _spread(s: Standing, outcome: str) -> tuple[Spread, str]:
    own = own_spread(s, outcome)
    if own is None:
        return USUAL, "usual spreads, as the book has too few counts to show its own"
    spread, n = own
    return spread, f"this farm's own spread, from {n} clutches"


def _option(o: Sized, spread: Spread, ways: int, alpha: float, wanted: float) -> Answer:
    per_way = o.bins // ways if o.kind == "apart" else o.bins
    each = max(o.clutches // (per_way * ways), 1)
    margin = smallest_margin(o.kind, spread, per_way=per_way, clutches_each=each, alpha=alpha, wanted=wanted)
    return {k: getattr(o, k) for k in Sized.__slots__} | {"smallest_margin": margin}


def _advice(options: list[Sized], bins: int, ways: int) -> str:
    if not options:
        return f"{bins} bins are too few for {ways} ways; at least {2 * ways} are needed, or 2 with every way in turn."
    good = [o for o in options if o.enough]
    if not good:
        return (
            f"Not even in {MOST_WEEKS} weeks: take more bins, a wider margin, or count more closely; "
            "the margin that each plan can show stands beside it."
        )
    best = min(good, key=lambda o: (o.clutches, o.weeks))
    other = next((o for o in options if o.kind != best.kind), None)
    words = {"apart": "Let each bin keep one way", "crossing": "Let each bin have every way in turn"}[best.kind]
    saves = ""
    if other is not None and other.clutches > best.clutches:
        least = "" if other.enough else "more than "
        saves = f", instead of {least}{other.clutches} in {least}{other.weeks} weeks the other way"
    carry = "; only where nothing carries over from one way to the next" if best.kind == "crossing" else ""
    return f"{words}: {best.clutches} clutches in {best.weeks} weeks{saves}{carry}."


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
