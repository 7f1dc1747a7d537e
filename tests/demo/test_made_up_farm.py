"""The made-up farm is a farm: its book fits together, and this morning there is something of everything to do."""

from __future__ import annotations

import re
from collections import Counter
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from chirr.book.replay import first_standing, replay
from chirr.book.standing import Standing
from chirr.deeds import DEEDS, missing_columns
from chirr.demo import make_farm, make_farm_with_truth
from chirr.files.folder import read_folder, write_folder
from chirr.records import FarmFolder

TODAY = date(2031, 5, 14)
SHORT = 4.0
DAY_S = 86400

UUID7 = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")


@cache
def farm(today: date = TODAY) -> tuple[FarmFolder, dict[str, Any], Standing]:
    folder, truth = make_farm_with_truth(today)
    return folder, truth, replay(first_standing(folder.bins), folder.entries)


def now(folder: FarmFolder) -> int:
    return max(e.at for e in folder.entries)


@pytest.mark.parametrize("days", range(7))
def test_the_book_replays_without_a_misfit_whatever_weekday_it_is(days: int) -> None:
    folder = make_farm(TODAY + timedelta(days=days), seed=days, months=SHORT)
    standing = replay(first_standing(folder.bins), folder.entries)
    assert standing.misfits == {}
    assert standing.doubts == {}


def test_fourteen_months_replay_without_a_misfit() -> None:
    folder, _, standing = farm()
    assert standing.misfits == {}
    assert 10_000 < len(folder.entries) < 20_000
    assert (now(folder) - folder.entries[0].at) / DAY_S == pytest.approx(14 * 30.4, abs=2)


def test_the_book_can_be_cut_at_any_moment() -> None:
    whole = make_farm(TODAY, months=SHORT)
    for part in (0.3, 0.81):
        cut = whole.entries[int(len(whole.entries) * part)].at
        early = make_farm(TODAY, months=SHORT, now=cut)
        assert max(e.at for e in early.entries) <= cut
        assert max(r.at for r in early.readings) <= cut
        assert replay(first_standing(early.bins), early.entries).misfits == {}


def test_two_lots_never_live_in_one_bin() -> None:
    _, _, standing = farm()
    assert all(len(b.lots) <= 1 for b in standing.bins.values())


def test_the_same_arguments_give_the_same_farm() -> None:
    first, again = (make_farm(TODAY, months=4) for _ in range(2))
    assert first == again
    assert make_farm(TODAY, seed=8, months=4).entries != first.entries


def test_ids_are_uuids_of_version_seven_and_never_repeat() -> None:
    folder, _, _ = farm()
    assert all(UUID7.fullmatch(e.id) for e in folder.entries)
    assert len({e.id for e in folder.entries}) == len(folder.entries)


def test_every_entry_has_what_its_deed_needs() -> None:
    folder, _, _ = farm()
    people = {p.person for p in folder.people if p.role != "reader"}
    for e in folder.entries:
        deed = DEEDS[e.deed]
        filled = {c for c in e.__struct_fields__ if getattr(e, c) not in (None, ())}
        assert missing_columns(deed, filled) == (), e
        assert e.unit is None or not deed.units or e.unit in deed.units, e
        assert e.person in people


def test_this_morning_there_are_trays_in_every_state() -> None:
    folder, truth, standing = farm()
    trays = standing.open_clutches()
    assert any(c.pulled_at is None for c in trays), "laying"
    assert any(c.pulled_at and c.here.bin is None for c in trays), "waiting on the rack"
    unhatched = [c for c in trays if c.here.bin and c.pulled_at and not c.hatched_at]
    assert any((now(folder) - c.laid_at) / DAY_S < 14 for c in unhatched), "window open"
    assert any(c.hatched_at for c in trays), "hatching"
    overdue = [c for c in unhatched if (now(folder) - c.laid_at) / DAY_S > 16]
    assert [truth["clutches"][c.name]["pinheads"] for c in overdue] == [0], "one overdue, and nothing will come of it"


def test_lots_of_every_age_live_now_and_breeders_lay() -> None:
    _, truth, standing = farm()
    duties = Counter(standing.bins[lot.bin].duty for lot in standing.live_lots() if lot.bin)
    assert duties["breeding"] >= 5
    assert duties["nursery"] >= 10
    assert duties["grow-out"] >= 20
    masses = [truth["lots"][lot.name]["mean_mg"][-1] for lot in standing.live_lots() if truth["lots"][lot.name]["days"]]
    for low, high in ((0, 6), (6, 45), (45, 130), (130, 260), (260, 500)):
        assert any(low <= m < high for m in masses), (low, high)
    heavy = [x for x in standing.live_lots() if x.bin and standing.bins[x.bin].duty == "grow-out"]
    assert sum(truth["lots"][x.name]["mean_mg"][-1] > 300 for x in heavy) >= 2, "ready to harvest"
    assert any(b.vacated_at and (b.cleaned_at or 0) < b.vacated_at for b in standing.bins.values()), "a bin to clean"


