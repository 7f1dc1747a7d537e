"""What a trial of the book is worth to this farm: its own wage, trays and minutes, and which of its means is short."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from chirr.book import ledger, shelf
from chirr.desk.belief import swap_days_of
from chirr.desk.limits import what_limits
from chirr.desk.shapes import Beliefs
from chirr.desk.trial_answers import Answer
from chirr.desk.trial_notes import Trial, trial
from chirr.desk.trial_rows import gathered
from chirr.desk.trial_worth import Effect, Stakes, decided
from chirr.engine.trials.pair import Rule
from chirr.engine.trials.rows import judge_units


def decided_from_book(name: str, *, worth_per_1000_eggs: float, beliefs: Beliefs | None = None, **more: Any) -> Answer:
    """A trial's decision: its first way in place of its last, with the farm's own wage, trays and limits.

    Without beliefs nothing is known of crowding, only of bins that stand empty.
    """
    t: Trial = trial(name)
    s, card = ledger.live(), shelf.card()
    rule = Rule(ratio=True, low=None, high=None)
    new, old = t.ways[0], t.ways[-1]
    eggs = gathered(s, t.by, "eggs", bins=set(t.bins) or None)
    output = judge_units(eggs, new, old, rule).estimate
    timed = gathered(s, t.by, "minutes", bins=set(t.bins) or None)
    pace = judge_units(timed, new, old, rule).estimate
    usual = timed.value[timed.way == old]
    saved = None
    if pace is not None and len(usual):
        base = float(np.exp(np.log(usual).mean()))
        share = math.exp(pace.value)
        saved = Effect(value=base * (1 - share), se=base * share * pace.se, df=pace.df)
    short = what_limits(beliefs=beliefs)
    nothing = next(x for x in short["measures"] if x["name"] == "space")["tight"]
    breeding = [b for b in s.bins.values() if b.duty == "breeding" and b.lots]
    trays = sum(max(len(b.trays), 1) for b in breeding) * 7 / (swap_days_of(card.swap_days) if card else 3.0)
    laid = eggs.value[eggs.way == old]
    stakes = Stakes(
        trays_per_week=max(trays, 1.0), wage_per_hour=card.wage_per_hour if card else 0.0,
        output_per_tray=float(laid.mean()) if len(laid) else 0.0,
        worth_per_output=0.0 if nothing else worth_per_1000_eggs / 1000, **more,
    )  # fmt: skip
    ratio = Effect(value=output.value, se=output.se, df=output.df) if output is not None else None
    answer = decided(ratio, saved, stakes)
    return {"trial": name, "new": new, "present": old, "limit": short["limit"],
            "limit_why": short["why"], "also_tight": short["also_tight"],
            "currency": card.currency if card else "", "trays_per_week": stakes.trays_per_week} | answer  # fmt: skip
