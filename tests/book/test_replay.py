"""Replayed is live, whatever the order in which the entries came."""

from __future__ import annotations

from datetime import date
from functools import cache

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chirr.book import actions, ledger
from chirr.book.replay import first_standing, replay, voided
from chirr.book.standing import Standing
from chirr.demo import make_farm
from chirr.records import Entry, FarmFolder, Person

OWNER = Person(person="Ines", role="owner")


@cache
def lively() -> FarmFolder:
    """Four months of the made-up farm: every deed, corrections and replacements too."""
    return make_farm(date(2031, 5, 6), months=4)


def standing(entries: list[Entry]) -> Standing:
    return replay(first_standing(lively().bins), entries)


def telling(n: int = 900) -> list[Entry]:
    return [e for e in lively().entries if e.deed not in ("feed", "water")][:n]


@given(st.randoms(use_true_random=False))
@settings(max_examples=15, deadline=None)
def test_any_order_of_the_same_entries_gives_the_same_standing(random: object) -> None:
    mixed = telling()
    random.shuffle(mixed)  # type: ignore[attr-defined]
    assert standing(mixed) == standing(telling())


@pytest.mark.django_db
@given(st.randoms(use_true_random=False), st.integers(min_value=1, max_value=60))
@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_order_of_arrival_in_any_parcels_gives_the_same_live_standing(random: object, parcel: int) -> None:
    """Phones send what they gathered when they can: late, early, in parcels of any size, some of it twice."""
    from django.db import transaction

    folder, entries = lively(), telling(240)
    mixed = list(entries)
    random.shuffle(mixed)  # type: ignore[attr-defined]
    with transaction.atomic():
        ledger.forget()
        actions.found(FarmFolder(farm=folder.farm, rooms=folder.rooms, bins=folder.bins, tray_types=folder.tray_types,
                                 people=folder.people), actor=OWNER)  # fmt: skip
        for start in range(0, len(mixed), parcel):
            actions.record(mixed[start : start + parcel], actor=OWNER, strict=False)
            if start % (7 * parcel) == 0:
                ledger.live()
        assert ledger.live() == ledger.replayed() == standing(entries)
        transaction.set_rollback(True)
    ledger.forget()


def test_the_made_up_farm_replays_without_a_contradiction() -> None:
    assert standing(list(lively().entries)).misfits == {}


def test_a_snapshot_saves_replaying_and_changes_nothing() -> None:
    from chirr.book import standing as form

    entries = telling()
    early, late = entries[:500], entries[500:]
    void = voided(entries)
    cut = early[-1].at
    early, late = [e for e in entries if e.at <= cut], [e for e in entries if e.at > cut]
    kept = form.decode(form.encode(replay(first_standing(lively().bins), early, void=void)))
    assert replay(kept, late, void=void) == standing(entries)


def entry(number: int, deed: str, **more: object) -> Entry:
    return Entry(id=f"01a00000-0000-7000-8000-{number:012d}", at=1_900_000_000 + number, deed=deed, **more)  # type: ignore[arg-type]


def test_a_corrected_entry_never_happened_and_correcting_the_correction_brings_it_back() -> None:
    feed = entry(1, "feed", bin="B1")
    no = entry(2, "correct", replaces=feed.id, note="it was the next bin")
    yes = entry(3, "correct", replaces=no.id, note="it was this bin after all")
    assert voided([feed, no]) == {feed.id}
    assert voided([feed, no, yes]) == {no.id}


def test_entries_of_one_second_are_taken_in_the_order_that_makes_sense() -> None:
    lot = entry(9, "stock", bin="V1-1", lot="X", quantity=10.0, unit="crickets", stage="adult", age_days=3.0)
    tray = Entry(
        id="00000000-0000-7000-8000-000000000000", at=lot.at, deed="lay", bin="V1-1", lot="X", clutch="Y", tray_type="t"
    )
    after = standing([tray, lot])
    assert after.misfits == {}
    assert "Y" in after.clutches
