"""The photograph finder on drawn walls with exact truth, on plain shapes, and where there is nothing to count."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from chirr.engine.counting.marks import KINDS, Marks
from chirr.engine.counting.photo import count_photo, interval
from pictures.eggs import Drawn, Scene, draw

SMALL = {"height_px": 420, "width_px": 560}


def recall_and_precision(wall: Drawn, marks: Marks, reach_px: float = 8) -> tuple[float, float]:
    """Share of the visible eggs that have a mark near, and of the counted marks that have an egg near."""
    seen = wall.seen >= 0.25
    apart = np.hypot(marks.x_px[marks.sure][:, None] - wall.x[seen], marks.y_px[marks.sure][:, None] - wall.y[seen])
    return float((apart.min(axis=0) < reach_px).mean()), float((apart.min(axis=1) < reach_px).mean())


@pytest.mark.parametrize(("eggs", "seed", "off"), [(40, 1, 0.15), (120, 2, 0.10), (200, 3, 0.10)])
def test_eggs_on_a_textured_wall_are_counted_and_the_interval_holds_the_truth(eggs: int, seed: int, off: float) -> None:
    wall = draw(Scene(eggs=eggs, **SMALL), seed)
    found = count_photo(wall.picture)
    recall, precision = recall_and_precision(wall, found.marks)
    assert not found.unsure
    assert found.count == pytest.approx(wall.count, rel=off)
    assert found.low <= wall.count <= found.high
    assert recall > 0.85
    assert precision > 0.8


def test_where_eggs_overlap_so_much_that_some_are_hidden_the_interval_is_wider_upward() -> None:
    sparse, dense = (draw(Scene(eggs=n, perlite=0, glare=0, **SMALL), 4) for n in (60, 500))
    thin, thick = count_photo(sparse.picture), count_photo(dense.picture)

    def upward(found):
        return (found.high - found.count) / found.count

    assert upward(thick) > 1.5 * (thick.count - thick.low) / thick.count
    assert upward(thick) > upward(thin) * 0.9
    assert thick.low <= dense.count <= thick.high


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_the_same_wall_photographed_larger_or_smaller_gives_about_the_same_count(factor: float) -> None:
    wall = draw(Scene(eggs=100, **SMALL), 6)
    other = cv2.resize(
        wall.picture, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    )
    assert count_photo(other).count == pytest.approx(count_photo(wall.picture).count, rel=0.15)


def test_turning_the_picture_over_does_not_change_what_is_there() -> None:
    wall = draw(Scene(eggs=80, **SMALL), 7)
    turned = count_photo(np.ascontiguousarray(wall.picture[::-1, ::-1]))
    assert turned.count == pytest.approx(count_photo(wall.picture).count, rel=0.06)


def test_dark_grains_on_a_pale_ground_are_counted_like_pale_ones_on_a_dark_ground() -> None:
    wall = draw(Scene(eggs=80, perlite=0, glare=0, **SMALL), 8)
    found = count_photo(255 - wall.picture)
    assert not found.pale
    assert found.count == pytest.approx(wall.count, rel=0.12)


def test_lengths_are_given_when_the_scale_is_known() -> None:
    wall = draw(Scene(eggs=60, clumping=0, perlite=0, glare=0, faintest=0.9, sunk=0, ripeness=0.0, **SMALL), 9)
    found = count_photo(wall.picture, mm_per_px=0.1)
    assert found.length_mm is not None
    assert float(np.median(found.length_mm)) == pytest.approx(float(np.median(wall.length)) / 10, rel=0.12)


def test_with_a_scale_crumbs_of_perlite_alone_are_not_taken_for_eggs() -> None:
    wall = draw(Scene(eggs=0, perlite=9, fibres=0, drops=0, **SMALL), 10)
    found = count_photo(wall.picture, mm_per_px=0.1)
    assert found.unsure or found.count <= 2


def animals(lengths_px: list[float], seed: int = 0) -> NDArray[np.uint8]:
    """Brown slender bodies, far apart, on a white tray."""
    rng = np.random.default_rng(seed)
    tray = np.full((500, 700, 3), 235, np.uint8)
    for i, length in enumerate(lengths_px):
        centre = (60 + 90 * (i % 7), 60 + 90 * (i // 7))
        cv2.ellipse(tray, (centre, (length, length * 0.35), float(rng.uniform(0, 180))), (110, 80, 50), -1, cv2.LINE_AA)
    return (tray + rng.normal(0, 2, tray.shape)).clip(0, 255).astype(np.uint8)


def test_crickets_on_a_white_tray_are_counted_with_their_lengths() -> None:
    lengths = [30.0, 34, 38, 42, 32, 36, 40] * 3
    found = count_photo(animals(lengths), kind=KINDS["crickets"], mm_per_px=0.4)
    assert found.count == len(lengths)
    assert not found.pale
    assert sorted(np.round(found.length_mm / 0.4)) == pytest.approx(sorted(lengths), abs=2)


def noise(spread: float, grain_px: float = 0) -> NDArray[np.uint8]:
    rng = np.random.default_rng(11)
    plane = rng.normal(0, 1, (300, 400))
    if grain_px:
        plane = cv2.GaussianBlur(plane, (0, 0), grain_px)
    return (128 + spread * plane / plane.std()).clip(0, 255).astype(np.uint8)


def specks() -> NDArray[np.uint8]:
    rng = np.random.default_rng(12)
    return (255 * (rng.random((300, 400)) < 0.02)).astype(np.uint8)


NOTHING = {
    "uniform grey": np.full((300, 400), 128, np.uint8),
    "all white": np.full((300, 400, 3), 255, np.uint8),
    "all black": np.zeros((300, 400, 3), np.uint8),
    "fine noise": noise(20),
    "coarse noise": noise(40, 3),
    "coarser noise": noise(40, 8),
    "faint noise": noise(3),
    "specks of one pixel": specks(),
    "a wall without eggs": draw(Scene(eggs=0, perlite=0, fibres=0, drops=0, scratches=0, glare=0, **SMALL), 13).picture,
    "all glare": np.clip(draw(Scene(eggs=0, perlite=0, **SMALL), 14).picture.astype(int) + 215, 0, 255).astype(
        np.uint8
    ),
}


@pytest.mark.parametrize("what", NOTHING)
def test_where_there_is_nothing_to_count_the_answer_is_nought_and_not_sure(what: str) -> None:
    found = count_photo(NOTHING[what])
    assert (found.count, found.unsure) == (0, True)
    assert found.why.endswith(".")


def test_a_picture_far_out_of_focus_is_not_counted_on() -> None:
    wall = draw(Scene(eggs=100, **SMALL), 15)
    found = count_photo(cv2.GaussianBlur(wall.picture, (0, 0), 9))
    assert found.unsure
    assert "focus" in found.why or "grain" in found.why


def test_a_picture_too_small_to_see_anything_in_is_refused() -> None:
    assert count_photo(np.zeros((10, 10, 3), np.uint8)).unsure


@settings(max_examples=40, deadline=None)
@given(
    doubts=st.lists(st.floats(0, 0.89), min_size=1, max_size=60), crowding=st.floats(0, 1), heaped=st.booleans()
)  # fmt: skip
def test_the_interval_always_holds_the_count_and_never_goes_below_nought(doubts, crowding, heaped) -> None:
    n = len(doubts)
    row = np.ones(n)
    marks = Marks(x_px=row, y_px=row, length_px=row, width_px=row, angle_rad=row, doubt=np.array(doubts))
    low, high = interval(marks, crowding, np.full(n, heaped))
    assert 0 <= low <= marks.sure.sum() <= high


@settings(max_examples=60, deadline=None)
@given(
    height=st.integers(24, 90), width=st.integers(24, 260), seed=st.integers(0, 10_000), grain=st.floats(0, 6),
    spots=st.integers(0, 12), colour=st.booleans(), scale=st.sampled_from([None, 0.02, 0.1, 1.0]),
)  # fmt: skip
def test_whatever_the_picture_it_answers(height, width, seed, grain, spots, colour, scale) -> None:
    rng = np.random.default_rng(seed)
    plane = rng.normal(100, 25, (height, width))
    plane = cv2.GaussianBlur(plane, (0, 0), grain) if grain > 0.3 else plane
    for _ in range(spots):
        at = (int(rng.integers(width)), int(rng.integers(height)))
        cv2.ellipse(plane, (at, (rng.uniform(2, 40), rng.uniform(2, 20)), 30.0), float(rng.uniform(0, 255)), -1)
    grey = plane.clip(0, 255).astype(np.uint8)
    found = count_photo(np.dstack([grey] * 3) if colour else grey, mm_per_px=scale)
    assert 0 <= found.low <= found.count <= found.high
    assert found.unsure == bool(found.why)
    assert len(found.marks) >= found.count
