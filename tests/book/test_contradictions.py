"""Entries that cannot be true together are named with one plain sentence each, and change nothing."""

from __future__ import annotations

import pytest

from chirr.book import actions, ledger
from chirr.records import Entry, FarmFolder, Person

OWNER = Person(person="Ines", role="owner")
DAY = 86_400
START = 1_900_000_000


def entry(number: int, deed: str, day: float, **more: object) -> Entry:
    return Entry(
        id=f"01a00000-0000-7000-8000-{number:012d}", at=int(START + day * DAY), deed=deed, person="Ines", **more
    )  # type: ignore[arg-type]


@pytest.fixture
def begun(farm: FarmFolder) -> FarmFolder:
    """Breeders in B1, clutch C1 laid on day 1, pulled into B2 on day 4, hatched on day 15 as lot G1."""
    actions.record(
        [
            entry(1, "stock", 0, bin="B1", lot="P1", quantity=800.0, unit="crickets", stage="adult", age_days=6.0),
            entry(2, "lay", 1, bin="B1", lot="P1", clutch="C1", tray_type="loaf"),
            entry(3, "pull", 4, clutch="C1", to_bin="B2", to_lot="G1"),
            entry(4, "hatch", 15, clutch="C1"),
        ],
        actor=OWNER,
    )
    return farm


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (entry(50, "pull", 0.5, clutch="C1", to_place="warm/2/1"), "clutch C1"),
        (entry(51, "pull", 6, clutch="C1", to_bin="B3", to_lot="G2"), "pulled already"),
        (entry(52, "pull", 6, clutch="C7", to_place="warm/2/1"), "clutch C7"),
        (entry(53, "hatch", 16, clutch="C1"), "first pinheads were seen"),
        (
            entry(54, "stock", 16, bin="B2", lot="N1", quantity=9.0, unit="crickets", stage="nymph", age_days=9.0),
            "where lot G1 lives",
        ),
        (entry(55, "lay", 16, bin="B3", lot="P1", clutch="C2", tray_type="loaf"), "lives in bin B1"),
        (entry(56, "lay", 16, bin="B1", lot="P1", clutch="C1", tray_type="loaf"), "already in the book"),
        (entry(57, "move", 16, lot="G1", to_bin="B1"), "where lot P1 lives"),
        (entry(58, "weigh", 16, lot="G9", sample=10, quantity=1.0, unit="g"), "lot G9"),
        (entry(59, "harvest", 0.1, lot="G1", quantity=1.0, unit="kg"), "lot G1"),
        (entry(60, "count", 16, lot="G1", quantity=100.0, unit="eggs"), "eggs counted for lot G1"),
        (entry(61, "join", 16, from_lots=("G1",), to_lot="G1", to_bin="B2"), "at least two lots"),
        (entry(62, "split", 16, lot="G1", to_lot="G1", to_bin="B3", quantity=5.0), "another name"),
        (entry(63, "move", 16, bin="B3", to_place="over there"), "room/stack/level"),
    ],
)
def test_a_contradiction_is_refused_with_one_sentence(begun: FarmFolder, wrong: Entry, words: str) -> None:
    with pytest.raises(actions.Refused, match=words) as refusal:
        actions.record([wrong], actor=OWNER)
    assert len(refusal.value.misfits) == 1
    assert ledger.live() == ledger.replayed()


def test_a_lot_is_harvested_once(begun: FarmFolder) -> None:
    actions.record([entry(70, "harvest", 60, lot="G1", quantity=1.4, unit="kg")], actor=OWNER)
    with pytest.raises(actions.Refused, match="ended by harvest"):
        actions.record([entry(71, "harvest", 61, lot="G1", quantity=1.4, unit="kg")], actor=OWNER)


def test_correcting_an_entry_that_others_rest_on_is_refused_until_they_are_corrected(begun: FarmFolder) -> None:
    with pytest.raises(actions.Refused, match="clutch C1"):
        actions.record([entry(80, "correct", 20, replaces=entry(2, "lay", 1).id, note="no tray was laid")], actor=OWNER)


def test_what_a_phone_sends_is_kept_as_a_misfit_and_fits_once_its_other_half_arrives(begun: FarmFolder) -> None:
    late = entry(91, "pull", 30, clutch="C2", to_place="warm/2/1")
    actions.record([late], actor=OWNER, strict=False)
    assert late.id in ledger.live().misfits
    actions.record([entry(90, "lay", 27, bin="B1", lot="P1", clutch="C2", tray_type="loaf")], actor=OWNER, strict=False)
    assert ledger.live().misfits == {}
    assert ledger.live().clutches["C2"].pulled_at == late.at


def test_tipping_a_lot_over_takes_its_unhatched_trays_along(begun: FarmFolder) -> None:
    actions.record(
        [
            entry(95, "lay", 15.1, bin="B1", lot="P1", clutch="C3", tray_type="loaf"),
            entry(96, "pull", 16, clutch="C3", to_bin="B2", to_lot="G1"),
            entry(97, "move", 17, lot="G1", to_bin="B3"),
        ],
        actor=OWNER,
    )
    here = ledger.live()
    assert here.clutches["C3"].here.bin == "B3"
    assert here.bins["B3"].hatching == ["C3"]
    assert "C1" in here.bins["B2"].hatching


def test_a_bin_that_is_carried_takes_all_that_is_in_it(begun: FarmFolder) -> None:
    actions.record([entry(98, "move", 20, bin="B2", to_place="cool/3/2")], actor=OWNER)
    here = ledger.live()
    assert (here.bins["B2"].room, here.lots["G1"].stays[-1].room, here.clutches["C1"].here.room) == ("cool",) * 3
    assert here.lots["G1"].stays[-1].level == 2
