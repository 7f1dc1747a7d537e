"""What a person must settle: entries that contradict each other, shown with both facts, and clocks that were put right.

Two phones without a network can both pull the same tray. Both entries are in the book; the later one does not fit. Only
a person can say what happened, so nothing is dropped and nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Iterable

import msgspec
from django.utils.translation import override

from chirr.book import actions, ledger
from chirr.book.replay import voided
from chirr.book.standing import Misfit
from chirr.desk import clock, forms
from chirr.desk.browse import story_lines
from chirr.desk.forms import FormFaults
from chirr.desk.misfit_words import does_not_fit
from chirr.desk.shapes import StoryLine
from chirr.desk.spoken import say
from chirr.records import Entry, Person

CLOCK_DAYS = 14
"""Days for which a time that was put right is shown."""
NEAR_S = 4 * 3600
"""The same work at the same bin by two people within this time may be one piece of work (judgement)."""
TWICE_DAYS = 3
BOTH = "both_happened"
"""Extra column of a note: the ids of two entries, with ';' between."""
_ENDS = ("harvest", "retire", "join", "empty")


class Clash(msgspec.Struct, frozen=True, kw_only=True):
    """An entry that does not fit, why, and the entry it seems to collide with (None where none is found)."""

    line: StoryLine
    why: str
    other: StoryLine | None


class Twice(msgspec.Struct, frozen=True, kw_only=True):
    """Two entries of the same work at the same bin, written by two people close together."""

    first: StoryLine
    second: StoryLine


class ClockDoubt(msgspec.Struct, frozen=True, kw_only=True):
    """An entry whose phone showed another time (`phone_at`, ISO) than the farm's clock."""

    line: StoryLine
    phone_at: str


