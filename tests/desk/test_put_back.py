"""A book put back to an older copy under a running program: belief and grade of what was lost are not shown."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from builders import small_farm
from builders.older_copy import put_back
from chirr.book import actions, ledger
from chirr.desk import belief, kept_grade, learnt_file
from chirr.desk.grade_report import Grade
from chirr.records import Entry

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("small_farm_now")]


def write(number: int, **values: object) -> None:
    entry = Entry(id=small_farm.entry_id(number), at=small_farm.NOW - 60 + number, person="Bram", **values)  # type: ignore[arg-type]
    actions.record([entry], actor=small_farm.HAND)


LAY = {"deed": "lay", "bin": "E1-1", "lot": "B1", "tray_type": "slim"}


def test_a_clutch_that_the_copy_does_not_have_is_believed_in_no_more() -> None:
    there = ledger.top_seq()
    write(50, clutch="C50", **LAY)
    belief.foresight()
    assert "C50" in belief.beliefs().clutches
    put_back(there)
    assert "C50" not in belief.beliefs().clutches
    assert belief.foresight().standing == ledger.replayed()


def test_other_entries_in_the_place_of_the_lost_are_believed() -> None:
    there = ledger.top_seq()
    write(50, clutch="C50", **LAY)
    belief.foresight()
    put_back(there)
    write(51, clutch="C51", **LAY)
    seen = belief.beliefs().clutches
    assert "C51" in seen
    assert "C50" not in seen


def test_the_grade_of_a_book_that_had_more_is_not_shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "book.grade.json"
    monkeypatch.setattr(kept_grade, "kept_path", lambda: path)
    there = ledger.top_seq()
    write(50, clutch="C50", **LAY)
    _, newest = ledger.newest()
    report = Grade(
        made_at=small_farm.NOW, farm="Low Barn", first_entry=kept_grade.first_entry_id(), asked=(), draws=400, kinds=(),
        drift=(), newest_entry=newest,
    )  # fmt: skip
    path.write_bytes(msgspec.json.encode(report))
    assert kept_grade.kept() == report
    put_back(there)
    assert kept_grade.kept() is None
    old = msgspec.structs.replace(report, newest_entry="")
    path.write_bytes(msgspec.json.encode(old))
    assert kept_grade.kept() == old, "a report from before this was noted still counts"


def test_what_was_learnt_of_the_lost_is_no_start_for_the_next_search(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(learnt_file, "path_of", lambda: tmp_path / "book.learnt")
    there = ledger.top_seq()
    write(50, clutch="C50", **LAY)
    belief.foresee()
    learnt = learnt_file.read_learnt()
    assert learnt is not None
    assert "clutch C50" in learnt.things
    put_back(there)
    assert learnt_file.read_learnt() is None
    path = tmp_path / "book.learnt"
    path.write_bytes(msgspec.json.encode(learnt))
    assert learnt_file.read_learnt() == learnt, "a file from before the newest entry was noted is still a start"
