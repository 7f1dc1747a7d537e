"""What phones gathered goes into the book once, each entry answered on its own, contradictions kept for a person."""

from __future__ import annotations

import random
from datetime import UTC, datetime

import pytest
from django.utils.translation import override
from hypothesis import given
from hypothesis import strategies as st
from uuid_utils.compat import uuid7

from chirr.book import actions, ledger
from chirr.desk import browse, clock, forms, phone, settle
from chirr.desk.forms import FormFaults
from chirr.desk.phone import Sending, Sent
from chirr.desk.spoken import moment_words
from desk import round_farm as farm

pytestmark = pytest.mark.django_db
NOW = farm.at(0, 12.0)


def sent(deed: str, *, at: int = NOW - 600, person: str = "davi", since: int = 0, **values: str) -> Sent:
    return Sent(id=str(uuid7()), at=at, person=person, values={"deed": deed, **values}, since=since)


def send(*entries: Sent, now: int = NOW, phone_now: int | None = None, mend: bool = False) -> list[phone.Answer]:
    sending = Sending(now=now if phone_now is None else phone_now, entries=list(entries), mend=mend)
    return phone.take(sending, actor=farm.HAND, now=now)


def in_book(entry_id: str) -> object:
    return next(ledger.entries("id = %s", (entry_id,)), None)


@pytest.fixture(autouse=True)
def _farm(db: None) -> None:
    farm.build()


def test_entries_are_taken_once_however_often_they_are_sent() -> None:
    entries = [sent("feed", bin="P1"), sent("water", bin="P1"), sent("note", bin="A1", note="latch is loose")]
    assert [a.got for a in send(*entries)] == ["taken"] * 3
    assert [a.got for a in send(*entries, now=NOW + 40)] == ["there"] * 3
    assert ledger.how_many("deed IN ('feed', 'water', 'note') AND at = %s", (NOW - 600,)) == 3


def test_the_order_of_sending_does_not_matter() -> None:
    entries = [
        sent("pull", at=NOW - 900, clutch="T1", to_bin="P3", to_lot="N1"),
        sent("lay", at=NOW - 890, bin="P1", lot="B1", clutch="T3", tray_type="flat"),
        sent("pull", at=NOW - 500, clutch="T3", to_bin="P4", to_lot="N2"),
    ]
    random.Random(4).shuffle(entries)  # noqa: S311 - an order, not a secret
    entries.sort(key=lambda e: -e.at)
    for entry in entries:
        send(entry)
    assert not ledger.live().misfits
    assert ledger.live().clutches["T3"].to_lot == "N2"


def test_one_that_cannot_be_an_entry_is_refused_in_a_sentence_and_the_others_go_in() -> None:
    good, bad = sent("feed", bin="P1"), sent("count", lot="B1", quantity="many", unit="crickets")
    answers = send(bad, good)
    assert [a.got for a in answers] == ["refused", "taken"]
    assert "is not a number" in answers[0].why
    assert answers[0].faults.keys() == {"quantity"}
    assert in_book(bad.id) is None


def test_an_entry_without_a_version_7_number_is_refused() -> None:
    bad = Sent(id="1c2d3e4f-0000-4000-8000-000000000000", at=NOW, person="davi", values={"deed": "feed", "bin": "P1"})
    assert send(bad)[0].got == "refused"


def test_another_entry_of_the_same_number_is_refused_and_the_first_stays() -> None:
    first = sent("feed", bin="P1")
    other = Sent(id=first.id, at=first.at, person="davi", values={"deed": "feed", "bin": "P2"})
    send(first)
    assert send(other)[0].got == "refused"
    assert in_book(first.id).bin == "P1"  # type: ignore[attr-defined]


def test_two_people_who_pulled_the_same_tray_are_shown_both_facts_and_nothing_is_dropped() -> None:
    first = sent("pull", at=NOW - 900, clutch="T1", to_bin="P3", to_lot="N1")
    second = sent("pull", at=NOW - 300, person="ines", clutch="T1", to_bin="P4", to_lot="N2")
    assert [a.got for a in send(second)] == ["taken"]
    assert [a.got for a in send(first)] == ["taken"]
    (clash,) = settle.unsettled().clashes
    pulled = clock.local(first.at)
    assert f"pulled already on {moment_words(pulled)}" in clash.why, "in the farm's time, not the book's"
    assert (clash.line.id, clash.line.person) == (second.id, "ines")
    assert clash.other is not None
    assert (clash.other.id, clash.other.person) == (first.id, "davi")
    assert "pulled already" in clash.why


@pytest.mark.parametrize("keep", ["first", "second"])
def test_settling_withdraws_one_of_the_two_and_both_stay_in_the_book(keep: str) -> None:
    first = sent("pull", at=NOW - 900, clutch="T1", to_bin="P3", to_lot="N1")
    second = sent("pull", at=NOW - 300, person="ines", clutch="T1", to_bin="P4", to_lot="N2")
    send(first, second)
    goes, stays = (second, first) if keep == "first" else (first, second)
    settle.give_way(goes.id, stays.id, actor=farm.OWNER, now=NOW)
    assert settle.unsettled().clashes == ()
    assert ledger.live().clutches["T1"].to_lot == ("N1" if keep == "first" else "N2")
    assert in_book(first.id) is not None
    assert in_book(second.id) is not None


