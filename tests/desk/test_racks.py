"""What a tile of the racks says is next."""

from __future__ import annotations

import pytest

from chirr.desk.racks import _next_due
from chirr.desk.shapes import RoundItem, RoundStop


def stop(*items: tuple[str, str]) -> RoundStop:
    """A stop with things to do, each by what it says and how pressing it is."""
    made = tuple(
        RoundItem(key=what, deed="note", what=what, why="because", urgency=urgency, minutes=1.0)
        for what, urgency in items
    )
    return RoundStop(
        key="bin:A1", group="breeding", room="east", stack=1, level=1, bin="A1", duty="breeding", items=made,
        minutes=1.0, within_reach=True,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("items", "said"),
    [
        ([("Retire breeders B1", "soon")], None),
        ([("Lay a tray", "due"), ("Retire breeders B1", "soon")], "Lay a tray"),
        ([("Lay a tray", "due"), ("Retire breeders B1", "overdue")], "Retire breeders B1 and 1 more"),
        ([("Weigh a sample", "optional"), ("Look for pinheads", "open"), ("Feed", "due")], "Feed and 2 more"),
        ([], None),
    ],
)
def test_a_tile_says_the_most_pressing_thing_and_nothing_that_is_only_to_come(
    items: list[tuple[str, str]], said: str | None
) -> None:
    assert _next_due(stop(*items)) == said


def test_a_bin_without_a_stop_has_nothing_next() -> None:
    assert _next_due(None) is None
