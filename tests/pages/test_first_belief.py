"""The first pages after a start: while belief is worked out they say so, and say what stands where."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from builders import small_farm
from chirr.book import ledger
from chirr.desk import belief, learning
from pages.conftest import Who


@pytest.fixture
def serving(farm: None, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """As where pages are served, with work beside them that is never done."""
    monkeypatch.setattr(belief, "_beside", lambda *_: None)
    monkeypatch.setattr(belief, "_PATIENCE_S", 0.01)
    belief._serving.set()
    yield
    belief._serving.clear()
    belief._busy.clear()


@pytest.mark.parametrize("path", ["/round", "/racks", "/ahead", "/trays", "/bins/W1-1", "/lots/G1", "/trays/laying"])
def test_a_page_says_that_belief_is_worked_out_and_what_stands_where(who: Who, serving: None, path: str) -> None:
    answer = who("hand").get(path)
    text = answer.content.decode()
    assert (answer.status_code, answer["Retry-After"]) == (503, "3")
    assert '<meta http-equiv="refresh" content="3">' in text
    assert "<td>W1-1</td><td>nursery</td><td>G1</td>" in text
    assert "E1-2" not in text, "an empty bin"


@pytest.mark.parametrize("path", ["/book", "/farm", "/book/add?deed=deaths&lot=G1", "/cautions", "/phone/now"])
def test_what_needs_no_belief_is_there_at_once(who: Who, serving: None, path: str) -> None:
    assert who("hand").get(path).status_code == 200


def test_what_was_to_be_done_is_not_written_and_the_page_says_so(who: Who, serving: None) -> None:
    before = ledger.top_seq()
    answer = who("hand").post("/round/do", {"key": "feed:W1-1", "day": "2027-03-31"})
    text = answer.content.decode()
    assert answer.status_code == 503
    assert "is not in the book yet" in text
    assert "refresh" not in text
    assert ledger.top_seq() == before


def test_many_pages_at_once_begin_the_work_once(who: Who, serving: None, monkeypatch: pytest.MonkeyPatch) -> None:
    begun: list[object] = []
    monkeypatch.setattr(belief, "_beside", lambda key, *_: begun.append(key))
    hand = who("hand")
    for path in ("/round", "/racks", "/ahead"):
        hand.get(path)
    assert len(begun) == 1


def test_what_fails_beside_the_pages_is_told_and_not_waited_for(
    farm: None, serving: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(belief, "_beside", lambda key, *_: belief._busy.discard(key))
    assert belief.foresight().standing == ledger.replayed(), "worked out by whoever asks"


def test_a_command_waits_for_the_first_belief(farm: None) -> None:
    assert not belief._serving.is_set()
    assert belief.foresight() is not None


def test_what_stands_where_is_told_by_room_from_the_entries_alone(farm: None) -> None:
    rooms = dict(learning.as_it_stands())
    assert list(rooms) == ["east", "west"]
    (breeding,) = rooms["east"]
    assert (breeding.bin, breeding.lots, breeding.trays) == ("E1-1", ("B1",), 1)
    assert ledger.top_seq() == len(small_farm.entries())
