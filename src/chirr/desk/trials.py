"""Trials of the farm watched and judged, from what the book says of their bins since they began.

Records that nobody drew by lot can be looked at as well; the answer then begins with what they cannot prove.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

import msgspec
import numpy as np

from chirr.book import ledger
from chirr.desk import clock
from chirr.desk.spoken import say
from chirr.desk.trial_answers import Answer, pair_json
from chirr.desk.trial_notes import Trial, trial
from chirr.desk.trial_round import Label, labels, turn
from chirr.desk.trial_rows import gathered
from chirr.desk.trial_sizes import asked
from chirr.desk.trial_words import OUTCOMES
from chirr.engine.trials.looks import always_interval
from chirr.engine.trials.pair import Rule
from chirr.engine.trials.rows import Units, judge_units
from chirr.engine.trials.verdict import verdict
from chirr.says import word

NO_CAUSE = (
    "These records were not drawn by lot, so they cannot prove cause: whoever chose the ways may have chosen the bins."
)


def judged_trial(name: str) -> Answer:
    """A trial judged, and looked at without cheating: each way against the last named, from its start on."""
    t = trial(name)
    units, strays = _of_trial(t)
    answer = _judged(units, t.ways, t.outcome, margin=t.margin, alpha=t.alpha, planned=t.clutches)
    return {
        "trial": t.trial, "plan": msgspec.to_builtins(t), "drawn_by_lot": True, **answer, "strays": strays,
        "balance": balance(units, t.ways),
    }  # fmt: skip


def records(by: str, outcome: str, *, margin: float, alpha: float, ways: Sequence[str] = ()) -> Answer:
    """What the record says of ways that nobody drew by lot, adjusted for what else is known, under a clear heading."""
    asked(ways or ("a", "b"), by, outcome, margin, alpha, 0.8)
    units = gathered(ledger.live(), by, outcome)
    names = list(ways) or [w for w, _ in sorted(_numbers(units).items(), key=lambda kv: -kv[1])][:6]
    answer = _judged(units, names, outcome, margin=margin, alpha=alpha, planned=None)
    return {"heading": NO_CAUSE, "drawn_by_lot": False, **answer, "balance": balance(units, names)}


def _of_trial(t: Trial) -> tuple[Units, list[str]]:
    """The clutches of a trial's bins since its start, and those that did not have the way they were drawn."""
    first = clock.day_bounds(date.fromisoformat(t.start))[0] if t.start else 0
    last = first + t.weeks * 7 * 86400 if t.weeks and t.start else 2**62
    units = gathered(ledger.live(), t.by, t.outcome, since=first, until=last, bins=set(t.bins) or None, adjust=False)
    strays = []
    for bin_, way, day in zip(units.bin.tolist(), units.way.tolist(), units.date.tolist(), strict=True):
        due = turn(t, bin_, date.fromisoformat(day))
        if due is not None and way != due:
            strays.append(say("bin {bin} on {day} had {way} instead of {due}", bin=bin_, day=day, way=way, due=due))
    return units, strays


def _numbers(units: Units) -> dict[str, int]:
    names, counts = np.unique(units.way, return_counts=True)
    return {str(n): int(c) for n, c in zip(names, counts, strict=True)}


def balance(units: Units, ways: Sequence[str]) -> list[Answer]:
    """For each way: clutches in, bins it was in, and first and last day."""
    out = []
    for way in ways:
        here = units.way == way
        days = sorted(units.date[here].tolist())
        out.append({
            "way": way, "n": int(here.sum()), "bins": len(set(units.bin[here].tolist())),
            "first": days[0] if days else None, "last": days[-1] if days else None,
        })  # fmt: skip
    return out


def _judged(
    units: Units, ways: Sequence[str], outcome: str, *, margin: float, alpha: float, planned: int | None
) -> Answer:
    rule = Rule(ratio=True, low=1 - margin, high=1 / (1 - margin), alpha=alpha, less_is_better=OUTCOMES[outcome].less)
    counts = _numbers(units)
    out: Answer = {"outcome": outcome, "unit": OUTCOMES[outcome].unit, "ways": []}
    for way in ways:
        v = units.value[units.way == way]
        out["ways"].append({
            "way": way, "n": len(v), "mean": float(v.mean()) if len(v) else None,
            "sd": float(v.std(ddof=1)) if len(v) > 1 else None,
        })  # fmt: skip
    if len(ways) < 2:
        nothing = word("not known: there is only one way in the record")
        return out | {
            "ratio": None, "interval": None, "equivalence": {"p_lower": None, "p_upper": None, "equivalent": None},
            "difference_test": {"p": None}, "verdict": nothing, "verdict_kind": "not known", "pairs": [],
        }  # fmt: skip
    pairs = []
    against = ways[-1]
    for way in ways[:-1]:
        r = judge_units(units, way, against, rule)
        v = verdict(r, max(counts.get(way, 0), 1), max(counts.get(against, 0), 1), noun=OUTCOMES[outcome].of)
        p = pair_json(r, v)
        if r.estimate is not None and planned:
            low, high = always_interval(r.estimate, alpha, tuned_for=planned / (2 * len(ways)))
            p["always_interval"] = [math.exp(x) if math.isfinite(x) else None for x in (low, high)]
        pairs.append(p)
    return out | pairs[0] | {"pairs": pairs}


def trial_rows(name: str) -> Units:
    """The outcomes of a trial, for charts."""
    return _of_trial(trial(name))[0]


def so_far(t: Trial) -> list[Answer]:
    """How many clutches of each way a trial has so far."""
    return balance(_of_trial(t)[0], t.ways)


def labels_of(name: str) -> tuple[Trial, tuple[Label, ...]]:
    """A trial and the labels of its bins; LookupError when there is none of that name."""
    t = trial(name)
    return t, labels(t, ledger.live())
