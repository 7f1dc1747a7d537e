"""Which things get a label, and what stands on it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from builders import small_farm
from chirr.book import papers
from chirr.book.actions import NotAllowed
from chirr.desk import clock, labels
from chirr.desk.labels import Job, Which

JOB = Job(stock="a4-3x8", address="https://barn.local:8765")


@pytest.fixture(autouse=True)
def farm(db: None, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(clock, "now", lambda: small_farm.NOW)
    small_farm.found()
    return


def names(**which: object) -> list[str]:
    return [f"{it.kind} {it.name}" for it in labels.wanted(Which(**which))]  # type: ignore[arg-type]


def test_everything_on_the_farm_gets_a_label_bins_in_walking_order() -> None:
    assert names() == [
        "bin E1-1", "bin E1-2", "bin W1-1", "bin W1-2", "bin W2-1", "clutch C2", "tray C3", "lot B1", "lot G1",
        "substrate peat-1",
    ]  # fmt: skip


def test_a_tray_in_its_laying_bin_and_a_clutch_that_is_out_have_labels_of_their_own() -> None:
    tray, clutch = labels.wanted(Which(names=("C3",)))[0], labels.wanted(Which(names=("C2",)))[0]
    assert (tray.kind, tray.word) == ("tray", "laying tray")
    assert tray.facts == ("in E1-1 since Sun 28 Mar 2027", "slim · house cricket")
    assert clutch.facts[:2] == ("laid in E1-1 Thu 4 Mar 2027, out Sun 7 Mar 2027", "rack west 2/2")


def test_a_bin_says_its_duty_and_its_place() -> None:
    [it] = labels.wanted(Which(names=("W2-1",)))
    assert (it.word, it.shape, it.facts) == ("grow-out bin", "grow-out", ("west · stack 2 · level 1",))


def test_a_lot_bears_the_duty_of_the_bin_it_lives_in() -> None:
    [it] = labels.wanted(Which(names=("G1",)))
    assert (it.word, it.shape, it.facts[0]) == ("lot, nursery", "nursery", "from C1")


def test_a_room_is_asked_for_alone() -> None:
    assert names(room="west", kinds=("bin", "lot")) == ["bin W1-1", "bin W1-2", "bin W2-1", "lot G1"]


def test_what_is_over_gets_a_label_only_by_name() -> None:
    assert "clutch C1" not in names()
    assert names(names=("C1",)) == ["clutch C1"]


def test_a_name_that_the_farm_does_not_have_is_told() -> None:
    with pytest.raises(LookupError, match="called Q9"):
        labels.wanted(Which(names=("Q9",)))


def test_what_has_a_label_is_left_out_of_the_new_ones() -> None:
    labels.make(Which(kinds=("bin", "lot")), JOB, actor=small_farm.HAND)
    assert names(unprinted=True) == ["clutch C2", "tray C3", "substrate peat-1"]


def test_new_since_a_day_means_what_came_after_it_and_bins_without_a_label() -> None:
    labels.make(Which(names=("E1-1",)), JOB, actor=small_farm.OWNER)
    assert names(since=small_farm.day(10)) == ["bin E1-2", "bin W1-1", "bin W1-2", "bin W2-1", "tray C3"]


def test_the_address_of_the_last_labels_is_kept() -> None:
    assert labels.last_address() == ""
    labels.make(Which(names=("E1-1",)), JOB, actor=small_farm.OWNER)
    assert labels.last_address() == "HTTPS://BARN.LOCAL:8765"


def test_nothing_counts_as_printed_when_printing_failed() -> None:
    with pytest.raises(labels.CannotPrint):
        labels.make(Which(), Job(stock="a4-3x8", address="barn.local", first=99), actor=small_farm.OWNER)
    assert papers.latest_labels() == {}


def test_a_reader_prints_nothing() -> None:
    with pytest.raises(NotAllowed):
        labels.make(Which(), JOB, actor=small_farm.READER)


def test_when_all_have_labels_it_says_how_to_print_them_again() -> None:
    labels.make(Which(), JOB, actor=small_farm.OWNER)
    with pytest.raises(labels.CannotPrint, match="choose all of them"):
        labels.make(Which(unprinted=True), JOB, actor=small_farm.OWNER)


def test_trays_to_come_get_the_names_that_the_forms_will_offer() -> None:
    from chirr.desk import farm

    coming = labels.wanted(Which(to_come=3))
    assert [it.name for it in coming] == ["C4", "C5", "C6"]
    assert farm.choices().next_clutch == coming[0].name
    labels.make(Which(to_come=3), JOB, actor=small_farm.HAND)
    assert ("tray", "C6") in papers.latest_labels()
