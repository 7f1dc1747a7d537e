"""Grading the forecasts: what is asked, what it may know, who it is measured against, and what is said of it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import msgspec
import numpy as np
import pytest

from builders import small_farm
from chirr.book import actions, ledger
from chirr.demo import make_farm
from chirr.desk import grade as desk
from chirr.desk import grade_report as report
from chirr.desk import kept_grade
from chirr.desk.belief import foresee
from chirr.desk.grade_cases import KINDS, first_count, hatch_between, questions
from chirr.desk.grade_rivals import CalendarRule, Keeper, Ledger, forget_facts
from chirr.desk.grade_view import grade_view, off, sentence
from chirr.desk.remarks import remarks
from chirr.desk.shapes import QUANTILES
from chirr.engine.biology.species import species
from chirr.engine.colony.calendar import Average, Textbook, per_tray
from chirr.engine.colony.history import Kind
from chirr.records import Entry, FarmFolder, Person

OWNER = Person(person="Marit", role="owner")
DAY = 86400


@pytest.fixture(scope="module")
def made_up() -> FarmFolder:
    """Five months of the made-up farm, a quarter of its stacks."""
    return make_farm(date(2026, 9, 30), seed=5, bins_factor=0.4, months=5, diary_share=0.0)


@pytest.fixture
def farm(db: None, made_up: FarmFolder) -> Iterator[FarmFolder]:
    """It, in the book."""
    ledger.forget()
    actions.found(made_up, actor=OWNER)
    yield made_up
    ledger.forget()


@pytest.fixture
def beside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A file for the report, since the book of a test is only in memory."""
    path = tmp_path / "farm.chirr.grade.json"
    monkeypatch.setattr(kept_grade, "kept_path", lambda: path)
    return path


def test_the_grade_runs_from_end_to_end_and_what_was_learnt_beats_the_calendar(farm: FarmFolder, beside: Path) -> None:
    done: list[int] = []
    got = desk.grade(dates=3, draws=150, told=lambda _what, n, _of: done.append(n))
    assert done == [0, 1, 2, 3]
    whole = {k.kind: k for k in got.kinds if (k.from_days, k.to_days) == (0, 35)}
    assert set(whole) == set(KINDS)
    for k in whole.values():
        assert k.ratio["calendar"] < 1, k
        assert [h.band for h in k.held] == [50, 80, 90]
        assert k.held[0].inside <= k.held[1].inside <= k.held[2].inside <= k.n
    assert not kept_grade.is_whole(got)
    assert kept_grade.kept() is None, "three days are fewer than usual, so it is told and not kept"


