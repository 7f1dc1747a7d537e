"""The photograph finder against pictures packaged with scikit-image, and against its plain tools on shapes."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage import data, feature, measure

from chirr.engine.counting.photo import count_photo


def test_the_24_coins_are_counted_where_a_global_threshold_finds_22() -> None:
    # scikit-image, data.coins: 4 rows of 6, none cut by the edge, counted by eye; 22 with Otsu and a cleared border.
    found = count_photo(data.coins())
    assert found.count == 24
    assert not found.unsure


def test_two_touching_discs_are_two() -> None:
    # As in scikit-image's watershed example: centres (28, 28) and (44, 52), radii 16 and 20, one connected region.
    y, x = np.indices((80, 80))
    discs = ((x - 28) ** 2 + (y - 28) ** 2 < 16**2) | ((x - 44) ** 2 + (y - 52) ** 2 < 20**2)
    assert measure.label(discs).max() == 1
    assert count_photo((discs * 255).astype(np.uint8)).count == 2


@pytest.mark.parametrize("name", ["brick", "grass", "gravel", "moon"])
def test_textures_are_not_counted(name: str) -> None:
    found = count_photo(getattr(data, name)())
    assert found.unsure
    assert found.count < 5


def test_overlapping_ellipses_are_counted_nearer_than_connected_regions_and_blobs_are() -> None:
    rng = np.random.default_rng(21)
    picture = np.full((500, 700), 40, np.uint8)
    for _ in range(260):
        at = (float(rng.uniform(20, 680)), float(rng.uniform(20, 480)))
        cv2.ellipse(picture, (at, (30, 10), float(rng.uniform(0, 180))), 220, -1, cv2.LINE_AA)
    picture = (picture + rng.normal(0, 6, picture.shape)).clip(0, 255).astype(np.uint8)
    regions = measure.label(picture > 130).max()
    blobs = len(feature.blob_log(picture / 255, min_sigma=4, max_sigma=9, num_sigma=4, threshold=0.1))
    found = count_photo(picture)
    assert abs(found.count - 260) < abs(regions - 260)
    assert abs(found.count - 260) < abs(blobs - 260)
    assert found.low <= 260 <= found.high
