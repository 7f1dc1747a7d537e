"""Farms whose truth is drawn from the prior and whose facts err exactly as the model says they do.

For calibration: a belief that is right puts the truth anywhere among its draws with equal chance.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chirr.engine.biology.species import species
from chirr.engine.colony.approach import from_afar
from chirr.engine.colony.belief import Belief, belief_at, draw
from chirr.engine.colony.clocks import KNOT_H, Clocks, invert_rows
from chirr.engine.colony.facts import HATCH_LOG_SD, TAIL, Facts, gather, predict, spread
from chirr.engine.colony.hatching import FIRST_SHARE, reading_at_share
from chirr.engine.colony.history import ClutchFacts, FarmHistory, Happening, Kind, LotFacts
from chirr.engine.colony.latents import FARM, Latents, farm_level, make_latents
from chirr.engine.colony.schedule import ClutchArrays, Schedule, clutch_arrays, make_schedule
from chirr.engine.colony.search import PRIOR_TAIL, Search
from chirr.engine.colony.walk import Biology, Laid, Told, clutches_of, walk
from engine.colony.small_farm import DAY, HOUSE, clutch, happening, steady

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WARM = steady(30.0)
LOOK_H = 12.0
AGES = (8.0, 33.0)
"""Adult days of the breeders of the first and of the last tray."""


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What is seen on the farm: so many clutches, each becoming a lot, of which so many are harvested."""

    clutches: int = 6
    harvested: int = 3
    counts: bool = True


def template(plan: Plan) -> FarmHistory:
    """Times and kinds of all facts; their figures are still to be filled in."""
    trays, lots = [], []
    for k in range(plan.clutches):
        laid = 1.0 + 2 * k
        trays.append(
            clutch(
                name=f"C{k}",
                lot=k,
                laid_h=laid * DAY,
                pulled_h=(laid + 2) * DAY,
                starts_h=np.array([laid * DAY]),
                egg_counts=(((laid + 3) * DAY, 1000.0, 0.2, f"eggs-{k}"),) if plan.counts else (),
                pinhead_counts=(((laid + 18) * DAY, 1000.0, 0.2, f"pinheads-{k}"),) if plan.counts else (),
            )
        )
        rows = [happening(laid + 3, Kind.PLACE, entry=f"place-{k}")]
        rows.append(happening(laid + 33, Kind.COUNT, quantity=500.0, log_sd=0.15, entry=f"count-{k}"))
        rows.append(happening(laid + 33.5, Kind.WEIGH, quantity=60.0, log_sd=0.02, sample=50, entry=f"small-{k}"))
        ended = k < plan.harvested
        if ended:
            rows.append(happening(laid + 64, Kind.HARVEST, quantity=0.3, log_sd=0.02, entry=f"harvest-{k}"))
        rows.sort(key=lambda h: h.hour)
        lots.append(LotFacts(name=f"L{k}", happenings=tuple(rows), ended_h=(laid + 64) * DAY if ended else None))
    return FarmHistory(clutches=tuple(trays), lots=tuple(lots), now_h=(1.0 + 2 * plan.clutches + 65) * DAY)


@dataclass(frozen=True, kw_only=True)
class Model:
    """The parts of the model for one history, as belief puts them together."""

    history: FarmHistory
    arrays: ClutchArrays
    schedule: Schedule
    latents: Latents
    facts: Facts
    laid: Laid
    bio: Biology

    @classmethod
    def of(cls, history: FarmHistory, clocks: Clocks = WARM) -> Model:
        """Trays laid at 30 degC, one after the other by breeders from just grown to old, of known age and number."""
        animal = species(HOUSE)
        cv = animal.egg_cv.value
        arrays = clutch_arrays(history, clocks, egg_cv=cv)
        schedule = make_schedule(history, arrays, clocks, egg_cv=cv)
        warmth = np.interp(30.0, animal.laying_at_temperature.at, animal.laying_at_temperature.value)
        return cls(
            history=history,
            arrays=arrays,
            schedule=schedule,
            latents=make_latents(history, schedule),
            facts=gather(history, arrays, schedule, egg_cv=cv),
            laid=Laid(
                females=arrays.area_cm2.copy(),
                age_days=np.linspace(*AGES, len(arrays.laid_h)),
                warmth_factor=np.full(len(arrays.laid_h), warmth),
            ),
            bio=Biology.of(animal),
        )

    def tell(self, z: Floats) -> Told:
        return walk(z, self.latents, self.schedule, self.arrays, self.laid, self.bio)

    @property
    def search(self) -> Search:
        return Search(self.latents, self.schedule, self.arrays, self.bio, self.facts, self.laid)