def test_the_same_bin_fed_by_two_people_within_an_hour_is_asked_about() -> None:
    send(sent("feed", at=NOW - 900, bin="P1"), sent("feed", at=NOW - 300, person="ines", bin="P1"))
    (pair,) = settle.unsettled().twice
    assert (pair.first.person, pair.second.person) == ("davi", "ines")
    settle.give_way(pair.second.id, pair.first.id, actor=farm.OWNER, now=NOW)
    assert settle.unsettled().twice == ()


def test_that_both_fed_it_is_an_answer_which_is_kept_and_can_be_taken_back() -> None:
    send(sent("feed", bin="P1", at=NOW - 3000), sent("feed", bin="P1", at=NOW - 1200, person="ines"))
    (pair,) = settle.unsettled().twice
    before = ledger.top_seq()
    for _ in range(2):
        settle.both_happened(pair.first.id, pair.second.id, actor=farm.OWNER, now=NOW)
    assert settle.unsettled().twice == ()
    (note,) = ledger.entries("seq > %s", (before,))
    assert (note.deed, note.bin, note.person) == ("note", "P1", farm.OWNER.person)
    assert note.extra == {"both_happened": f"{pair.first.id};{pair.second.id}"}
    assert {e.id for e in ledger.entries("deed = 'correct'")} == set(), "both count"
    with override("es"):
        (line,) = browse.story_lines([note])
        assert "aclarado: pasaron las dos (alimentar: davi, luego ines)" in line.says
    forms.withdraw(note.id, "only one did", actor=farm.OWNER, now=NOW)
    assert len(settle.unsettled().twice) == 1


def test_both_happened_is_asked_only_of_the_same_work_at_the_same_bin() -> None:
    send(one := sent("feed", bin="P1"), other := sent("water", bin="P1", person="ines"))
    with pytest.raises(FormFaults, match="not about the same work"):
        settle.both_happened(one.id, other.id, actor=farm.OWNER, now=NOW)
    with pytest.raises(FormFaults, match="not about the same work"):
        settle.both_happened(one.id, "nothing", actor=farm.OWNER, now=NOW)


def test_a_clock_a_day_fast_is_put_right_and_both_times_are_kept() -> None:
    fast = sent("feed", at=NOW - 600 + 86400, bin="P1")
    send(fast, phone_now=NOW + 86400)
    entry = in_book(fast.id)
    assert entry.at == NOW - 600  # type: ignore[attr-defined]
    assert entry.extra["phone_at"] == datetime.fromtimestamp(NOW - 600 + 86400, UTC).isoformat()  # type: ignore[attr-defined]
    assert [c.line.id for c in settle.unsettled().clocks] == [fast.id]


def test_a_clock_set_right_before_sending_cannot_put_an_entry_before_the_last_word_with_the_farm() -> None:
    slow = sent("feed", at=1_000_000, since=NOW - 3600, bin="P1")
    send(slow)
    assert in_book(slow.id).at == NOW - 3600  # type: ignore[attr-defined]


def test_half_a_minute_is_no_wrong_clock() -> None:
    near = sent("feed", bin="P1")
    send(near, phone_now=NOW + 30)
    assert in_book(near.id).at == NOW - 600  # type: ignore[attr-defined]
    assert settle.unsettled().clocks == ()


@given(
    made=st.integers(0, 20_000), heard=st.integers(0, 20_000), later=st.integers(0, 20_000),
    wrong=st.integers(-400_000, 400_000), set_anew=st.integers(-400_000, 400_000),
)  # fmt: skip
def test_no_clock_puts_an_entry_outside_what_can_be(
    made: int, heard: int, later: int, wrong: int, set_anew: int
) -> None:
    since, true = 1_700_000_000 + heard, 1_700_000_000 + heard + made
    now = true + later
    at = phone.put_right(true + wrong, since=since, now=now, skew_s=-set_anew)
    assert since - phone.CLOCK_S <= at <= now + phone.CLOCK_S
    steady = phone.put_right(true + wrong, since=since, now=now, skew_s=-wrong)
    assert abs(steady - true) <= phone.CLOCK_S


def test_entries_stay_those_of_who_did_them_whoever_sends_them() -> None:
    theirs = sent("feed", bin="P1", person="ines")
    send(theirs)
    entry = in_book(theirs.id)
    assert (entry.person, entry.extra) == ("ines", {"sent_by": "davi"})  # type: ignore[attr-defined]


@pytest.mark.parametrize("person", ["olga", "nobody", ""])
def test_entries_of_somebody_who_may_not_write_are_refused(person: str) -> None:
    assert send(sent("feed", bin="P1", person=person))[0].got == "refused"


def test_a_reader_sends_nothing() -> None:
    with pytest.raises(actions.NotAllowed):
        phone.take(Sending(now=NOW, entries=[sent("feed", bin="P1")]), actor=farm.READER, now=NOW)


def test_a_form_whose_writer_stands_by_is_told_where_it_contradicts_the_book() -> None:
    wrong = sent("pull", clutch="nonesuch", to_bin="P3", to_lot="N1")
    (answer,) = send(wrong, mend=True)
    assert answer.got == "refused"
    assert "clutch" in answer.faults
    assert in_book(wrong.id) is None
    assert send(sent("feed", bin="P1"), mend=True)[0].got == "taken"