class Unsettled(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that waits for a person's word."""

    clashes: tuple[Clash, ...]
    twice: tuple[Twice, ...]
    clocks: tuple[ClockDoubt, ...]


def how_many() -> int:
    """Entries that do not fit."""
    return len(ledger.live().misfits)


def unsettled() -> Unsettled:
    """What is to be settled, newest first."""
    now = clock.now()
    return Unsettled(clashes=_clashes(), twice=_twice(now), clocks=_clocks(now))


def give_way(entry_id: str, to_id: str, *, actor: Person, now: int) -> Entry:
    """Withdraw one of two entries that collide, in favour of the other. Raises FormFaults, NotAllowed."""
    with override("en-gb"):  # what the book keeps is in one language
        stands = next(iter(story_lines(_entries([to_id]))), None)
    reason = f"settled: another entry stands ({stands.says.rstrip('.')})" if stands else "settled: it did not happen"
    return forms.withdraw(entry_id, reason[: forms.LONGEST_NOTE], actor=actor, now=now)


def both_happened(first_id: str, second_id: str, *, actor: Person, now: int) -> None:
    """Write that two people did the same work, each of them; the pair is asked about no more.

    The answer is a note about the bin, with both entries in the extra column `both_happened`: withdrawn, it asks again.
    Raises FormFaults where the two are no such pair, NotAllowed.
    """
    actions.allow(actor, "owner", "hand")
    found = {e.id: e for e in _entries([first_id, second_id])}
    first, second = found.get(first_id), found.get(second_id)
    if first is None or second is None or (first.deed, first.bin) != (second.deed, second.bin):
        raise FormFaults({"": say("These two entries are not about the same work at one bin.")})
    if (first_id, second_id) in _settled(first.at):
        return
    note = f"settled: both happened ({first.deed}: {first.person}, then {second.person})"
    entry = forms.entry_from_form({"deed": "note", "bin": first.bin or "", "note": note}, actor=actor, now=now)
    forms.write(msgspec.structs.replace(entry, extra={BOTH: f"{first_id};{second_id}"}), actor=actor)


def _settled(since: int) -> set[tuple[str, ...]]:
    """Pairs of entries of which a person said, since then, that both happened."""
    void = voided(ledger.entries("replaces IS NOT NULL"))
    told = ledger.entries("at >= %s AND deed = 'note' AND record LIKE %s", (since, f'%"{BOTH}"%'))
    return {tuple(str(e.extra[BOTH]).split(";")) for e in told if BOTH in e.extra and e.id not in void}


def _entries(ids: Iterable[str]) -> list[Entry]:
    wanted = list(ids)
    marks = ", ".join(["%s"] * len(wanted))
    return list(ledger.entries(f"id IN ({marks})", tuple(wanted))) if wanted else []


def _clashes() -> tuple[Clash, ...]:
    misfits = ledger.live().misfits
    void = voided(ledger.entries("replaces IS NOT NULL"))
    wrong = [e for start in range(0, len(misfits), 500) for e in _entries(list(misfits)[start : start + 500])]
    rivals = {e.id: _rival(e, misfits[e.id], void | misfits.keys()) for e in wrong}
    lines = {x.id: x for x in story_lines([*wrong, *(r for r in rivals.values() if r is not None)])}
    found = []
    for e in sorted(wrong, key=lambda e: -e.at):
        rival = rivals[e.id]
        found.append(Clash(line=lines[e.id], why=_why(misfits[e.id]), other=lines[rival.id] if rival else None))
    return tuple(found)


def _why(misfit: Misfit) -> str:
    return does_not_fit(misfit.found, misfit.expected)


def _rival(e: Entry, misfit: Misfit, out: set[str]) -> Entry | None:
    """The standing entry that an entry most likely collides with: about the same thing, the same deed, near in time."""
    value = getattr(e, misfit.column, None)
    column = misfit.column.removeprefix("to_")
    if not isinstance(value, str) or column not in ("bin", "lot", "clutch"):
        return None
    about = f"{column} = %s" + (f" OR to_{column} = %s" if column != "clutch" else "")
    values = (value,) * (1 if column == "clutch" else 2)
    rivals = [x for x in ledger.entries(about, values) if x.id not in out and x.deed not in ("note", "correct")]
    telling = [x for x in rivals if x.deed == e.deed or x.deed in _ENDS] or [x for x in rivals if x.deed != "feed"]
    return min(telling, key=lambda x: (x.deed != e.deed, abs(x.at - e.at)), default=None)


def _twice(now: int) -> tuple[Twice, ...]:
    """Feeding, watering or cleaning of one bin by two people close together, of the last days."""
    void = voided(ledger.entries("replaces IS NOT NULL"))
    last: dict[tuple[str, str], Entry] = {}
    pairs: list[tuple[Entry, Entry]] = []
    since = now - TWICE_DAYS * 86400
    settled = _settled(since)
    recent = ledger.entries("at >= %s AND deed IN ('feed', 'water', 'clean')", (since,))
    for e in recent:
        if e.id in void or e.bin is None:
            continue
        before = last.get((e.deed, e.bin))
        near = before is not None and before.person != e.person and e.at - before.at <= NEAR_S
        if before is not None and near and (before.id, e.id) not in settled:
            pairs.append((before, e))
        last[e.deed, e.bin] = e
    lines = {x.id: x for x in story_lines([e for pair in pairs for e in pair])}
    return tuple(Twice(first=lines[a.id], second=lines[b.id]) for a, b in reversed(pairs))


def _clocks(now: int) -> tuple[ClockDoubt, ...]:
    """Entries of the last days whose phone showed another time."""
    since = now - CLOCK_DAYS * 86400
    told = list(ledger.entries("received >= %s AND record LIKE '%%\"phone_at\"%%'", (since,), order="at DESC, id DESC"))
    lines = story_lines(told)
    return tuple(
        ClockDoubt(line=line, phone_at=str(e.extra["phone_at"]))
        for e, line in zip(told, lines, strict=True)
        if "phone_at" in e.extra and line.standing not in ("replaced", "withdrawn")
    )
