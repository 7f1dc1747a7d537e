"""An entry shows at once in what is believed of the lots that it touches, as it will when all is believed anew."""

from __future__ import annotations

import msgspec
import pytest

from builders import small_farm
from chirr.book import actions, ledger
from chirr.desk import belief
from chirr.records import Entry

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def believed(small_farm_now: None) -> None:
    """The small farm, believed once."""
    belief.foresight()


def a_lot() -> str:
    """The lot with the most crickets."""
    lots = belief.foresight().beliefs.lots
    return max(lots, key=lambda name: lots[name].alive.mid)


def write(number: int, **values: object) -> Entry:
    entry = Entry(id=small_farm.entry_id(number), at=small_farm.NOW - 60 + number, person="Bram", **values)  # type: ignore[arg-type]
    actions.record([entry], actor=small_farm.HAND)
    return entry


def test_a_count_moves_its_lot_as_far_as_believing_all_anew_does() -> None:
    lot = a_lot()
    before = belief.beliefs().lots[lot].alive
    write(50, deed="count", lot=lot, quantity=round(0.5 * before.mid), unit="crickets", cv=0.1)
    at_once, anew = belief.beliefs().lots[lot].alive, belief.foresee().beliefs.lots[lot].alive
    assert at_once.mid < 0.8 * before.mid
    assert at_once.mid == pytest.approx(anew.mid, rel=0.03)
    assert at_once.q[6] - at_once.q[0] == pytest.approx(anew.q[6] - anew.q[0], rel=0.15)


def test_other_lots_stay_as_they_were() -> None:
    lot, before = a_lot(), belief.beliefs()
    write(50, deed="count", lot=lot, quantity=10, unit="crickets", cv=0.1)
    after = belief.beliefs()
    same = [name for name in before.lots if after.lots[name] == before.lots[name]]
    assert lot not in same
    assert len(same) >= 1


def test_entries_add_up_until_all_is_believed_anew() -> None:
    lot = a_lot()
    first = belief.beliefs().lots[lot].alive.mid
    write(50, deed="count", lot=lot, quantity=round(0.6 * first), unit="crickets", cv=0.1)
    second = belief.beliefs().lots[lot].alive.mid
    write(51, deed="count", lot=lot, quantity=round(0.6 * first), unit="crickets", cv=0.1)
    third = belief.beliefs().lots[lot].alive.mid
    assert first > second > third


@pytest.mark.parametrize("deed", ["correct", "note"])
def test_a_count_taken_back_or_replaced_by_a_note_leaves_things_as_they_were(deed: str) -> None:
    lot = a_lot()
    before = belief.beliefs().lots[lot].alive.mid
    wrong = write(50, deed="count", lot=lot, quantity=round(0.3 * before), unit="crickets", cv=0.1)
    assert belief.beliefs().lots[lot].alive.mid < 0.8 * before
    write(51, deed=deed, replaces=wrong.id, note="wrong bin")
    assert belief.beliefs().lots[lot].alive.mid == pytest.approx(before, rel=0.03)


def test_what_is_harvested_is_gone_and_a_tray_just_laid_is_there() -> None:
    lots = belief.foresight().beliefs.lots
    gone = next(name for name, b in lots.items() if b.harvest_ready is not None and not b.waiting)
    write(50, deed="harvest", lot=gone, quantity=0.4, unit="kg")
    standing = ledger.live()
    bin_ = next(b for b in standing.bins.values() if b.duty == "breeding" and b.lots)
    tray = standing.clutches[next(iter(standing.clutches))].tray_type
    write(51, deed="lay", bin=bin_.name, lot=bin_.lots[0], clutch="C-NEW", tray_type=tray)
    seen = belief.beliefs()
    assert gone not in seen.lots
    assert seen.clutches["C-NEW"].eggs.mid == pytest.approx(
        belief.foresee().beliefs.clutches["C-NEW"].eggs.mid, rel=0.05
    )


def test_feeding_tells_nothing_and_changes_nothing() -> None:
    before = belief.beliefs()
    bin_ = next(b.name for b in ledger.live().bins.values() if b.lots)
    write(50, deed="feed", bin=bin_)
    assert belief.beliefs() == before


def test_a_count_that_comes_back_counts_again() -> None:
    lot = a_lot()
    before = belief.beliefs().lots[lot].alive.mid
    count = write(50, deed="count", lot=lot, quantity=round(0.4 * before), unit="crickets", cv=0.1)
    counted = belief.beliefs().lots[lot].alive.mid
    note = write(51, deed="note", replaces=count.id, note="slip")
    belief.beliefs()
    write(52, deed="correct", replaces=note.id, note="it was right")
    assert belief.beliefs().lots[lot].alive.mid == pytest.approx(counted, rel=0.03)


def test_it_is_said_that_all_else_follows_until_it_has() -> None:
    assert not belief.beliefs().behind
    write(50, deed="count", lot=a_lot(), quantity=10, unit="crickets", cv=0.1)
    assert belief.beliefs().behind
    belief.foresight(fresh=True)
    assert not belief.beliefs().behind


def test_a_tray_type_changed_by_anybody_makes_what_is_kept_outdated() -> None:
    from chirr.book import shelf

    before = belief._state()
    tray = shelf.tray_types()[0]
    actions.set_tray_type(msgspec.structs.replace(tray, length_cm=tray.length_cm * 2), actor=small_farm.OWNER)
    assert belief._state() != before
