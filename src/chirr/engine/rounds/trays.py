"""Laying trays and their clutches: trays to pull and lay, hatch windows, spent trays to empty."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from chirr.engine.rounds.days import Days, ago, day_in_words, due, first_falls, in_words
from chirr.engine.rounds.due import Job, lateness, urgency_of
from chirr.says import said, said_n, word

SETTLE_DAYS = 2
"""A spent tray stays this long after the half-hatched date's late end, so that stragglers get out.
Trays are left 2-4 days with the pinheads (common practice, no published source)."""
SETTLE_DAYS_UNTOLD = 4
"""The same counted from the first pinheads seen, where nothing is believed of the clutch (common practice)."""
GIVE_UP_DAYS = 8
"""No pinheads this long after the likeliest day: the hatch has failed. Three standard deviations of 2.8 days
[published: Mitchaothai et al. 2024, Animals 14:2176]; that three of them are enough is judgement."""
READY_DAYS = 1
"""A tray on a rack goes into its hatch bin this long before the early end of its window (judgement: the day before
leaves time to get a bin ready, and pinheads on an open rack are lost)."""
WARN_DAYS = 2
"""How long before that it is announced (judgement)."""


@dataclass(frozen=True, kw_only=True)
class TrayIn:
    """A tray being laid in now, since `laid_on`; `hatches_on` is the early end of its hatch window, if believed."""

    clutch: str
    laid_on: date
    hatches_on: date | None = None


@dataclass(frozen=True, kw_only=True)
class LayingBin:
    """A bin with breeders, or with trays in it. `lot` are the breeders, None when they are gone; `lays` whether
    they are old enough and the bin is one for breeding. `pulled_on` and `laid_on` are the days of its late swaps,
    one for each tray, today's included. `leaves`: the breeders are to be retired now and others follow, so that a tray
    laid today would lose its layers."""

    bin: str
    lot: str | None
    lays: bool
    leaves: bool = False
    trays: tuple[TrayIn, ...] = ()
    pulled_on: tuple[date, ...] = ()
    laid_on: tuple[date, ...] = ()


@dataclass(frozen=True, kw_only=True)
class ClutchCare:
    """A clutch that has left, or will leave, its breeding bin.

    `window` are the early (5 %), likely and late (95 %) days of its first pinheads; `settled_on` the late day of its
    half-hatched date. `bin` is where it stands; on a rack it is None and `place` says where.
    """

    clutch: str
    pulled: bool
    bin: str | None = None
    place: str | None = None
    hatched_on: date | None = None
    window: tuple[date, date, date] | None = None
    settled_on: date | None = None
    substrate: str | None = None
    cycle: int | None = None
    last_of_batch: bool = False
    looked_today: bool = False
    """Whether somebody has already looked today and written that nothing is out."""


def swap_jobs(laying: LayingBin, swap_days: Days, day: date, today: date) -> list[Job]:
    """Trays to pull and to lay in one bin on `day`. A swap is a pull and a lay. Raises `BadDays`."""
    pulls = [job for tray in laying.trays if (job := _pull(laying, tray, swap_days, day, today))]
    if not laying.lays or laying.leaves:
        return pulls
    if not laying.trays and day > today:
        return [*pulls, *_coming_swap(laying, swap_days, day, today)]
    wanted = len(pulls) if day > today else _to_lay(laying, len(pulls), swap_days, day)
    laid_today = sum(on == day for on in laying.laid_on)
    why = (
        said("breeders here and no tray to lay in") if not laying.trays else said("goes in where the old one comes out")
    )
    late = any(job.urgency == "overdue" for job in pulls)
    lays = [
        Job(key=_lay_key(laying.bin, laid_today + n), deed="lay",
            what=said("Lay a new tray in {bin}", bin=laying.bin), why=why,
            urgency="overdue" if late else "due", bin=laying.bin, lot=laying.lot)
        for n in range(wanted)
    ]  # fmt: skip
    return [*pulls, *lays]


def _to_lay(laying: LayingBin, to_pull: int, swap_days: Days, day: date) -> int:
    """Trays to lay today: one for each pulled or to be pulled since the oldest of these fell due, less those laid
    since, so that a bin keeps as many trays as it had; a bin without any gets one."""
    turns = [turn.on for tray in laying.trays if (turn := due(swap_days, tray.laid_on, day))]
    since = min([day, *turns])
    wanted = to_pull + sum(on >= since for on in laying.pulled_on) - sum(on >= since for on in laying.laid_on)
    return max(wanted, 0 if laying.trays or day in laying.laid_on else 1)


def _lay_key(bin_: str, before: int) -> str:
    """The first tray laid today in a bin, the second...: a key that never stands for two trays."""
    return f"lay:{bin_}" if before == 0 else f"lay:{bin_}:{before + 1}"


def _pull(laying: LayingBin, tray: TrayIn, swap_days: Days, day: date, today: date) -> Job | None:
    """The job of taking one tray out, if it is time."""
    turn = due(swap_days, tray.laid_on, day, kept_from=today)
    early = tray.hatches_on
    if laying.lot is None and day <= today:
        why, urgency = said("its breeders are gone"), "due"
    elif early is not None and early <= day + timedelta(days=1) and day <= today:
        why, urgency = said("may hatch from {day}: adults eat pinheads", day=day_in_words(early)), "overdue"
    elif turn is None:
        return None
    elif turn.again:  # a tray that is not laid yet
        what, why = said("Pull the tray from {bin}", bin=laying.bin), said("by turn, {days}", days=in_words(swap_days))
        key = f"pull:{laying.bin}:{tray.clutch}"
        return Job(key=key, deed="pull", what=what, why=why, urgency="due", bin=laying.bin, lot=laying.lot)
    else:
        why = said(
            "in since {day}, swapped {days}{late}",
            day=day_in_words(tray.laid_on), days=in_words(swap_days), late=lateness(turn),
        )  # fmt: skip
        urgency = urgency_of(turn)
    return Job(
        key=f"pull:{tray.clutch}", deed="pull",
            what=said("Pull tray {clutch} from {bin}", clutch=tray.clutch, bin=laying.bin), why=why,
        urgency=urgency, bin=laying.bin, lot=laying.lot, clutch=tray.clutch,
    )  # fmt: skip


def _coming_swap(laying: LayingBin, swap_days: Days, day: date, today: date) -> list[Job]:
    """The swap to come of a bin that gets its tray today."""
    if due(swap_days, today, day, kept_from=today) is None:
        return []
    why = said("by turn, {days}", days=in_words(swap_days))
    return [
        Job(key=f"{deed}:{laying.bin}", deed=deed, what=what, why=why, urgency="due", bin=laying.bin, lot=laying.lot)
        for deed, what in (
            ("pull", said("Pull the tray from {bin}", bin=laying.bin)),
            ("lay", said("Lay a new tray in {bin}", bin=laying.bin)),
        )
    ]


def near_hatching(clutch: ClutchCare, day: date) -> bool:
    """Whether a pulled clutch is about to hatch, hatching, or late: from the day before its window until its
    pinheads have settled."""
    if not clutch.pulled:
        return False
    if clutch.hatched_on is not None:
        return day <= (clutch.settled_on or clutch.hatched_on + timedelta(days=SETTLE_DAYS_UNTOLD))
    return clutch.window is not None and clutch.window[0] - timedelta(days=READY_DAYS) <= day


def clutch_jobs(clutch: ClutchCare, cycles: int, day: date, today: date) -> list[Job]:
    """Move, hatch and empty jobs of one clutch on `day`; `cycles` is how often the farm uses its substrate."""
    if clutch.hatched_on is not None:
        return _empty(clutch, cycles, day, today)
    if clutch.window is None:
        return []
    to_move = clutch.pulled and clutch.bin is None
    moves = _to_hatch_bin(clutch, day, today) if to_move else []
    return [*moves, *_look(clutch, day, today), *_give_up(clutch, day, today)]


def _to_hatch_bin(clutch: ClutchCare, day: date, today: date) -> list[Job]:
    early = clutch.window[0] if clutch.window else day
    ready = early - timedelta(days=READY_DAYS)
    soon = day == today and ready - timedelta(days=WARN_DAYS) <= day < ready
    if not soon and not first_falls(ready, day, today):
        return []
    urgency = "soon" if soon else "overdue" if day > early else "due"
    why = said("first pinheads from {day} on, and it still stands on a rack", day=day_in_words(early))
    return [
        Job(key=f"move:{clutch.clutch}", deed="move",
            what=said("Move tray {clutch} into a hatch bin", clutch=clutch.clutch), why=why,
            urgency=urgency, place=clutch.place, clutch=clutch.clutch)
    ]  # fmt: skip


def _look(clutch: ClutchCare, day: date, today: date) -> list[Job]:
    early, likely, late = clutch.window or (day, day, day)
    if day < early or clutch.looked_today or (day > late and day > today):
        return []
    if day > late:
        why = said(
            "first pinheads were expected by {day}; the hatch may have failed: look for mould or a dry "
            "surface, and if it is lost, empty it and write why",
            day=day_in_words(late),
        )
        what, urgency = said("Look again for pinheads of {clutch}", clutch=clutch.clutch), "overdue"
    else:
        why = said(
            "expected between {early} and {late}, likeliest {likely}",
            early=day_in_words(early), late=day_in_words(late), likely=day_in_words(likely),
        )  # fmt: skip
        what, urgency = said("Look for first pinheads of {clutch}", clutch=clutch.clutch), "open"
    return [
        Job(key=f"hatch:{clutch.clutch}", deed="hatch", what=what, why=why, urgency=urgency, bin=clutch.bin,
            place=clutch.place, clutch=clutch.clutch)
    ]  # fmt: skip


def _give_up(clutch: ClutchCare, day: date, today: date) -> list[Job]:
    _, likely, late = clutch.window or (day, day, day)
    if day <= max(late, likely + timedelta(days=GIVE_UP_DAYS)) or day > today:
        return []
    why = said_n(
        "no pinheads written down, {n} day after its likeliest day: empty it and write what you saw",
        "no pinheads written down, {n} days after its likeliest day: empty it and write what you saw",
        (day - likely).days,
    )
    return [
        Job(
            key=f"empty:{clutch.clutch}", deed="empty", why=why, urgency="due", asks=("note",),
            what=said("Empty tray {clutch}, which did not hatch", clutch=clutch.clutch),
            bin=clutch.bin, place=clutch.place, clutch=clutch.clutch,
        )
    ]  # fmt: skip


def _empty(clutch: ClutchCare, cycles: int, day: date, today: date) -> list[Job]:
    hatched = clutch.hatched_on or day
    if clutch.settled_on is not None:
        on = clutch.settled_on + timedelta(days=SETTLE_DAYS)
    else:
        on = hatched + timedelta(days=SETTLE_DAYS_UNTOLD)
    if not first_falls(on, day, today):
        return []
    where, note = fate(clutch, cycles)
    why = said(
        "first pinheads {ago}, the rest out by {day}; {where}", ago=ago(hatched, day), day=day_in_words(on), where=where
    )
    return [
        Job(key=f"empty:{clutch.clutch}", deed="empty",
            what=said("Empty tray {clutch}", clutch=clutch.clutch), why=why, urgency="due",
            bin=clutch.bin, place=clutch.place, clutch=clutch.clutch, fill=(("note", note),) if note else ())
    ]  # fmt: skip


def fate(clutch: ClutchCare, cycles: int) -> tuple[str, str]:
    """Where the spent substrate of a tray goes, in words, and as the note of its entry (empty when not known).

    >>> from chirr.engine.rounds.trays import ClutchCare
    >>> fate(ClutchCare(clutch="C7", pulled=True, substrate="fine-4", cycle=2), 3)[0]
    'fine-4 goes round again, cycle 3'
    """
    if clutch.cycle is None:
        return said("write whether its substrate is used again"), ""
    name = clutch.substrate or said("its substrate")
    if clutch.cycle < cycles:
        again = said("{name} goes round again, cycle {cycle}", name=name, cycle=clutch.cycle + 1)
        return again, f"reused, next cycle {clutch.cycle + 1}"
    uses = (
        word("use {cycle} of {cycles}, the last tray of its batch")
        if clutch.last_of_batch
        else word("use {cycle} of {cycles}")
    )
    out = said(
        "{name} has had its uses ({uses}): to the garden or frass stream",
        name=name, uses=said(uses, cycle=clutch.cycle, cycles=cycles),
    )  # fmt: skip
    return out, "out, to the garden or frass stream"
