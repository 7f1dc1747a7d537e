"""Notes that Chirr itself writes: kept in the book in one fixed English form, shown in the language of the reader."""

from __future__ import annotations

from chirr.desk.misfit_words import by_pattern, in_farm_time
from chirr.says import word

WEIGHED_ONCE = word("Weighed, one sample. Between {low} and {high} in nine cases of ten.")
WEIGHED = word("Weighed, {n} samples. Between {low} and {high} in nine cases of ten.")
BY_CUP = word("By the cup, {n} counted. Between {low} and {high} in nine cases of ten.")
BY_SQUARES = word("By squares, {n} counted. Between {low} and {high} in nine cases of ten.")
DEAD = word("{dead} dead of {all} looked at.")
PACKED = word("For {wanted} alive on arrival.")
TICKED = word("Ticked on run sheet {sheet}, line {line}: {how} {thing}.")
TICKED_TYPED = word("Ticked on run sheet {sheet}, line {line}: {how} {thing} ({typed}).")
NOT_TAKEN = word("The book did not take it: {found}; expected {expected}.")

NOTES = (
    WEIGHED_ONCE,
    WEIGHED,
    BY_CUP,
    BY_SQUARES,
    DEAD,
    PACKED,
    TICKED,
    TICKED_TYPED,
    NOT_TAKEN,
    word("looked, no pinheads yet"),
    word("undone on the round"),
    word("reused, next cycle {cycle}"),
    word("out, to the garden or frass stream"),
    word("settled: it did not happen"),
    word("settled: another entry stands ({says})"),
    word("settled: both happened ({how}: {first}, then {second})"),
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
    first, but, why = note.partition(f" {NOT_TAKEN.split('{')[0]}")
    if but:  # two sentences, each read back by itself
        return f"{by_pattern(first, NOTES)} {in_farm_time(by_pattern(but.lstrip() + why, NOTES))}"
    return by_pattern(note, NOTES)
