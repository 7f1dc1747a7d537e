"""The book is append-only in the database itself, and sending an entry twice changes nothing."""

from __future__ import annotations

import pytest
from django.db import DatabaseError, connection

from chirr.book import actions, ledger
from chirr.book.models import EntryRow
from chirr.records import Entry, FarmFolder, Person

OWNER = Person(person="Ines", role="owner")
FED = Entry(id="01a00000-0000-7000-8000-000000000001", at=1_900_000_000, deed="feed", bin="B1", person="Ines")


def test_the_database_refuses_to_change_an_entry(farm: FarmFolder) -> None:
    actions.record([FED], actor=OWNER)
    with pytest.raises(DatabaseError, match="never changed"):
        EntryRow.objects.filter(id=FED.id).update(deed="water")


def test_the_database_refuses_to_remove_an_entry(farm: FarmFolder) -> None:
    actions.record([FED], actor=OWNER)
    with pytest.raises(DatabaseError, match="never removed"), connection.cursor() as cursor:
        cursor.execute("DELETE FROM book_entryrow")


def test_the_same_entry_sent_twice_is_in_the_book_once(farm: FarmFolder) -> None:
    assert actions.record([FED], actor=OWNER) == 1
    assert actions.record([FED, FED], actor=OWNER) == 0
    assert EntryRow.objects.count() == 1


def test_an_id_with_other_words_is_refused_and_nothing_is_written(farm: FarmFolder) -> None:
    actions.record([FED], actor=OWNER)
    other = Entry(id=FED.id, at=FED.at, deed="water", bin="B1", person="Ines")
    new = Entry(id="01a00000-0000-7000-8000-000000000002", at=FED.at + 60, deed="water", bin="B1")
    with pytest.raises(actions.Refused, match="already has with other words"):
        actions.record([new, other], actor=OWNER)
    assert EntryRow.objects.count() == 1


def test_a_reader_writes_nothing(farm: FarmFolder) -> None:
    with pytest.raises(actions.NotAllowed, match="Eva is a reader"):
        actions.record([FED], actor=Person(person="Eva", role="reader"))


def test_a_refused_entry_leaves_the_standing_as_it_was(farm: FarmFolder) -> None:
    actions.record([FED], actor=OWNER)
    before = ledger.live().entries
    with pytest.raises(actions.Refused, match="clutch"):
        actions.record(
            [Entry(id="01a00000-0000-7000-8000-000000000003", at=FED.at + 9, deed="hatch", clutch="C9")], actor=OWNER
        )
    assert ledger.live().entries == before
    assert ledger.live() == ledger.replayed()