def test_a_grade_of_the_usual_days_is_kept_and_a_shorter_one_leaves_it_and_its_warning_alone(
    farm: FarmFolder, beside: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    usual = kept_grade.asked_days
    for module in (desk, kept_grade):
        monkeypatch.setattr(module, "asked_days", lambda **asked: usual(**{"dates": 3} | asked))  # a book so short
    got = desk.grade(dates=3, draws=50, rivals=False)
    assert kept_grade.kept() == got, "what is kept is what was found"
    view = grade_view()
    assert view is not None
    assert len(view.says) == 4
    assert view.dates == 3
    bad = report.Drift(kind="pinheads", inside=3, of=20, chance=1e-6, too_high=17)
    kept_grade.keep(msgspec.structs.replace(got, drift=(bad,)))
    desk.grade(dates=1, draws=50, rivals=False)
    assert "only 3 lay" in (kept_grade.drift_remark() or "")
    desk.grade(dates=3, draws=50, rivals=False)
    assert kept_grade.kept() == msgspec.structs.replace(got, made_at=kept_grade.kept().made_at)  # type: ignore[union-attr]


def test_nothing_written_after_a_day_changes_what_is_said_on_it(farm: FarmFolder) -> None:
    at = kept_grade.asked_days(dates=3)[1]
    before = _all_said(at)
    rng = np.random.default_rng(3)
    for e in [x for x in farm.entries if x.at > at and x.replaces is None and x.quantity and x.deed != "split"]:
        if rng.random() < 0.3:
            new = msgspec.structs.replace(
                e, id=small_farm.entry_id(int(rng.integers(10**11))), at=e.at + 1, replaces=e.id,
                quantity=max(round(e.quantity * float(rng.uniform(0.2, 5)), 2), 0.01), note="not so",
            )  # fmt: skip
            actions.record([new], actor=OWNER, strict=False)
    late = Entry(id=small_farm.entry_id(7), at=farm.entries[-1].at + 1, deed="note", note="a late word", person="Marit")
    actions.record([late], actor=OWNER)
    after = _all_said(at)
    assert before.keys() == after.keys()
    for key, said in before.items():
        np.testing.assert_array_equal(said, after[key], err_msg=str(key))


def _all_said(at: int) -> dict[tuple[str, str], np.ndarray]:
    """What Chirr and both keepers say, as of a day, of everything that lives or waits."""
    f = foresee(at, days=21, draws=100)
    looks, keepers = desk.answerers(f, draws=0)
    out = {}
    for name, c in looks["chirr"].clutches.items():
        out[name, "chirr"] = np.concatenate([c.first_pinheads_h, c.pinheads])
        for who, keeper in keepers.items():
            clutch = f.standing.clutches[name]
            out[name, who] = np.concatenate([keeper.first_pinheads(clutch), keeper.pinheads([clutch])])
    for name, a in looks["chirr"].lots.items():
        out[name, "chirr"] = np.concatenate([a.kg.ravel(), a.mean_mg.ravel(), a.alive.ravel()])
        for who, keeper in keepers.items():
            lot, then = f.standing.lots[name], at + 14 * DAY
            out[name, who] = np.concatenate([keeper.mean_mg(lot, then), keeper.kg(lot, then)])
    return out


def test_questions_are_of_days_to_come_and_of_what_was_there_and_unchanged(farm: FarmFolder) -> None:
    at = kept_grade.asked_days(dates=3)[1]
    then, later = ledger.standing_at(at), ledger.live()
    asked = list(questions(then, later, at))
    assert {q.kind for q in asked} == set(KINDS)
    for q in asked:
        assert at < q.answered_at <= at + 36 * DAY
        if q.kind == "first pinheads":
            assert then.clutches[q.thing].hatched_at is None
        if q.kind == "harvest":
            between = [f.kind for f in later.lots[q.thing].facts if at < f.at <= q.answered_at]
            assert not {"out", "in", "mix", "take"} & set(between)


def test_the_first_days_only_teach_and_the_days_asked_are_spread_evenly(farm: FarmFolder) -> None:
    days = kept_grade.asked_days(dates=6)
    assert days[0] >= farm.entries[0].at + 55 * DAY
    assert max(days) < farm.entries[-1].at
    gaps = np.diff(days) / DAY
    assert gaps.min() >= 7 - 0.1
    assert np.ptp(gaps) < 2


def test_a_short_book_is_refused_in_a_sentence(db: None) -> None:
    small_farm.found()
    with pytest.raises(kept_grade.TooShort, match=r"28 days long; grading needs at least 10 weeks"):
        desk.grade()


def test_a_book_without_a_farm_is_refused(db: None) -> None:
    ledger.forget()
    with pytest.raises(LookupError, match="no farm yet"):
        desk.grade()


def test_an_answer_is_scored_with_its_own_error_added_to_the_band(farm: FarmFolder) -> None:
    f = foresee(kept_grade.asked_days(dates=3)[1], days=36, draws=200)
    look = desk.answerers(f, draws=0)[0]["chirr"]
    q = next(q for q in questions(f.standing, ledger.live(), f.as_of) if q.kind == "pinheads" and q.thing in look.lots)
    sharp, blurred = (look.answer(dataclasses.replace(q, error=e)) for e in (0.0, 0.5))
    assert sharp is not None
    assert blurred is not None
    assert blurred[3] == pytest.approx(sharp[3])
    assert np.log(blurred[5] / blurred[3]) == pytest.approx(
        np.hypot(np.log(sharp[5] / sharp[3]), 1.2816 * 0.5), rel=1e-3
    )


# --- the rivals --------------------------------------------------------------------------------------------------


def test_the_calendar_says_one_number_and_the_keeper_a_band_of_her_own_records(farm: FarmFolder) -> None:
    at = kept_grade.asked_days(dates=3)[2]
    f = foresee(at, days=2, draws=50)
    _, keepers = desk.answerers(f, draws=0)
    calendar, keeper = keepers["calendar"], keepers["keeper"]
    assert isinstance(calendar, CalendarRule)
    assert isinstance(keeper, Keeper)
    young = max((c for c in f.standing.clutches.values() if c.emptied_at is None), key=lambda c: c.laid_at)
    assert np.ptp(calendar.first_pinheads(young)) == 0
    done = [c for c in f.standing.clutches.values() if c.hatched_at is not None]
    days = [(sum(hatch_between(c)) / 2 - c.laid_at) / DAY for c in done]
    due = keeper.first_pinheads(young) + (at - young.laid_at) / DAY
    assert due[3] == pytest.approx(np.mean(days), abs=1e-6)
    assert due[5] - due[3] == pytest.approx(1.29 * np.std(days, ddof=1), rel=0.1)


def test_the_keeper_falls_back_on_the_calendar_until_she_has_three_values() -> None:
    few, some = Average.of([1.0, 2.0], mean=9.0, sd=2.0), Average.of([1.0, 2.0, 3.0], mean=9.0, sd=2.0)
    assert few.quantiles(QUANTILES)[3] == 9.0
    assert some.quantiles(QUANTILES)[3] == pytest.approx(2.0)
    assert some.quantiles(QUANTILES)[6] == pytest.approx(
        2.0 + 2.92 * np.sqrt(4 / 3), abs=0.01
    )  # t, 2 df, one-sided 5 %


def test_pinheads_of_each_tray_type_are_told_apart_though_lots_mix_them() -> None:
    trays = np.array([[4, 0], [0, 4], [2, 2], [3, 1], [1, 2]], dtype=float)
    got = per_tray(trays @ [500.0, 900.0], trays)
    assert got == pytest.approx([500.0, 900.0])
    assert per_tray([100.0], [[1.0, 0.0]]) is None
    assert per_tray([], []) is None


def test_the_textbook_lets_nobody_grow_backwards_or_rise_from_the_dead() -> None:
    book = Textbook.of(species("acheta-domesticus"))
    ages = np.arange(0, 80)
    assert (np.diff(book.mass_mg(ages)) >= 0).all()
    left = [book.surviving(0, float(a)) for a in ages]
    assert left[0] == 1
    assert (np.diff(left) <= 0).all()
    assert left[14] == pytest.approx(0.75)


def test_a_number_last_written_down_carries_what_was_since_taken_and_split(farm: FarmFolder) -> None:
    s = ledger.live()
    own = Ledger(standing=s, at=s.at, book=Textbook.of(species("acheta-domesticus")), trays=[])
    split = next(lot for lot in s.lots.values() if lot.origin == "split" and len(lot.facts) > 1)
    came = next(f for f in split.facts if f.kind == "in")
    assert own.written(split, came.at)[0] == came.quantity
    parent = s.lots[split.parents[0]]
    counted = first_count(parent, s)
    if counted is not None:
        outs = sum(f.quantity or 0 for f in parent.facts if f.kind == "out" and f.at <= came.at)
        assert own.written(parent, came.at)[0] == pytest.approx(max((counted.quantity or 0) - outs, 1.0))
    assert own.born(split) == own.born(parent), "a part is as old as the whole"


def test_published_values_alone_know_what_was_done_and_nothing_that_was_measured(farm: FarmFolder) -> None:
    history = foresee(kept_grade.asked_days(dates=3)[2], days=2, draws=50).gathered.history
    bare = forget_facts(history)
    kinds = {h.kind for lot in bare.lots for h in lot.happenings}
    assert Kind.COUNT not in kinds
    assert Kind.WEIGH not in kinds
    assert {Kind.OUT, Kind.IN} <= kinds
    assert all(h.quantity == 0 for lot in bare.lots for h in lot.happenings if h.kind == Kind.HARVEST)
    assert all(c.first_between is None and not c.egg_counts for c in bare.clutches)
    assert len(bare.clutches) == len(history.clutches)


# --- what is said ------------------------------------------------------------------------------------------------


def _case(kind: str, thing: str, truth: float, middle: float, width: float, *, day: int = 14) -> report.Case:
    z = np.array([-1.645, -1.282, -0.674, 0, 0.674, 1.282, 1.645])
    said = tuple(float(v) for v in middle + width * z)
    return report.Case(
        kind=kind,
        thing=thing,
        asked_at=0,
        answered_at=day * DAY,
        truth=truth,
        said={"chirr": said, "keeper": (middle,) * 7},
    )


def test_honest_bands_are_graded_as_such() -> None:
    rng = np.random.default_rng(8)
    cases = [_case("mean mass", f"L{i}", float(rng.normal(200, 10)), 200, 10) for i in range(2000)]
    got = report.grade_one("mean mass", 0, 35, cases)
    for h, promised in zip(got.held, (0.5, 0.8, 0.9), strict=True):
        assert h.share == pytest.approx(promised, abs=0.035)
        assert h.low < promised < h.high
    assert abs(got.bias) < 0.01


def test_many_forecasts_of_one_lot_count_once_in_how_sure_the_coverage_is() -> None:
    many = [_case("harvest", f"L{i % 5}", 1.0, 1.0, 0.1) for i in range(100)]
    apart = [_case("harvest", f"L{i}", 1.0, 1.0, 0.1) for i in range(100)]
    one, other = (report.grade_one("harvest", 0, 35, c).held[1] for c in (many, apart))
    assert one.share == other.share == 1.0
    assert one.low < 0.5
    assert other.low > 0.95


def test_bands_that_fail_of_late_are_told_with_the_side_they_fail_on() -> None:
    cases = [_case("harvest", f"L{i}", 1.0, 1.6, 0.1) for i in range(20)]
    drift = report.find_drift(cases, now=14 * DAY)
    said = report.drift_sentence(drift)
    assert said is not None
    assert "of the last 20 answers only 0 lay" in said
    assert "mostly too high" in said


def test_bands_that_hold_or_few_answers_or_old_ones_give_no_warning() -> None:
    good = [_case("harvest", f"L{i}", 1.0, 1.0 + 0.1 * (i % 5 == 0) * 3, 0.1) for i in range(20)]
    few = [_case("harvest", f"L{i}", 1.0, 2.0, 0.1) for i in range(5)]
    assert report.drift_sentence(report.find_drift(good, now=14 * DAY)) is None
    assert report.drift_sentence(report.find_drift(few, now=14 * DAY)) is None
    old = [_case("harvest", f"L{i}", 1.0, 2.0, 0.1) for i in range(20)]
    assert report.drift_sentence(report.find_drift(old, now=(14 + report.RECENT_DAYS + 1) * DAY)) is None


def test_a_clutch_asked_about_on_many_days_counts_once_in_drift_by_the_forecast_a_fortnight_ahead() -> None:
    cases = [_case("harvest", "L1", 1.0, 1.0 if day == 13 else 9.0, 0.1, day=day) for day in (3, 13, 30)]
    (drift,) = report.find_drift(cases, now=14 * DAY)
    assert (drift.of, drift.inside) == (1, 1)


def test_the_sentence_of_a_kind_says_how_often_and_which_way() -> None:
    late = report.grade_one(
        "first pinheads", 0, 35, [_case("first pinheads", f"K{i}", 5.0, 5.5, 1.0) for i in range(10)]
    )
    assert sentence(late).startswith(
        "First pinheads: of 100 times that the band said 8 in 10, the truth was inside 100"
    )
    assert off(late) == "the middle is 12 hours too late"
    high = report.grade_one("harvest", 0, 35, [_case("harvest", f"L{i}", 1.0, 1.2, 0.5) for i in range(10)])
    assert off(high) == "the middle is 20 % too high"


def test_a_report_of_another_book_or_a_broken_file_is_as_none(farm: FarmFolder, beside: Path) -> None:
    assert kept_grade.kept() is None
    assert "never been held against what came" in (kept_grade.drift_remark() or "")
    assert grade_view() is None
    other = report.Grade(made_at=1, farm="Elsewhere", first_entry="another", asked=(1,), draws=1, kinds=(), drift=())
    beside.write_bytes(msgspec.json.encode(other))
    assert kept_grade.kept() is None
    beside.write_text("{")
    assert kept_grade.kept() is None


def test_drift_is_read_from_the_kept_report(farm: FarmFolder, beside: Path) -> None:
    bad = report.Drift(kind="pinheads", inside=3, of=20, chance=1e-6, too_high=17)
    own = report.Grade(
        made_at=1, farm="x", first_entry=kept_grade.first_entry_id(), asked=(1,), draws=1, kinds=(), drift=(bad,)
    )
    beside.write_bytes(msgspec.json.encode(own))
    assert "only 3 lay" in (kept_grade.drift_remark() or "")
    assert "only 3 lay" in remarks(foresee(days=7, draws=50))[0]
    back = remarks(foresee(farm.entries[-1].at - 30 * DAY, days=7, draws=50))
    assert not any("only 3 lay" in said for said in back), "it speaks of the forecasts of today"
