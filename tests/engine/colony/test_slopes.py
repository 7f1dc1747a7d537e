"""Slopes had by the chain rule are those of walking a farm beside itself in every single unknown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from chirr.engine.biology.species import species
from chirr.engine.colony.clocks import make_clocks
from chirr.engine.colony.facts import predict
from chirr.engine.colony.history import ClutchFacts, FarmHistory, Kind
from chirr.engine.colony.latents import FARM
from chirr.engine.colony.walk import walk
from engine.colony.small_farm import DAY, HOUSE, clutch, happening, history, lot, stocked
from engine.colony.told_by_the_prior import Model

TWO_ROOMS = make_clocks(np.repeat([[30.0], [28.0]], 400 * 24, axis=1), species(HOUSE))


def tray(k: int, joins: int) -> ClutchFacts:
    laid = (1.0 + k) * DAY
    return clutch(
        name=f"C{k}", lot=joins, laid_h=laid, pulled_h=laid + 2 * DAY, starts_h=np.array([laid]), tray_type=k % 2,
        substrate=k % 3, cycle=1 + k % 2, egg_counts=((laid + 3 * DAY, 2500.0, 0.2, f"E{k}"),),
        pinhead_counts=((laid + 15 * DAY, 1600.0, 0.2, f"P{k}"),),
        first_between=(laid + 12.5 * DAY, laid + 13 * DAY),
    )  # fmt: skip


def varied_farm() -> FarmHistory:
    """Trays of two types and three batches, lots that are split, mixed, taken from and harvested, breeders that age."""
    raised = lot(
        happening(5, Kind.PLACE),
        happening(22, Kind.COUNT, quantity=2500, log_sd=0.15, young=True, entry="young"),
        happening(30, Kind.OUT, quantity=700, log_sd=0.1, other=1, entry="cut"),
        happening(35, Kind.WEIGH, quantity=60.0, log_sd=0.02, sample=50, entry="small"),
        happening(40, Kind.TAKE_KG, quantity=0.05, log_sd=0.06, entry="sold"),
        happening(44, Kind.DEATHS, quantity=150, entry="dead"),
        happening(60, Kind.HARVEST, quantity=0.35, log_sd=0.02, entry="cropped"),
        ended_day=60,
    )
    mixed = lot(
        happening(30, Kind.IN, other=0, entry="cut", place=1),
        happening(34, Kind.MIX, other=2, entry="join", place=1),
        happening(50, Kind.COUNT, quantity=900, log_sd=0.15, entry="mixed", place=1),
        happening(70, Kind.TAKE, quantity=100, log_sd=0.06, entry="after all facts", place=1),
    )
    joined = lot(happening(6, Kind.PLACE), happening(34, Kind.GONE, entry="join"), ended_day=34)
    breeders = lot(
        stocked(600, day=2.0, x=1.0, adult_days=5.0),
        happening(30, Kind.COUNT, quantity=300, log_sd=0.1, entry="old"),
    )
    return replace(
        history(
            80.0,
            lots=(raised, mixed, joined, breeders),
            clutches=(tray(0, 0), tray(1, 0), tray(2, 2), tray(3, -1), tray(60, -1)),
        ),
        tray_types=2,
        place_room=np.array([0, 1]),
        measured_rooms=np.array([False, True]),
        substrates=("a", "b", "c"),
    )


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_slopes_of_every_fact_by_every_unknown_are_those_of_walking_beside(seed: int) -> None:
    """Central differences over a small step through the whole walk, one unknown at a time: the plain definition."""
    model = Model.of(varied_farm(), TWO_ROOMS)
    search = model.search
    z = 0.5 * np.random.default_rng(seed).standard_normal(model.latents.size)
    point = search.look(z)
    h = 1e-4
    beside = np.concatenate([z[:, None] + h * np.eye(len(z)), z[:, None] - h * np.eye(len(z))], axis=1)
    told = walk(beside, model.latents, model.schedule, model.arrays, model.laid, model.bio)
    said = predict(told, model.facts)
    plain = (said[:, : len(z)] - said[:, len(z) :]) / (2 * h)
    most = np.abs(plain).max(axis=0)
    felt = most > 1e-8
    off = np.abs(point.jacobian.sparse().toarray() - plain)
    assert off[:, ~felt].max() < 1e-8
    assert (off[:, felt] / most[felt]).max() < 0.006, "as near as steps of a thousandth come"
    assert felt[: len(FARM)].all(), "every one of the farm's own numbers shows in some fact"
    assert felt[len(FARM) :].sum() > 25
