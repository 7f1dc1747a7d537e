"""What a phone carries into a room without radio: the round, bins, lots and clutches in short, what forms offer.

Plain data, small enough for a phone's memory; the pages put words to the figures.
"""

from __future__ import annotations

from collections import defaultdict

import msgspec
from django.db import connection

from chirr.book import ledger, papers
from chirr.desk import clock, farm, racks, trays
from chirr.desk.belief import beliefs
from chirr.desk.browse import story_lines
from chirr.desk.overdue import overdue
from chirr.desk.round import round_sheet
from chirr.desk.settle import how_many
from chirr.desk.shapes import Beliefs, RackRoom, RoundSheet, StoryLine, SubstrateRow

LINES = 3
"""Newest entries of each bin that the phone keeps."""
SHEETS = 40
"""Run sheets whose code the phone knows, the newest first."""
LINES_IN_ALL = 1500
LINES_DAYS = 21


class Pocket(msgspec.Struct, frozen=True, kw_only=True):
    """All that the phone's own pages draw from. `lines`: the newest entries of each bin, newest first."""

    as_of: int
    sheet: RoundSheet
    rooms: tuple[RackRoom, ...]
    beliefs: Beliefs
    overdue: dict[str, str]
    """clutches that should have hatched by now, each with the words for it"""
    choices: farm.Choices
    homes: dict[str, str]
    """clutch -> its laying bin, or the bin or rack place where it waits to hatch"""
    lines: dict[str, tuple[StoryLine, ...]]
    to_settle: int
    substrates: tuple[tuple[SubstrateRow, tuple[str, ...]], ...]
    """each with the clutches whose trays hold it now"""
    sheets: dict[str, str]
    """code -> day (ISO) of the run sheets printed last"""


def state() -> str:
    """A short text that changes whenever a fresh pocket would say something else."""
    sheet = next(iter(papers.sheet_days(1)), "")
    return f"{connection.settings_dict['NAME']} {ledger.newest()} {beliefs().as_of} {clock.today()} {sheet}"


def pocket() -> Pocket:
    """What the farm's computer knows now that a phone may need."""
    seen = beliefs()
    choices = farm.choices()
    now = clock.now()
    return Pocket(
        as_of=now, sheet=round_sheet(beliefs=seen), rooms=racks.racks(), beliefs=seen, choices=choices,
        homes=choices.clutches, lines=_lines(), to_settle=how_many(),
        substrates=tuple((b, trays.trays_of(b.substrate)) for b in trays.substrates()),
        sheets=papers.sheet_days(SHEETS), overdue=overdue(ledger.live(), seen.clutches.values(), now),
    )  # fmt: skip


def _lines() -> dict[str, tuple[StoryLine, ...]]:
    """The newest entries of each bin."""
    since = clock.now() - LINES_DAYS * 86400
    kept: dict[str, list[str]] = defaultdict(list)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT id, coalesce(bin, to_bin) FROM book_entryrow WHERE at >= %s AND coalesce(bin, to_bin) IS NOT NULL"
            " ORDER BY at DESC, id DESC LIMIT 20000",
            (since,),
        )
        for entry_id, bin_ in cursor.fetchall():
            if len(kept[bin_]) < LINES:
                kept[bin_].append(entry_id)
    ids = [i for some in kept.values() for i in some][:LINES_IN_ALL]
    told: dict[str, StoryLine] = {}
    for start in range(0, len(ids), 500):
        part = ids[start : start + 500]
        marks = ", ".join(["%s"] * len(part))
        told |= {x.id: x for x in story_lines(list(ledger.entries(f"id IN ({marks})", tuple(part))))}
    return {bin_: tuple(told[i] for i in some if i in told) for bin_, some in kept.items()}
