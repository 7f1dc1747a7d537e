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
    """What is compared: its unit, and whether less of it is better."""

    unit: str
    less: bool = False


OUTCOMES: dict[str, Outcome] = {
    "eggs": Outcome("eggs a clutch"), "pinheads": Outcome("pinheads a clutch"), "kg": Outcome("kg a lot"),
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
