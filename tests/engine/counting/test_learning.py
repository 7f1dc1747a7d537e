"""A farm's corrections move the line between counted and doubted marks, gently, and make later counts better."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chirr.engine.counting.learn import LEAST_CUT, MOST_CUT, Corrected, Line, learn_line, redrawn
from chirr.engine.counting.photo import count_photo
from pictures.eggs import Scene, draw


def photograph(removed_above: float, seed: int, marks: int = 60) -> Corrected:
    """Mostly sure marks and some faint ones; the person took away all with more doubt than `removed_above`."""
    rng = np.random.default_rng(seed)
    doubt = np.concatenate([rng.uniform(0, 0.15, marks), rng.uniform(0.15, 0.9, marks // 3)])
    return Corrected(doubt=doubt, right=doubt < removed_above)


def test_without_corrections_the_packaged_line_stands() -> None:
    assert learn_line([]) == Line()
    assert redrawn(np.array([0.1, 0.4, 0.6]), (2, 1, 4), Line()) == (2, 1, 4)


def test_always_removing_faint_marks_moves_the_line_down_and_more_so_the_more_often() -> None:
    cuts = [learn_line([photograph(0.25, seed) for seed in range(n)]).cut for n in (1, 4, 20)]
    assert 0.5 > cuts[0] > cuts[1] > cuts[2]
    assert cuts[2] == pytest.approx(0.25, abs=0.06)


def test_always_confirming_doubted_marks_moves_the_line_up() -> None:
    assert learn_line([photograph(0.75, seed) for seed in range(20)]).cut == pytest.approx(0.75, abs=0.07)


def test_one_slip_of_the_finger_hardly_moves_it() -> None:
    right = photograph(0.5, 1)
    slipped = Corrected(doubt=right.doubt, right=right.right ^ (np.arange(len(right.doubt)) == 3))
    assert learn_line([slipped]).cut == pytest.approx(0.5, abs=0.06)


def test_things_that_are_always_added_raise_the_interval_and_scattered_ones_widen_it() -> None:
    steady = [Corrected(doubt=np.full(50, 0.05), right=np.ones(50, bool), added=10) for _ in range(15)]
    uneven = [Corrected(doubt=np.full(50, 0.05), right=np.ones(50, bool), added=40 * (i % 2)) for i in range(16)]
    line = learn_line(steady)
    count, _, high = redrawn(np.full(50, 0.05), (50, 45, 55), line)
    assert count == 50
    assert high >= 60
    assert learn_line(uneven).stretch > 1.5 > learn_line(steady).stretch


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.lists(st.tuples(st.floats(0, 0.9), st.booleans()), max_size=30), st.integers(0, 9)), max_size=6
    ),
    st.lists(st.floats(0, 0.9), max_size=40),
)  # fmt: skip
def test_whatever_was_corrected_the_line_stays_within_reason_and_the_interval_holds_the_count(photos, fresh) -> None:
    line = learn_line([
        Corrected(doubt=np.array([d for d, _ in marks]), right=np.array([r for _, r in marks], bool), added=added)
        for marks, added in photos
    ])  # fmt: skip
    assert LEAST_CUT <= line.cut <= MOST_CUT
    doubt = np.array(fresh)
    before = int((doubt < 0.5).sum())
    count, low, high = redrawn(doubt, (before, max(0, before - 3), before + 4), line)
    assert 0 <= low <= count <= high


def corrected_by_the_truth(seed: int) -> tuple[Corrected, int, tuple[int, int, int]]:
    """A wall where fibres and perlite abound, counted, then set right by what was really drawn."""
    wall = draw(
        Scene(eggs=25, height_px=420, width_px=560, fibres=14, perlite=6, drops=10, scratches=4, faintest=0.8), seed
    )
    found = count_photo(wall.picture)
    seen = wall.seen >= 0.25
    apart = np.hypot(
        found.marks.x_px[:, None] - wall.x[seen][None, :], found.marks.y_px[:, None] - wall.y[seen][None, :]
    )
    right = np.zeros(len(found.marks), bool)
    for egg in range(apart.shape[1]):
        near = int(np.where(right, np.inf, apart[:, egg]).argmin())
        right[near] |= apart[near, egg] < 9
    added = wall.count - int(right.sum())
    return Corrected(doubt=found.marks.doubt, right=right, added=added), wall.count, (
        found.count, found.low, found.high,
    )  # fmt: skip


def test_what_is_learnt_on_some_cluttered_walls_makes_the_counts_of_others_better() -> None:
    line = learn_line([corrected_by_the_truth(seed)[0] for seed in range(100, 110)])
    before, after = [], []
    for seed in range(300, 310):
        marks, true, packaged = corrected_by_the_truth(seed)
        count = redrawn(marks.doubt, packaged, line)[0]
        before.append(abs(packaged[0] / true - 1))
        after.append(abs(count / true - 1))
    assert line.cut < 0.5
    assert np.mean(after) < np.mean(before)
