"""What stands beside every forecast: what the figures rest on, and which entries count for little."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from chirr.desk.kept_grade import drift_remark
from chirr.desk.poor_batches import batch_remarks
from chirr.desk.spoken import say, say_n

if TYPE_CHECKING:
    from chirr.desk.belief import Foresight


def remarks(f: Foresight) -> tuple[str, ...]:
    """What the figures rest on, in plain sentences."""
    facts = f.belief.facts
    drift = drift_remark(f.as_of)
    out = [] if drift is None else [drift]
    if len(facts.what) == 0:
        out.append(
            say(
                "No count, weighing or hatch is in the book yet: every figure rests on published values alone,"
                " so the bands are wide."
            )
        )
    else:
        kinds: list[tuple[int, Callable[[int], str]]] = [
            (int((facts.what == 5).sum()), lambda n: say_n("{n} hatch", "{n} hatches", n)),
            (int(np.isin(facts.what, (0, 3, 4)).sum()), lambda n: say_n("{n} count", "{n} counts", n)),
            (int((facts.what == 1).sum()), lambda n: say_n("{n} weighing", "{n} weighings", n)),
            (int((facts.what == 2).sum()), lambda n: say_n("{n} harvest", "{n} harvests", n)),
        ]
        told = ", ".join(words(n) for n, words in kinds if n)
        out.append(say("Published values, corrected by {facts} of this farm.", facts=told))
    if not f.gathered.measured:
        out.append(
            say(
                "No temperature was measured in the last fortnight: the rooms are taken at their set points,"
                " give or take 1.2 °C."
            )
        )
    odd = [o for o in f.belief.odd if o.entry]
    if odd:
        out.append(
            say_n(
                "One fact does not go with the others and counts for little.",
                "{n} facts do not go with the others and count for little.",
                len(odd),
            )
        )
    out += batch_remarks(f)
    if f.standing.misfits:
        out.append(
            say_n(
                "{n} entry of the book contradicts others: left out.",
                "{n} entries of the book contradict others: left out.",
                len(f.standing.misfits),
            )
        )
    out.append(
        say("Nothing sold, harvested or split from today on is taken off, and no tray laid from today on is added.")
    )
    return tuple(out)


def odd_entries(f: Foresight) -> dict[str, str]:
    """Entries that count for little or nothing, each with why: far from what all others say, or contradicting them."""
    far = {
        o.entry: say(
            "It lies {n:.0f} usual errors above what all other facts say, so it counts for little.", n=o.spreads
        )
        if o.spreads > 0
        else say("It lies {n:.0f} usual errors below what all other facts say, so it counts for little.", n=-o.spreads)
        for o in f.belief.odd
        if o.entry
    }
    return far | dict.fromkeys(f.standing.misfits, say("It contradicts other entries, so it is left out."))
