"""From entries to the standing of the farm: the same entries in any order of arrival give the same standing.

Entries count in order of their time, then their id. Entries of one and the same second are taken in the order that
makes sense: one that cannot be true yet waits for the others of its second. An entry that the rest contradicts is
kept as a misfit, named with its reason, and changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import groupby

from chirr.book.effects import EFFECTS, Contradiction
from chirr.book.standing import VISIT_GAP_S, BinNow, Misfit, Standing
from chirr.records import Bin, Entry


def first_standing(bins: Iterable[Bin]) -> Standing:
    """The farm before its first entry: every bin where it stood at first, empty."""
    return Standing(
        bins={
            b.bin: BinNow(
                name=b.bin, duty=b.duty, floor_cm2=b.floor_cm2, hides_cm2=b.hides_cm2,
                room=b.room, stack=b.stack, level=b.level,
            )
            for b in bins
        }
    )  # fmt: skip


def voided(entries: Iterable[Entry]) -> set[str]:
    """Ids of entries that never happened: replaced or corrected by another that itself stands.

    A correction of a correction brings the first entry back. Entries that replace one another in a ring void each
    other by the order of their ids, so the answer never depends on the order of arrival.
    """
    correctors: dict[str, list[Entry]] = {}
    for e in entries:
        if e.replaces is not None:
            correctors.setdefault(e.replaces, []).append(e)
    if not correctors:
        return set()
    memo: dict[str, bool] = {}

    def void(entry_id: str, above: frozenset[str]) -> bool:
        if entry_id in memo:
            return memo[entry_id]
        answer = any(
            c.id not in above and not void(c.id, above | {entry_id})
            for c in sorted(correctors.get(entry_id, ()), key=_key)
        )
        if not above:
            memo[entry_id] = answer
        return answer

    return {entry_id for entry_id in correctors if void(entry_id, frozenset())}


def _key(e: Entry) -> tuple[int, str]:
    return (e.at, e.id)


def replay(
    standing: Standing,
    entries: Sequence[Entry],
    *,
    void: set[str] | None = None,
    progress: Callable[[int], None] | None = None,
) -> Standing:
    """Apply `entries` (any order, all later than `standing.at`) to `standing`, in place, and return it."""
    void = voided(entries) if void is None else void
    ordered = sorted(entries, key=_key)
    for at, second in groupby(ordered, key=lambda e: e.at):
        _apply_second(standing, [e for e in second if e.id not in void])
        standing.at = max(standing.at, at)
    standing.entries += len(ordered)
    if progress is not None:
        progress(len(ordered))
    return standing


def _apply_second(s: Standing, waiting: list[Entry]) -> None:
    """Apply entries of one second, putting off those that cannot be true until the others are done."""
    while waiting:
        later: list[tuple[Entry, Contradiction]] = []
        for e in waiting:
            try:
                EFFECTS[e.deed](s, e)
            except Contradiction as why:
                later.append((e, why))
            else:
                _mark_visit(s, e)
        if len(later) == len(waiting):
            for e, reason in later:
                s.misfits[e.id] = Misfit(e.id, reason.column, reason.found, reason.expected)
            return
        waiting = [e for e, _ in later]


def _mark_visit(s: Standing, e: Entry) -> None:
    """Remember when each bin and room was last visited, one visit being all entries close together."""
    bin_name = e.bin
    if bin_name is None and e.lot and (lot := s.lots.get(e.lot)) is not None:
        bin_name = lot.bin
    if bin_name is None and e.clutch and (clutch := s.clutches.get(e.clutch)) is not None:
        _mark_room(s, clutch.here.room, e.at)
        bin_name = clutch.here.bin
    bin_ = s.bins.get(bin_name or "")
    if bin_ is None or e.deed in ("correct", "pack", "ship"):
        return
    if bin_.seen_at is None or e.at - bin_.seen_at >= VISIT_GAP_S:
        bin_.seen_before, bin_.seen_at = bin_.seen_at, e.at
    _mark_room(s, bin_.room, e.at)


def _mark_room(s: Standing, room: str, at: int) -> None:
    last, before = s.rooms_seen.get(room, (0, 0))
    if at - last >= VISIT_GAP_S:
        s.rooms_seen[room] = (at, last)
    elif not last:
        s.rooms_seen[room] = (at, before)
