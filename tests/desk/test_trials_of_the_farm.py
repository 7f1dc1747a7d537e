"""Trials of a farm's own book: planned, drawn by lot, kept as a note, judged from what the book says since."""

from __future__ import annotations

import math
import re
from datetime import date

import numpy as np
import pytest
from django.utils.translation import override

from chirr.book import actions, ledger
from chirr.desk import trial_plans, trial_stakes, trials
from chirr.desk.spoken import again
from chirr.desk.timing import timing
from chirr.desk.trial_rows import gathered
from chirr.desk.trial_sizes import plan
from chirr.desk.trial_tables import TableFault
from chirr.engine.trials.judge import Margin, Question, judge
from chirr.records import Bin, Entry, FarmCard, FarmFolder, Person, Room, TrayType

DAY = 86400
START = 1_930_000_000
OWNER = Person(person="Inga", role="owner")
BINS = [f"K{i}" for i in range(6)]


def swaps(rng, weeks=8, ratio=1.0):
    """Entries of six bins whose trays are swapped every three days, short and long by turns, all counted and timed."""
    out = [
        Entry(id=f"s{b}", at=START, person="Inga", deed="stock", bin=b, lot=f"L{b}", quantity=2000, unit="crickets",
              stage="adult", age_days=5)
        for b in BINS
    ]  # fmt: skip
    for k, b in enumerate(BINS):
        level = rng.normal(0, 0.2)
        for n in range(weeks * 7 // 3):
            at, name = START + 600 + n * 3 * DAY + k * 60, f"C{b}-{n}"
            tray = "short" if (n + k) % 2 else "long"
            quick = 0.45 if tray == "short" else 1.0
            eggs = math.exp(8 + level + rng.normal(0, 0.2)) * (ratio if tray == "short" else 1.0)
            out += [
                Entry(id=f"l{name}", at=at, person="Inga", deed="lay", bin=b, lot=f"L{b}", clutch=name, tray_type=tray,
                      minutes=round(2.0 * quick * math.exp(rng.normal(0, 0.2)), 2)),
                Entry(id=f"p{name}", at=at + 3 * DAY - 60, person="Bo", deed="pull", clutch=name, to_place="hall/9/1",
                      minutes=round(1.6 * quick * math.exp(rng.normal(0, 0.2)), 2)),
                Entry(id=f"c{name}", at=at + 3 * DAY, person="Bo", deed="count", clutch=name, quantity=round(eggs),
                      unit="eggs", cv=0.1),
            ]  # fmt: skip
    return sorted(out, key=lambda e: (e.at, e.id))


@pytest.fixture
def farm(db):
    """A hall of six breeding bins and two nursery bins with eight weeks of swaps."""
    folder = FarmFolder(
        farm=FarmCard(name="Kelp Yard", timezone="UTC", wage_per_hour=20, currency="DKK"),
        rooms=[Room(room="hall", set_temperature_c=30)],
        bins=[Bin(bin=b, room="hall", stack=1 + i // 3, level=1 + i % 3, duty="breeding", floor_cm2=4000)
              for i, b in enumerate(BINS)]
        + [Bin(bin=f"N{i}", room="hall", stack=3, level=i, duty="nursery", floor_cm2=4000) for i in (1, 2)],
        tray_types=[TrayType(tray_type=t, length_cm=x, width_cm=15, depth_cm=6)
                    for t, x in (("short", 20), ("long", 45))],
        people=[OWNER, Person(person="Bo", role="hand")],
        entries=swaps(np.random.default_rng(1)),
    )  # fmt: skip
    actions.found(folder, actor=OWNER)
    return folder


def test_a_plan_rests_on_the_farms_own_spread(farm):
    ground = trial_plans.ground("eggs")
    assert ground.source == "this farm's own spread, from 108 clutches"
    assert ground.bins == 6
    assert ground.spread.clutch_sd == pytest.approx(0.2, abs=0.05)
    answer = plan(["short", "long"], ground, margin=0.1)
    crossing = next(o for o in answer["options"] if o["kind"] == "crossing")
    assert crossing["enough"]
    assert trial_plans.ground("pinheads").source.startswith("usual spreads")


def test_a_trial_is_a_note_and_travels_with_the_book(farm):
    answer = plan(["short", "long"], trial_plans.ground("eggs"), margin=0.15)
    made = trial_plans.keep("yard", answer, kind="crossing", seed=3, actor=OWNER, start=date(2031, 3, 1))
    assert set(made.bins) == set(BINS)
    assert all(sorted(ways) == ["long", "short"] for ways in made.bins.values())
    notes = list(ledger.entries("deed = 'note'"))
    assert len(notes) == 1
    assert notes[0].note is not None
    assert notes[0].note.startswith('trial {"trial":"yard"')
    assert trial_plans.trial("yard") == made
    with pytest.raises(TableFault, match="already"):
        trial_plans.keep("yard", answer, kind="apart", actor=OWNER)
    with pytest.raises(LookupError, match="there are yard"):
        trial_plans.trial("other")


def test_a_trial_that_was_a_mistake_is_taken_back_like_any_entry(farm):
    answer = plan(["short", "long"], trial_plans.ground("eggs"), margin=0.15)
    trial_plans.keep("yard", answer, kind="apart", seed=3, actor=OWNER)
    note = next(ledger.entries("deed = 'note'"))
    actions.record([Entry(id="w", at=note.at + 1, deed="correct", replaces=note.id, note="not now")], actor=OWNER)
    assert trial_plans.all_trials() == {}


def test_only_those_who_may_write_can_keep_a_trial(farm):
    answer = plan(["short", "long"], trial_plans.ground("eggs"), margin=0.15)
    with pytest.raises(actions.NotAllowed):
        trial_plans.keep("yard", answer, kind="apart", actor=Person(person="Eve", role="reader"))


def test_a_trial_is_judged_from_the_book_with_balance_and_strays(farm):
    answer = plan(["short", "long"], trial_plans.ground("eggs"), margin=0.15)
    trial_plans.keep("yard", answer, kind="apart", seed=1, actor=OWNER, start=date(2031, 2, 26))
    found = trials.judged_trial("yard")
    assert found["drawn_by_lot"] is True
    assert sum(b["n"] for b in found["balance"]) > 20
    assert found["ratio"] == pytest.approx(1.0, abs=0.12)
    assert found["pairs"][0]["always_interval"][0] < found["ratio"] < found["pairs"][0]["always_interval"][1]
    assert found["strays"], "the trays went by turns, not as drawn"
    assert "instead of" in found["strays"][0]


def words_of(values, question, block=None, ways=2):
    """Every text of a judgement."""
    each = len(values) // ways
    j = judge(np.asarray(values, float), np.repeat(list("abc"[:ways]), each).tolist(), block, question)
    return [j.verdict.says, *j.remarks, *(text for r, v in j.pairs for text in (v.says, *r.remarks))]


def test_every_verdict_and_every_doubt_is_told_in_the_language_of_the_reader():
    rng = np.random.default_rng(3)
    close, far = Question(margin=Margin(amount=0.1, share=True)), Question(margin=Margin(amount=0.0, share=True))
    alike = np.exp(8 + rng.normal(0, 0.1, 60))
    apart = np.concatenate([np.exp(8 + rng.normal(0, 0.1, 30)), np.exp(8.5 + rng.normal(0, 0.1, 30))])
    odd = np.concatenate([alike[:59], [1.0]])
    texts = [
        *words_of(alike, close), *words_of(apart, close), *words_of(apart[::-1], close), *words_of(odd, close),
        *words_of(apart, far), *words_of([5.0, 6.0, 5.5, 6.5], close), *words_of([1.0, 2.0], close),
        *words_of([0.0] * 6 + [3.0, 2.0, 4.0, 1.0, 2.0, 3.0], close), *words_of([0.0] * 8, close),
        *words_of(np.exp(8 + rng.normal(0, 0.1, 90)), close, ways=3),
        *words_of([5.0, 6.0, 7.0, 8.0], close, block=["x", "x", "y", "z"]),
        *words_of([5.0, 6.0, 7.0, 8.0], close, block=["x", "x", "y", "y"]),
    ]  # fmt: skip
    assert len({text.pattern for text in texts}) >= 9
    with override("es"):
        for text in texts:
            told = again(text)
            assert not re.search(r"\b(the|known|interval|margin|value|values|gives|than|way|ways|of|so)\b", told), told
    with override("es"):
        better = next(again(t) for t in texts if t.startswith("worse"))
    assert re.search(r"peor: a da el \d+,\d % de b \(intervalo del 90 %: de \d+,\d % a", better)


def test_records_that_nobody_drew_come_under_a_clear_heading(farm):
    found = trials.records("tray_type", "eggs", margin=0.1, alpha=0.05)
    assert "cannot prove cause" in found["heading"]
    assert found["verdict_kind"] in ("as good", "not known")
    minutes = trials.records("tray_type", "minutes", margin=0.1, alpha=0.05, ways=["short", "long"])
    assert minutes["verdict"].startswith("better: short gives 4")
    assert minutes["ways"][0]["n"] == 54


def test_ways_can_be_told_by_a_note_on_a_clutch(farm):
    for n in range(6):
        for b in BINS[:4]:
            trial_plans.mark("netted" if n % 2 else "open", clutch=f"C{b}-{n}", lot=None, actor=OWNER)
    found = trials.records("mark", "eggs", margin=0.2, alpha=0.05)
    assert {w["way"]: w["n"] for w in found["ways"]} == {"open": 12, "netted": 12}
    with pytest.raises(TableFault, match="no clutch nowhere"):
        trial_plans.mark("netted", clutch="nowhere", lot=None, actor=OWNER)


def test_a_decision_uses_the_farms_wage_trays_and_limits(farm):
    answer = plan(["short", "long"], trial_plans.ground("eggs"), margin=0.15)
    trial_plans.keep("yard", answer, kind="apart", seed=1, actor=OWNER)
    found = trial_stakes.decided_from_book("yard", worth_per_1000_eggs=0.0)
    assert found["limit"] == "eggs"
    assert found["trays_per_week"] == pytest.approx(6 * 7 / 3)
    saved = 14 * 3.6 * 0.55 / 60
    assert found["hours_saved_per_week"][3] == pytest.approx(saved, rel=0.1)
    assert found["gain_per_week"][3] == pytest.approx(saved * 20, rel=0.1)
    assert found["chance_it_pays"] > 0.99


def test_time_is_learnt_by_deed_tray_type_and_person(farm):
    found = timing()
    lay = {x["tray_type"]: x for x in found["trays"] if x["deed"] == "lay"}
    assert lay["long"]["middle"] == pytest.approx(2.0, rel=0.1)
    assert lay["short"]["middle"] == pytest.approx(0.9, rel=0.15)
    assert [p["person"] for p in found["people"]] == ["Bo", "Inga"]
    assert found["week"][-1]["hours"] == pytest.approx(sum(x["hours"] for x in found["week"][:-1]))
    other = timing(instead={"long": "short"})["week"][-1]
    assert other["hours_instead"] < 0.9 * other["hours"]
    with pytest.raises(TableFault, match="No timed swap of tub"):
        timing(instead={"long": "tub"})


def test_a_corrected_timing_does_not_count(farm):
    first = timing()["deeds"]
    ids = [e.id for e in ledger.entries("deed = 'lay'")][:50]
    late = max(e.at for e in ledger.entries()) + 1
    actions.record(
        [Entry(id=f"x{i}", at=late, deed="note", note="the clock was left on", replaces=i) for i in ids],
        actor=OWNER,
        strict=False,
    )
    timed = {x["deed"]: x["timed"] for x in timing()["deeds"]}
    assert timed["lay"] == {x["deed"]: x["timed"] for x in first}["lay"] - 50
    assert len(gathered(ledger.live(), "tray_type", "minutes").value) < 108
