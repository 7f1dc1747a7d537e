"""A batch of substrate is called poor when belief is sure of it, with its share and band."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from chirr.desk.poor_batches import batch_remarks, poor_batches
from chirr.engine.colony.latents import SUBSTRATE_SD

NAMES = ("mix-1", "mix-2", "mix-3")


def foresight(middle: list[float], sd: list[float]) -> SimpleNamespace:
    """What is believed of three batches: middle and spread of the log of their share."""
    latents, schur = SimpleNamespace(substrate=np.arange(3)), np.diag((SUBSTRATE_SD / np.array(sd)) ** 2)
    return SimpleNamespace(
        gathered=SimpleNamespace(history=SimpleNamespace(substrates=NAMES)),
        belief=SimpleNamespace(latents=latents, mode=np.array(middle) / SUBSTRATE_SD),
        ground=SimpleNamespace(arrow=SimpleNamespace(schur=schur)),
    )


def test_only_a_batch_that_is_surely_poor_is_named_the_worst_first() -> None:
    f = foresight([np.log(0.5), np.log(0.6), np.log(0.3)], [0.1, 0.6, 0.2])
    assert [b.substrate for b in poor_batches(f)] == ["mix-3", "mix-1"]  # type: ignore[arg-type]


def test_its_band_is_that_of_the_normal_on_the_log_scale() -> None:
    """z of 0.9 is 1.2816: NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.1."""
    (poor,) = poor_batches(foresight([np.log(0.5), 0.0, 0.0], [0.1, 0.1, 0.1]))  # type: ignore[arg-type]
    assert poor.share == pytest.approx(0.5)
    assert poor.low == pytest.approx(0.5 * np.exp(-0.12816), rel=1e-4)
    assert poor.high == pytest.approx(0.5 * np.exp(0.12816), rel=1e-4)


def test_the_sentence_names_the_batch_its_share_and_what_to_do() -> None:
    f = foresight([np.log(0.5), 0.0, 0.0], [0.1, 0.1, 0.1])
    f.as_of, f.standing = 100 * 86400, standing("mix-1", laid_day=80, emptied_day=None)
    (says,) = batch_remarks(f)  # type: ignore[arg-type]
    assert "mix-1" in says
    assert "50%" in says
    assert "mould" in says


@pytest.mark.parametrize(("laid_day", "emptied_day", "told"), [(50, None, 1), (95, 99, 1), (50, 70, 0)])
def test_a_batch_that_is_used_up_is_no_longer_told_of(laid_day: int, emptied_day: int | None, told: int) -> None:
    f = foresight([np.log(0.5), 0.0, 0.0], [0.1, 0.1, 0.1])
    f.as_of, f.standing = 100 * 86400, standing("mix-1", laid_day=laid_day, emptied_day=emptied_day)
    assert len(batch_remarks(f)) == told  # type: ignore[arg-type]


def standing(batch: str, *, laid_day: int, emptied_day: int | None) -> SimpleNamespace:
    """A farm of one tray."""
    emptied = None if emptied_day is None else emptied_day * 86400
    tray = SimpleNamespace(substrate=batch, laid_at=laid_day * 86400, emptied_at=emptied)
    return SimpleNamespace(clutches={"C": tray})
