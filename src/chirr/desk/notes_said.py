"""Notes that Chirr itself writes: kept in the book in one fixed English form, shown in the language of the reader."""

from __future__ import annotations

from chirr.desk.misfit_words import by_pattern
from chirr.says import word

NOTES = (
    word("looked, no pinheads yet"),
    word("undone on the round"),
    word("reused, next cycle {cycle}"),
    word("out, to the garden or frass stream"),
    word("settled: it did not happen"),
    word("settled: another entry stands ({says})"),
    word("way {way}"),
    word("From the wall: {number} eggs on photograph {photo}."),
    word("{number} eggs on photograph {photo}."),
    word("{number} pinheads on photograph {photo}."),
    word("{number} crickets on photograph {photo}."),
    word("{number} eggs on photograph {photo}"),
    word("{number} pinheads on photograph {photo}"),
    word("{number} crickets on photograph {photo}"),
)


def said_again(note: str) -> str:
    """A note as it is shown; what a person wrote stays as it was written."""
    return by_pattern(note, NOTES)
