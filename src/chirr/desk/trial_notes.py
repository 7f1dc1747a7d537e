"""Trials as the book keeps them: notes that begin with the word 'trial', read back.

A plan is a `note` entry whose note is that word and a line of JSON; the way of a clutch is read from what the book says
of its tray anyway (type, substrate, cycle, days in), or from a note on the clutch or lot: 'way NAME'. So a trial
travels with the folder and is corrected like any other entry (docs/decisions/0008-trials-are-notes.md).
"""

from __future__ import annotations

import msgspec

from chirr.book import ledger
from chirr.book.replay import voided
from chirr.desk.trial_words import BY, OUTCOMES, WORD


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
    notes = list(ledger.entries("deed = 'note' AND note LIKE 'trial {%%'"))
    void = voided(ledger.entries("replaces IS NOT NULL")) if notes else set()
    found: dict[str, Trial] = {}
    for e in notes:
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