def test_one_bin_has_odd_deaths() -> None:
    folder, _, standing = farm()
    week = now(folder) - 7 * DAY_S
    dead: Counter[str] = Counter()
    for e in folder.entries:
        if e.deed == "deaths" and e.at > week and e.lot in standing.lots and standing.lots[e.lot].origin != "stock":
            dead[e.lot or ""] += int(e.quantity or 0)
    worst, second = dead.most_common(2)
    assert worst[1] > 2 * second[1]
    assert standing.lots[worst[0]].alive


def test_the_heater_failed_once_and_the_room_grew_cold_for_a_day_and_a_half() -> None:
    folder, _, _ = farm()
    cold = [r for r in folder.readings if r.temperature_c < 20 and r.level == 1]
    assert {r.room for r in cold} == {"vat room"}
    assert 24 <= len(cold) <= 48
    assert 14.5 < min(r.temperature_c for r in cold) < 18


def test_after_the_cold_night_trays_hatch_later_and_fewer_eggs_are_laid() -> None:
    folder, truth, standing = farm()
    cold_at = next(r.at for r in folder.readings if r.temperature_c < 18)
    eggs = {
        c.name: truth["clutches"][c.name]["eggs"] for c in standing.clutches.values() if c.name in truth["clutches"]
    }

    def laid(low: float, high: float) -> list[Any]:
        return [
            c for c in standing.clutches.values() if low <= (c.laid_at - cold_at) / DAY_S <= high and c.name in eggs
        ]

    def mean_eggs(clutches: list[Any]) -> float:
        return sum(eggs[c.name] for c in clutches) / len(clutches)

    def mean_days(clutches: list[Any]) -> float:
        seen = [(c.hatched_at - c.laid_at) / DAY_S for c in clutches if c.hatched_at]
        return sum(seen) / len(seen)

    assert mean_eggs(laid(0, 4)) < 0.3 * mean_eggs(laid(-20, -4))
    assert mean_days(laid(-8, -4)) > mean_days(laid(-40, -16)) + 0.8


def test_one_batch_of_substrate_was_mouldy_and_hatched_badly() -> None:
    _, truth, standing = farm()
    shares: dict[str, list[float]] = {}
    for c in standing.clutches.values():
        known = truth["clutches"].get(c.name)
        if known and known["eggs"] > 100:
            shares.setdefault(c.substrate or "", []).append(known["pinheads"] / known["eggs"])
    means = sorted(sum(v) / len(v) for v in shares.values() if len(v) >= 10)
    assert means[0] < 0.2
    assert means[1] > 0.45


def test_slips_are_put_right_and_late_entries_come_in_late() -> None:
    folder, _, _ = farm()
    assert sum(e.deed == "correct" for e in folder.entries) >= 2
    assert sum(e.replaces is not None and e.deed != "correct" for e in folder.entries) >= 4
    late = [e for e in folder.entries if int(e.id.replace("-", "")[:12], 16) / 1000 - e.at > 3600]
    assert len(late) > 20


def test_substrate_is_never_used_more_often_than_the_farm_allows() -> None:
    folder, _, _ = farm()
    assert {e.cycle for e in folder.entries if e.deed == "lay"} == set(range(1, folder.farm.substrate_cycles + 1))


def test_the_scales_agree_with_the_truth() -> None:
    folder, truth, _ = farm()
    wrong = {e.replaces for e in folder.entries if e.replaces}
    ratios = []
    for e in folder.entries:
        known = truth["lots"].get(e.lot or "")
        if e.deed == "weigh" and e.id not in wrong and known:
            day = datetime.fromtimestamp(e.at, ZoneInfo(folder.farm.timezone)).date().isoformat()
            if day in known["days"]:
                ratios.append((e.quantity or 0) / (e.sample or 1) * 1000 / known["mean_mg"][known["days"].index(day)])
    ratios.sort()
    assert len(ratios) > 500
    assert ratios[len(ratios) // 2] == pytest.approx(1.0, abs=0.05)


def test_kilograms_harvested_match_the_animals_that_were_there_that_morning() -> None:
    folder, truth, _ = farm()
    sold = {(e.lot, e.at // DAY_S) for e in folder.entries if e.deed in ("take", "split")}
    harvests = [e for e in folder.entries if e.deed == "harvest" and (e.lot, e.at // DAY_S) not in sold]
    assert len(harvests) > 100
    for e in harvests:
        assert e.quantity == pytest.approx(truth["lots"][e.lot or ""]["kg"][-1], rel=0.06, abs=0.01)


def test_a_larger_farm_has_more_bins_and_a_fuller_diary() -> None:
    small = make_farm(TODAY, months=SHORT)
    large = make_farm(TODAY, months=SHORT, bins_factor=2.0, diary_share=1.0)
    assert len(large.bins) == 2 * len(small.bins)
    assert len(large.entries) > 2 * len(small.entries)
    assert replay(first_standing(large.bins), large.entries).misfits == {}


def test_a_farm_of_no_time_is_refused() -> None:
    with pytest.raises(ValueError, match="at least three months"):
        make_farm(TODAY, months=1)


def test_the_farm_goes_through_the_farm_folder_and_back(tmp_path: Path) -> None:
    folder = make_farm(TODAY, months=SHORT)
    write_folder(folder, tmp_path / "farm")
    reading = read_folder(tmp_path / "farm")
    assert reading.faults == []
    assert reading.folder == folder
