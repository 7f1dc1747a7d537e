"""The colony code's account of one clutch, with nothing known but the species table: what single crickets add up to."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import sparse

from chirr.engine.biology.species import Species
from chirr.engine.colony import ahead
from chirr.engine.colony.ahead import look_ahead
from chirr.engine.colony.belief import Belief, believe
from chirr.engine.colony.clocks import Clocks, make_clocks
from chirr.engine.colony.hatching import share_hatched
from chirr.engine.colony.history import ClutchFacts, FarmHistory, Happening, Kind, LotFacts
from chirr.engine.colony.horizon import Horizon
from chirr.engine.colony.schedule import ClutchArrays, clutch_arrays
from chirr.engine.colony.sizes import mean_mass_mg
from chirr.engine.colony.walk import mass_of

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Told:
    """By day, as shares of the pinheads: `alive`; and `mean_mg`."""

    alive: Floats
    mean_mg: Floats
    pinheads: float


@dataclass(frozen=True, kw_only=True)
class OneClutch:
    """A tray laid from hour 0 to `laid_to_h`, hatching where it stands, in a bin with `surface_cm2`."""

    temperature_c: Floats
    species: Species
    laid_to_h: float
    surface_cm2: float

    @property
    def clocks(self) -> Clocks:
        return make_clocks(self.temperature_c[None, :], self.species)

    def history(self, now_h: float) -> FarmHistory:
        clutch = ClutchFacts(
            name="K", lot=0, breeders=-1, laid_h=0.0, pulled_h=self.laid_to_h, tray_cm2=400.0, tray_type=0,
            starts_h=np.array([0.0]), places=np.array([0]),
        )  # fmt: skip
        here = Happening(hour=self.laid_to_h, kind=Kind.PLACE, place=0, surface_cm2=self.surface_cm2)
        return FarmHistory(
            clutches=(clutch,), lots=(LotFacts(name="N", happenings=(here,)),), now_h=now_h, tray_types=1
        )

    def arrays(self) -> ClutchArrays:
        return clutch_arrays(self.history(0.0), self.clocks, egg_cv=self.species.egg_cv.value)

    def share_hatched_by(self, hours: Floats) -> Floats:
        """The closed form of the hatch at some hours."""
        arrays = self.arrays()
        knots_h = np.arange(arrays.rows.shape[1]) * 6.0
        reading = np.interp(hours, knots_h, arrays.rows[0])
        one = np.ones_like(reading)
        return share_hatched(reading, speed=one, window=arrays.window[0] * one, cv=self.species.egg_cv.value)

    def belief(self, now_h: float) -> Belief:
        """Belief without a single fact: the table's own values."""
        return believe(self.history(now_h), self.clocks, np.array([30.0]), self.species)

    def looked_back_on(self, days: NDArray[np.int64]) -> Told:
        """What the walk says of each day on which one might stand."""
        alive, mass = [], []
        for day in days:
            belief = self.belief(24.0 * float(day))
            mean, variance = mass_of(belief.told.lots, belief.told.farm.log_hatchling_mg, belief.bio)
            pinheads = float(belief.told.clutches.pinheads[0, 0])
            out = float(self.share_hatched_by(np.array([24.0 * day]))[0])
            alive.append(float(belief.told.lots.number[0, 0]) / pinheads * out)
            mass.append(float(mean_mass_mg(mean, variance)[0, 0]))
        return Told(alive=np.array(alive), mean_mg=np.array(mass), pinheads=pinheads)

    def looked_ahead_on(self, now_h: float, days: int, monkeypatch: pytest.MonkeyPatch) -> Told:
        """What ahead says, from `now_h` on, when every draw is the table's value and the weather stays as it is."""
        monkeypatch.setattr(ahead, "WEATHER_C", 0.0)
        monkeypatch.setattr(ahead, "WEATHER_UNMEASURED_C", 0.0)
        loose = self.belief(now_h)
        surely = 1e12 * sparse.identity(loose.latents.size, format="csc")
        latents = replace(loose.latents, lot_sd=np.zeros_like(loose.latents.lot_sd))
        belief = replace(loose, precision=surely, latents=latents)
        seen = look_ahead(
            belief, self.clocks, Horizon(days=days, from_mg=(0.0,), target_mg=300.0), place_room=np.array([0]),
            living=np.array([0]), open_clutches=np.array([0]), draws=4, rng=np.random.default_rng(1),
        )  # fmt: skip
        pinheads = seen.clutches[0].pinheads[3]
        return Told(alive=seen.lots[0].alive[:, 3] / pinheads, mean_mg=seen.lots[0].mean_mg[:, 3], pinheads=pinheads)
