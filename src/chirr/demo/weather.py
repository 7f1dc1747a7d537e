"""The air of the dairy: hourly temperature at every level, the clocks that run on it, and what the thermometers say."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from chirr.demo.scenario import Nature, RoomPlan
from chirr.engine.biology.rates import egg_rate_per_day, nymph_rate_per_day
from chirr.engine.biology.species import species
from chirr.records import Reading

Floats = NDArray[np.float64]

HOUR_S = 3600
EGG, NYMPH, AGEING, WARMTH = range(4)
"""Running sums: share of incubation, share of nymph life, adult days as lived at 30 degC, degree-days above 0."""


@dataclass(frozen=True, kw_only=True)
class HeaterFailure:
    """A room whose heater stands still from `from_h` for `hours`."""

    room: str
    from_h: int
    hours: int = 37
    falls_to_c: float = 15.5


@dataclass(frozen=True, kw_only=True)
class Climate:
    """Hourly truth; hour 0 is `start_s`. temp_c has shape (rows, hours), sums (clocks, rows, hours + 1)."""

    start_s: int
    rooms: tuple[RoomPlan, ...]
    rows: dict[tuple[str, int], int]
    temp_c: Floats
    sums: Floats
    failure: HeaterFailure

    def hour(self, at_s: float) -> float:
        """Hours since the start of the grid."""
        return (at_s - self.start_s) / HOUR_S

    def read(self, clock: int, row: int, hour: float) -> float:
        """A running sum at one place and hour."""
        i = int(hour)
        sums = self.sums[clock, row]
        low = sums[i]
        return float(low + (hour - i) * (sums[i + 1] - low))


def make_climate(
    rooms: tuple[RoomPlan, ...],
    start_s: int,
    hours: int,
    failure: HeaterFailure,
    nature: Nature,
    rng: np.random.Generator,
) -> Climate:
    """Temperature of every level of every room, hour by hour, and the clocks of this farm's crickets."""
    rows: dict[tuple[str, int], int] = {}
    temps: list[Floats] = []
    for room in rooms:
        air = _room_air(room, start_s, hours, failure, rng)
        for level in range(1, room.levels + 1):
            rows[room.name, level] = len(temps)
            own = _slow_noise(hours, 0.12, 0.97, rng)
            temps.append(air + room.per_level_c * (level - (room.levels + 1) / 2) + own)
    temp_c = np.asarray(temps)
    return Climate(start_s=start_s, rooms=rooms, rows=rows, temp_c=temp_c, sums=_sums(temp_c, nature), failure=failure)


def _room_air(room: RoomPlan, start_s: int, hours: int, failure: HeaterFailure, rng: np.random.Generator) -> Floats:
    """The middle of a room: set point, a daily wave, the season leaking in, weather, and a heater that fails."""
    h = np.arange(hours)
    day_of_year = (datetime.fromtimestamp(start_s, UTC).timetuple().tm_yday + h / 24) / 365.25
    hour_of_day = (start_s / HOUR_S + h + 1) % 24
    air = room.set_c + room.daily_c * np.cos(2 * np.pi * (hour_of_day - 15) / 24)
    air -= room.seasonal_c * np.cos(2 * np.pi * (day_of_year - 0.05))
    air += _slow_noise(hours, 0.3, 0.985, rng)
    if failure.room == room.name:
        since = h - failure.from_h
        cold = 1 - np.exp(-np.maximum(np.minimum(since, failure.hours), 0) / 7.0)
        warm_again = np.exp(-np.maximum(since - failure.hours, 0) / 3.0)
        air -= (air - failure.falls_to_c) * cold * warm_again
    return np.asarray(air)


def _slow_noise(hours: int, sd: float, keeps: float, rng: np.random.Generator) -> Floats:
    """Noise of one hour that remembers the hour before."""
    return np.asarray(lfilter([sd * np.sqrt(1 - keeps**2)], [1, -keeps], rng.standard_normal(hours)))


def _sums(temp_c: Floats, nature: Nature) -> Floats:
    animal = species(nature.species)
    ageing = np.exp(-animal.longevity_slope_per_c.value * (30.0 - temp_c))
    rates = np.stack(
        [
            egg_rate_per_day(temp_c, animal) * nature.egg_speed,
            nymph_rate_per_day(temp_c, animal) * nature.nymph_speed,
            ageing,
            temp_c,
        ]
    )
    sums = np.zeros((4, temp_c.shape[0], temp_c.shape[1] + 1))
    np.cumsum(rates / 24.0, axis=2, out=sums[:, :, 1:])
    return sums


def readings(climate: Climate, until_s: int, rng: np.random.Generator) -> list[Reading]:
    """What the thermometers wrote, each hour: one at the lowest and one at the highest level of each room.

    Each is a little off in its own way, and now and then one has a flat battery for some days.
    """
    hours = min(int(climate.hour(until_s)) + 1, climate.temp_c.shape[1])
    found: list[Reading] = []
    for r, room in enumerate(climate.rooms):
        times = climate.start_s + HOUR_S * np.arange(hours) + 60 * r
        for level in (1, room.levels):
            truth = climate.temp_c[climate.rows[room.name, level], :hours]
            shown = np.round(truth + rng.normal(0, 0.12) + rng.normal(0, 0.08, hours), 1)
            damp = np.round(room.humidity_pct + _slow_noise(hours, 4.0, 0.97, rng) - 0.8 * (truth - room.set_c))
            works = _battery(hours, rng)
            found += [
                Reading(at=at, room=room.name, level=level, temperature_c=t, humidity_pct=w)
                for at, t, w, ok in zip(times.tolist(), shown.tolist(), damp.tolist(), works.tolist(), strict=True)
                if ok and at <= until_s
            ]
    found.sort(key=lambda x: (x.at, x.room, x.level or 0))
    return found


def _battery(hours: int, rng: np.random.Generator) -> NDArray[np.bool_]:
    works = np.ones(hours, dtype=bool)
    for _ in range(int(rng.poisson(hours / 8000))):
        start = int(rng.integers(0, max(hours - 400, 1)))
        works[start : start + int(rng.integers(20, 90))] = False
    works &= rng.random(hours) > 0.002
    return works