def prior_draw(model: Model, rng: np.random.Generator) -> Floats:
    """One truth: normal, with the prior's own tails where accidents happen."""
    z = rng.standard_normal(model.latents.size)
    heavy = model.search.heavy
    z[heavy] = rng.standard_t(PRIOR_TAIL, int(heavy.sum()))
    return z


def with_hatches(model: Model, z: Floats, rng: np.random.Generator) -> FarmHistory:
    """First pinheads as they come out under a truth, seen at the next of the looks half a day apart."""
    bio, arrays = model.bio, model.arrays
    farm = farm_level(z[:, None], model.latents, bio.species)
    told = clutches_of(z[:, None], farm, model.latents, arrays, model.laid, bio, only=np.arange(len(arrays.lot)))
    log_speed = told.log_speed[:, 0] + HATCH_LOG_SD * rng.standard_t(TAIL, len(arrays.laid_h))
    reading = reading_at_share(FIRST_SHARE, speed=np.exp(log_speed), window=arrays.window, cv=bio.species.egg_cv.value)
    first = invert_rows(arrays.rows, arrays.laid_h, KNOT_H, reading)
    start = rng.uniform(0.0, LOOK_H)

    def seen(c: ClutchFacts, hour: float) -> ClutchFacts:
        look = start + LOOK_H * np.floor((hour - start) / LOOK_H)
        return replace(c, first_between=(float(look), float(look + LOOK_H)))

    trays = tuple(seen(c, float(h)) for c, h in zip(model.history.clutches, first, strict=True))
    return replace(model.history, clutches=trays)


def with_figures(model: Model, z: Floats, rng: np.random.Generator) -> FarmHistory:
    """Counts, weighings and harvests as they come out under a truth, with errors of Student's t."""
    told = model.tell(z[:, None])
    said = predict(told, model.facts)[:, 0] + spread(told, model.facts) * rng.standard_t(TAIL, len(model.facts.what))
    figure = {
        e: float(np.exp(v) / (1e6 if w == 2 else 1.0))
        for e, v, w in zip(model.facts.entry, said, model.facts.what, strict=True)
        if w != 5
    }

    def filled(h: Happening) -> Happening:
        return replace(h, quantity=figure[h.entry]) if h.entry in figure else h

    lots = tuple(replace(x, happenings=tuple(filled(h) for h in x.happenings)) for x in model.history.lots)
    trays = tuple(
        replace(
            c,
            egg_counts=tuple((h, figure[e], sd, e) for h, _, sd, e in c.egg_counts),
            pinhead_counts=tuple((h, figure[e], sd, e) for h, _, sd, e in c.pinhead_counts),
        )
        for c in model.history.clutches
    )
    return replace(model.history, lots=lots, clutches=trays)


def told_farm(plan: Plan, rng: np.random.Generator) -> tuple[Floats, FarmHistory]:
    """A truth, shape (latents,), and a farm's history under it."""
    bare = Model.of(template(plan))
    z = prior_draw(bare, rng)
    return z, with_figures(Model.of(with_hatches(bare, z, rng)), z, rng)


def fitted(history: FarmHistory) -> Belief:
    """Belief as the farm's desk forms it, but for who laid: that is told here, not reckoned from a breeding lot."""
    return belief_at(*from_afar(Model.of(history).search), history)


DRAWS = 99
"""Draws among which a truth is ranked: ranks run from 0 to this."""


def truths_and_draws(plan: Plan, runs: int, seed: int) -> tuple[Floats, Floats]:
    """The farm's own unknowns as they were, (runs, len(FARM)), and as believed, (runs, len(FARM), DRAWS)."""
    truths, drawn = [], []
    for rng in np.random.default_rng(seed).spawn(runs):
        z, history = told_farm(plan, rng)
        truths.append(z[: len(FARM)])
        drawn.append(draw(fitted(history), DRAWS, rng)[: len(FARM)])
    return np.array(truths), np.array(drawn)


def ranks(truths: Floats, drawn: Floats) -> Ints:
    """How many draws lie below each truth, 0 to DRAWS."""
    return np.asarray((drawn < truths[..., None]).sum(axis=-1))


def unevenness(found: Ints, bins: int) -> Floats:
    """Pearson's chi-square of ranks against evenness, for each unknown; `bins` must divide DRAWS + 1."""
    runs = len(found)
    each = np.stack([np.bincount(column * bins // (DRAWS + 1), minlength=bins) for column in found.T])
    return np.asarray(((each - runs / bins) ** 2 / (runs / bins)).sum(axis=1))
