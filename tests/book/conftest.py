"""A book to write in, and nothing remembered from the test before."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from chirr.book import actions, ledger
from chirr.records import Bin, FarmCard, FarmFolder, Person, Room, TrayType

OWNER = Person(person="Ines", role="owner")


@pytest.fixture(autouse=True)
def _fresh_ledger() -> Iterator[None]:
    ledger.forget()
    yield
    ledger.forget()


@pytest.fixture
def farm(db: None) -> FarmFolder:
    """A small farm of four bins in two rooms, with no entries."""
    folder = FarmFolder(
        farm=FarmCard(name="Test barn", timezone="Europe/Lisbon"),
        rooms=[Room(room="warm", set_temperature_c=30), Room(room="cool", set_temperature_c=27)],
        bins=[
            Bin(bin="B1", room="warm", stack=1, level=1, duty="breeding", floor_cm2=5000, hides_cm2=9000),
            Bin(bin="B2", room="warm", stack=1, level=2, duty="nursery", floor_cm2=5000, hides_cm2=9000),
            Bin(bin="B3", room="cool", stack=1, level=1, duty="grow-out", floor_cm2=5000, hides_cm2=9000),
            Bin(bin="B4", room="cool", stack=1, level=2, duty="grow-out", floor_cm2=5000, hides_cm2=9000),
        ],
        tray_types=[TrayType(tray_type="loaf", length_cm=20, width_cm=10, depth_cm=6)],
        people=[OWNER, Person(person="Rui", role="hand"), Person(person="Eva", role="reader")],
    )
    actions.found(folder, actor=OWNER)
    return folder
