"""The file of the book replaced by an older copy under a program that has it in memory: nothing of the lost stays."""

from __future__ import annotations

from itertools import count

import pytest
from django.db import connection

from builders.older_copy import put_back
from chirr.book import actions, ledger
from chirr.book.models import SnapshotRow
from chirr.records import Entry, FarmFolder, Person

OWNER = Person(person="Ines", role="owner")
START = 1_900_000_000
_numbers = count(1)


def written(deed: str, minute: int, **more: object) -> Entry:
    """An entry with an id of its own, in the book."""
    entry = Entry(
        id=f"01a00000-0000-7000-8000-{next(_numbers):012d}", at=START + 60 * minute, deed=deed, person="Ines", **more
    )  # type: ignore[arg-type]
    actions.record([entry], actor=OWNER)
    return entry


STOCK = {"bin": "B1", "lot": "L1", "quantity": 900.0, "unit": "crickets", "stage": "adult", "age_days": 4.0}


def test_what_the_copy_does_not_have_is_gone_from_the_standing(farm: FarmFolder) -> None:
    written("stock", 0, **STOCK)
    there = ledger.top_seq()
    written("lay", 1, bin="B1", lot="L1", clutch="C1", tray_type="loaf")
    assert "C1" in ledger.live().clutches
    put_back(there)
    assert "C1" not in ledger.live().clutches
    assert ledger.live() == ledger.replayed()


@pytest.mark.parametrize("more", [0, 3], ids=["as many entries as before", "more entries than before"])
def test_other_entries_under_the_same_numbers_are_not_taken_for_those_that_were_lost(
    farm: FarmFolder, more: int
) -> None:
    written("stock", 0, **STOCK)
    there = ledger.top_seq()
    written("lay", 1, bin="B1", lot="L1", clutch="C1", tray_type="loaf")
    kept = ledger.live()
    assert "C1" in kept.clutches

    put_back(there)
    other = [written("lay", 2, bin="B1", lot="L1", clutch="C2", tray_type="loaf")]
    other += [written("feed", 3 + i, bin="B1") for i in range(more)]
    key = str(connection.settings_dict["NAME"])
    ledger._live[key] = ledger._Kept(there + 1, "01a00000-0000-7000-8000-lost00000000", ledger.bin_rows(), kept)
    assert set(ledger.live().clutches) == {"C2"}
    assert ledger.live() == ledger.replayed()


def test_a_snapshot_of_what_was_lost_is_never_written(farm: FarmFolder) -> None:
    written("stock", 0, **STOCK)
    there = ledger.top_seq()
    written("lay", 1, bin="B1", lot="L1", clutch="C1", tray_type="loaf")
    ledger.live()
    key = str(connection.settings_dict["NAME"])
    ledger._owed[key] = (there + 1, START + 60, b"of the book that was lost")
    put_back(there)
    ledger.live()
    written("feed", 5, bin="B1")
    assert not SnapshotRow.objects.exists()


def test_a_book_still_has_what_was_seen_of_it_until_it_is_another(farm: FarmFolder) -> None:
    assert ledger.still_has(*ledger.newest()), "an empty book"
    written("stock", 0, **STOCK)
    seen = ledger.newest()
    written("feed", 1, bin="B1")
    assert ledger.still_has(*seen)
    put_back(seen[0] - 1)
    assert not ledger.still_has(*seen)
    written("feed", 2, bin="B1")
    assert not ledger.still_has(*seen)
