"""The page that says when breeders have had their day and who follows."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import msgspec
import pytest

from builders import small_farm
from chirr.book import actions, ledger
from chirr.desk import belief, clock
from chirr.desk.belief import foresight
from chirr.desk.breeders import breeders
from chirr.desk.racks import due_stops, tile
from chirr.desk.round import round_sheet
from chirr.desk.shapes import Band, Beliefs, Follower
from chirr.engine.rounds.days import day_in_words
from chirr.records import Entry, Reading
from pages.conftest import Who


@pytest.mark.parametrize("person", ["owner", "hand", "reader"])
def test_everybody_of_the_farm_sees_when_a_lot_is_to_be_retired(who: Who, person: str) -> None:
    page = who(person).get("/ahead/breeders")
    text = page.content.decode()
    assert page.status_code == 200
    assert "Breeders B1" in text
    assert "Eggs fall below half of their peak" in text
    assert text.count("<figure") == 1


def test_dates_go_in_order_and_the_growing_lot_is_named_as_a_follower(who: Who) -> None:
    (b,) = breeders()
    assert b.followers_laid.mid < b.followers_hatched.mid < b.followers_adult.mid < b.retire.mid
    assert b.retire.mid == pytest.approx(min(b.half_of_peak.mid, b.better_renewed.mid), abs=3 * 86400)
    assert [s.lot for s in b.successors] == ["G1"]
    assert b.adult_days == pytest.approx(34, abs=2)


def test_the_round_retires_breeders_on_the_day_that_the_breeders_page_gives(who: Who, farm: None) -> None:
    (b,) = breeders()
    due = datetime.fromtimestamp(b.retire.mid, clock.zone()).date()
    first = max(due, clock.today())
    sheets = {day: round_sheet(day) for day in (first - timedelta(days=1), first, first + timedelta(days=1))}
    told = {day: [i for s in sheet.stops for i in s.items if i.deed == "retire"] for day, sheet in sheets.items()}
    assert [i.lot for i in told[first]] == ["B1"]
    assert not told[first - timedelta(days=1)] or first == clock.today()
    assert not told[first + timedelta(days=1)]


def test_the_round_gives_the_same_days_between_which_breeders_retire_as_the_breeders_page(who: Who) -> None:
    (b,) = breeders()
    day = max(datetime.fromtimestamp(b.retire.mid, clock.zone()).date(), clock.today())
    (item,) = [i for s in round_sheet(day).stops for i in s.items if i.deed == "retire"]
    low, high = (day_in_words(datetime.fromtimestamp(at, clock.zone()).date()) for at in (b.retire.low, b.retire.high))
    assert f"between {low} and {high}" in item.why


def with_follower(lays_in_days: int) -> Beliefs:
    """What is believed, had the breeders had their day ten days ago and a lot that lays some days from now."""
    seen, now = belief.beliefs(), foresight().as_of

    def days(n: float) -> Band:
        return Band(q=tuple(now + 86400 * (n + k / 9) for k in range(-3, 4)))

    follower = Follower(lot="L1", bin="E1-2", lays=days(lays_in_days), in_time=0.9)
    r = msgspec.structs.replace(
        seen.retire["B1"], retire=days(-10), half_of_peak=days(-10), better_renewed=days(-9), trays_share=None,
        follower=follower,
    )  # fmt: skip
    return msgspec.structs.replace(seen, retire={"B1": r})


def test_breeders_kept_until_others_lay_are_laid_with_and_their_tile_does_not_say_retire(who: Who) -> None:
    kept, says = first_and_tile(with_follower(4))
    assert ("retire", "soon") in kept
    assert "lay" in dict(kept)
    assert "Retire" not in (says or "")
    kept, says = first_and_tile(with_follower(-1))
    assert ("retire", "overdue") in kept
    assert "lay" not in dict(kept)
    assert "Lay" not in (says or "")


def first_and_tile(seen: Beliefs) -> tuple[list[tuple[str, str]], str | None]:
    """Deeds and urgencies at the breeders' bin today, and what its tile on the racks says is next."""
    stop = due_stops(seen)[breeders()[0].bin or ""]
    s = ledger.live()
    return [(i.deed, i.urgency) for i in stop.items], tile(
        s, s.bins[stop.bin or ""], seen, stop, (), clock.now()
    ).next_due


def test_trays_that_hold_half_of_the_best_end_a_lot_on_the_page_and_on_the_round(who: Who) -> None:
    counts = [
        Entry(id=small_farm.entry_id(90 + n), at=small_farm.day(29), person="Bram", deed="count", clutch=clutch,
              quantity=eggs, unit="eggs", cv=0.2)
        for n, (clutch, eggs) in enumerate((("C2", 400.0), ("C3", 500.0)))
    ]  # fmt: skip
    actions.record(counts, actor=small_farm.HAND)
    belief.forget()
    (b,) = breeders()
    assert b.trays_share == pytest.approx(450 / 2100)  # the first held 2100
    assert "less than half: it has had its day" in b.says[0]
    assert b.retire.mid <= foresight().as_of
    (item,) = [i for s in round_sheet().stops for i in s.items if i.deed == "retire"]
    assert "its last trays held 21% of its best one" in item.why


def test_another_bin_has_no_breeders(who: Who) -> None:
    assert breeders(bin="E1-2") == ()
    assert "No breeders are in a breeding bin now." in who("hand").get("/ahead/breeders?bin=E1-2").content.decode()


def test_cold_nights_are_told_with_the_day_on_which_laying_should_come_back(db: None) -> None:
    cold = [
        Reading(at=small_farm.day(26 + n, h), room="east", level=1, temperature_c=17.0 if h in (15, 18, 21) else 26.0)
        for n in range(3) for h in range(0, 24, 3)
    ]  # fmt: skip
    actions.found(msgspec.structs.replace(small_farm.folder(), readings=cold), actor=small_farm.OWNER)
    belief.forget()
    (b,) = breeders()
    assert b.cold is not None
    last = datetime.fromtimestamp(small_farm.day(28), UTC)
    assert f"the last on {last:%-d %b}" in b.cold
    assert "common practice" in b.cold


def test_warm_nights_are_not_mentioned(who: Who) -> None:
    assert breeders()[0].cold is None


@pytest.mark.parametrize("person", ["owner", "hand", "reader"])
def test_a_breeding_bin_shows_its_breeders_and_a_nursery_none(who: Who, person: str) -> None:
    assert "Eggs fall below half of their peak" in who(person).get("/bins/E1-1").content.decode()
    assert "Eggs fall below half of their peak" not in who(person).get("/bins/W1-1").content.decode()


def test_ahead_leads_there(who: Who) -> None:
    assert 'href="/ahead/breeders"' in who("reader").get("/ahead").content.decode()
