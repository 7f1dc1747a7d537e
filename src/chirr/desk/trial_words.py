"""The words of a trial: what can be counted, and what tells the ways of clutches and lots apart."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from chirr.book.standing import Clutch

WORD = "trial "
WAY = "way "
"""How the notes begin that keep a plan, and that say which way a clutch or lot had."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What is compared: its unit, whether less of it is better, and what it is counted of."""

    unit: str
    less: bool = False
    of: str = "clutches"


OUTCOMES: dict[str, Outcome] = {
    "eggs": Outcome("eggs a clutch"), "pinheads": Outcome("pinheads a clutch"),
    "survivors": Outcome("crickets harvested for each clutch", of="lots"), "kg": Outcome("kg a lot", of="lots"),
    "kg_per_clutch": Outcome("kg harvested for each clutch", of="lots"),
    "minutes": Outcome("minutes a tray", less=True),
}  # fmt: skip

BY: dict[str, Callable[[Clutch], str | None]] = {
    "tray_type": lambda c: c.tray_type,
    "substrate": lambda c: c.substrate,
    "cycle": lambda c: None if c.cycle is None else str(c.cycle),
    "days_in": lambda c: None if c.pulled_at is None else str(round((c.pulled_at - c.laid_at) / 86400)),
    "mark": lambda _: None,
}
"""How the book tells the ways of clutches apart; 'mark' is by notes 'way NAME' on clutches or lots."""
