"""A clutch that should have hatched is called so on the same day by the round, the trays, the racks and the phone."""

from __future__ import annotations

from datetime import date

import pytest

from chirr.book import actions, ledger
from chirr.desk import clock, racks, trays, turns
from chirr.desk import round as desk_round
from chirr.desk.overdue import missed, overdue
from chirr.pages import pocket as phone
from desk import round_farm as farm
from desk.round_farm import TZ, at, believe, build, entry

pytestmark = pytest.mark.django_db

PULL = entry(0, "pull", clutch="T1", to_bin="P3", to_lot="N1")
LAST_DAY = date(2031, 3, 14)
"""T1 was laid on Friday 28 February; the band of the made-up belief ends 14.5 days later."""


def says_of_t1(day: int, hour: float, monkeypatch: pytest.MonkeyPatch) -> tuple[bool, ...]:
    """Whether the round, the trays, the racks, the calendar and the phone take T1 for overdue."""
    now = at(day, hour)
    monkeypatch.setattr(clock, "now", lambda: now)
    seen, s = believe(now=now), ledger.live()
    for module in (trays, racks):
        monkeypatch.setattr(module, "believed", lambda: seen)
    items = {i.key: i for stop in desk_round.round_sheet(beliefs=seen).stops for i in stop.items}
    row = next(r for r in trays.trays().clutches if r.clutch == "T1")
    levels = [level for room in racks.racks() for stack in room.stacks for level in stack.levels]
    (tile,) = [one for level in levels for one in level.bins if one.bin == "P3"]
    (turn,) = [t for t in turns._hatches(seen, clock.today()) if any("T1" in line for line in t.more)]
    (line,) = [line for line in turn.more if "T1" in line]
    facts = phone._clutch(seen.clutches["T1"], "P3", overdue(s, seen.clutches.values(), now).get("T1"))["facts"]
    return (
        items["hatch:T1"].urgency == "overdue",
        row.state == "overdue",
        tile.trouble == "T1 has not hatched",
        "overdue: expected by Fri 14 Mar, may have failed" in line,
        ["First pinheads", "overdue: expected by Fri 14 Mar, may have failed"] in facts,
    )


def test_all_of_them_call_it_overdue_from_the_day_after_its_band_on(monkeypatch: pytest.MonkeyPatch) -> None:
    build()
    actions.record([PULL], actor=farm.HAND)
    belief = believe().clutches["T1"]
    assert clock.local(belief.expected_first.q[6], TZ).date() == LAST_DAY
    assert says_of_t1(11, 23.5, monkeypatch) == (False,) * 5, "still within the last day of its band"
    assert says_of_t1(12, 0.5, monkeypatch) == (True,) * 5
    assert says_of_t1(15, 8, monkeypatch) == (True,) * 5


def test_one_that_has_hatched_or_is_emptied_is_never_overdue() -> None:
    build()
    actions.record([PULL, entry(13, "hatch", clutch="T1")], actor=farm.HAND)
    belief = believe().clutches["T1"]
    assert missed(ledger.live().clutches["T1"], belief, at(20), TZ) is None
    actions.record([entry(14, "empty", clutch="T1")], actor=farm.HAND)
    assert missed(ledger.live().clutches["T1"], belief, at(20), TZ) is None


def test_what_never_comes_has_no_day_by_which_it_was_expected() -> None:
    build()
    belief = believe().clutches["T1"]
    never = farm.band(float("inf"), 0.0)
    assert missed(ledger.live().clutches["T1"], type(belief)(**_fields(belief) | {"expected_first": never}),
                  at(40), TZ) is None  # fmt: skip


def _fields(belief: object) -> dict[str, object]:
    return {name: getattr(belief, name) for name in belief.__struct_fields__}  # type: ignore[attr-defined]
