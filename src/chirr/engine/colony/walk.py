"""The story of every lot told forward from its unknowns: the one model that belief is fitted to and that ahead runs on.

`walk` goes through the schedule wave by wave. Its arrays have draws along the last axis; one draw is one full set of
unknowns. Observations are predicted on the way, on the log scale.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import gamma

import numpy as np
from numpy.typing import NDArray

from chirr.engine.biology.laying import age_curve, eggs_per_cm2_in_tray
from chirr.engine.biology.species import Species
from chirr.engine.biology.survival import day14_clock, density_survival_factor
from chirr.engine.colony.clocks import ADULT, IDLE, NYMPH, WARMTH
from chirr.engine.colony.history import Kind
from chirr.engine.colony.latents import EGG_SENSITIVITY, NYMPH_SENSITIVITY, FarmLevel, Latents, farm_level, log_loss
from chirr.engine.colony.schedule import ClutchArrays, Schedule
from chirr.engine.colony.sizes import Sex, SizeCurve, log_mass, mean_mass_mg, sexes_apart, size_curve

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SURE_SHARE = 0.75
"""Up to this share of a lot may leave before what stays is doubted: both the number there and the number that left are
uncertain, so the rest falls away gently instead of below nothing."""


@dataclass(slots=True, kw_only=True)
class Cohorts:
    """The state of lots, each array of shape (lots, draws).

    number: crickets alive; x: developed share of nymph life; x_variance: its spread from different hatch dates;
    clock, warmth: published nymph clock passed and degC above reference weighted by it; adult_days; log_speed;
    early, late: loss (-log survival) over the first fortnight and from there to adult; log_adult_mg; log_longevity;
    unmarked: natural deaths since deaths were last written down.
    """

    number: Floats
    x: Floats
    x_variance: Floats
    clock: Floats
    warmth: Floats
    adult_days: Floats
    log_speed: Floats
    early: Floats
    late: Floats
    log_adult_mg: Floats
    log_longevity: Floats
    unmarked: Floats

    MIXED = ("x", "clock", "warmth", "adult_days", "log_speed", "early", "late", "log_adult_mg", "log_longevity")

    @classmethod
    def none(cls, lots: int, draws: int) -> Cohorts:
        """No crickets at all."""
        return cls(**{name: np.zeros((lots, draws)) for name in cls.__dataclass_fields__})

    def take(self, rows: Ints) -> Cohorts:
        """A copy of some lots."""
        return Cohorts(**{name: getattr(self, name)[rows] for name in self.__dataclass_fields__})

    def put(self, rows: Ints, part: Cohorts) -> None:
        """Write some lots back."""
        for name in self.__dataclass_fields__:
            getattr(self, name)[rows] = getattr(part, name)

    def add(self, coming: Cohorts) -> None:
        """Mix other crickets in, lot by lot; their paces and ages average by number."""
        total = np.maximum(self.number + coming.number, 1e-9)
        w = coming.number / total
        apart = coming.x - self.x
        self.x_variance = (1 - w) * self.x_variance + w * coming.x_variance + w * (1 - w) * apart**2
        for name in self.MIXED:
            old, new = getattr(self, name), getattr(coming, name)
            setattr(self, name, old + w * (new - old))
        self.unmarked = self.unmarked + coming.unmarked
        self.number = self.number + coming.number


@dataclass(frozen=True, slots=True, kw_only=True)
class Biology:
    """The species' numbers that the walk needs, taken once from the table."""

    species: Species
    curve: SizeCurve
    day14: float
    early_shape: float
    longevity_shape: float
    size_slope: float
    size_cap: float
    female_share: float
    sexes: tuple[Sex, ...]

    @classmethod
    def of(cls, species: Species) -> Biology:
        """From the species table."""
        return cls(
            species=species,
            curve=size_curve(species),
            day14=day14_clock(species),
            early_shape=species.early_loss_shape.value,
            longevity_shape=species.longevity_shape.value,
            size_slope=species.size_slope_per_c.value,
            size_cap=species.size_effect_cap.value,
            female_share=species.female_share.value,
            sexes=sexes_apart(species),
        )


def loss_between(c: Cohorts, x_after: Floats, idle: Floats, density: Floats, bio: Biology) -> Floats:
    """-log survival of nymphs from the cohort's x to `x_after` and over `idle` days; density in crickets/cm2."""
    d = bio.day14

    def early(x: Floats) -> Floats:
        return np.asarray((np.clip(x, 0.0, d) / d) ** bio.early_shape)

    crowding = -np.log(density_survival_factor(density, bio.species))
    late = np.clip(x_after, d, 1.0) - np.clip(c.x, d, 1.0)
    slow = np.where(c.x < 1.0, idle * _SLOW_SHARE, 0.0)
    return np.asarray(
        c.early * (early(x_after) - early(c.x)) + (c.late + crowding) * late / (1 - d) + slow * (c.late + crowding)
    )


_SLOW_SHARE = 1.0 / 90.0
"""A day in which nymphs hardly develop costs as much as 1/90 of the loss from day 14 to adult (judgement)."""


def adult_loss(before_days: Floats, after_days: Floats, log_longevity: Floats, bio: Biology) -> Floats:
    """-log survival of adults between two ages [days at 30 degC]: Weibull with the mean life given."""
    k = bio.longevity_shape
    scale = gamma(1 + 1 / k) * np.exp(-log_longevity)
    return np.asarray((after_days * scale) ** k - (before_days * scale) ** k)


def advance(c: Cohorts, passed: Floats, surface_cm2: Floats, warmer_c: Floats, bio: Biology) -> None:
    """Let time pass for cohorts.

    passed: shape (clocks, lots, 1); surface_cm2: (lots, 1); warmer_c: how much warmer it was than thought, of shape
    (lots, draws).
    """
    moved = passed[NYMPH] * np.exp(c.log_speed + NYMPH_SENSITIVITY * warmer_c)
    x_after = c.x + moved
    loss = loss_between(c, x_after, passed[IDLE], c.number / surface_cm2, bio)
    grown = np.where(moved > 0, np.clip((x_after - 1.0) / np.maximum(moved, 1e-12), 0.0, 1.0), (c.x >= 1.0) * 1.0)
    age_after = c.adult_days + grown * passed[ADULT]
    loss = loss + np.where(grown > 0, adult_loss(c.adult_days, age_after, c.log_longevity, bio), 0.0)
    left = c.number * np.exp(-loss)
    c.unmarked = c.unmarked + c.number - left
    c.number = left
    growing = c.x < 1.0
    c.clock = c.clock + np.where(growing, passed[NYMPH], 0.0)
    c.warmth = c.warmth + np.where(growing, passed[WARMTH], 0.0)
    c.x, c.adult_days = x_after, age_after


def mass_of(c: Cohorts, log_hatchling_mg: Floats, bio: Biology) -> tuple[Floats, Floats]:
    """Mean and variance of log body mass [mg] of cohorts; warmer nymphs make smaller adults, within the cap."""
    warmer = c.warmth / np.maximum(c.clock, 0.05)
    effect = np.clip(-bio.size_slope * warmer, np.log(1 - bio.size_cap), -np.log(1 - bio.size_cap))
    return log_mass(bio.curve, c.x, c.x_variance, log_hatchling_mg, c.log_adult_mg + effect)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clutches:
    """What a set of unknowns says of clutches; arrays of shape (clutches, draws)."""

    log_speed: Floats
    eggs: Floats
    pinheads: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """What laid each clutch: females [number] and their adult age [days at 30 degC], shape (clutches,)."""

    females: Floats
    age_days: Floats
    warmth_factor: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A walk's outcome: the lots at the end, the clutches, the farm's level, and what happenings should have shown.

    log_number, log_mg, log_variance, adult_days: shape (happenings, draws); 0 for kinds that show nothing.
    """

    lots: Cohorts
    clutches: Clutches
    farm: FarmLevel
    log_number: Floats
    log_mg: Floats
    log_variance: Floats
    adult_days: Floats


def clutches_of(
    z: Floats, farm: FarmLevel, latents: Latents, arrays: ClutchArrays, laid: Laid, bio: Biology, *, only: Ints
) -> Clutches:
    """Speed, eggs and pinheads of the clutches `only` under unknowns `z` of shape (latents, draws); 0 for others."""
    s = bio.species
    own = latents.clutch_sd[:, only, None] * z[latents.clutch[:, only]]
    warmer = EGG_SENSITIVITY * arrays.in_room[only] @ farm.room_c
    area_cm2, tray_type = arrays.area_cm2[only, None], arrays.tray_type[only]
    by_age = age_curve(
        laid.age_days[only],
        s.pre_oviposition_days.value,
        ramp_days=s.laying_ramp_days.value,
        plateau_days=s.laying_plateau_days.value,
        decline_per_day=s.laying_decline_per_day.value,
        fade_from_day=s.laying_fade_from_day.value,
        end_day=s.laying_end_day.value,
    )
    offered = (laid.females[only] * np.maximum(by_age, 0.05) * laid.warmth_factor[only])[:, None] / area_cm2
    per_cm2 = eggs_per_cm2_in_tray(
        offered * farm.eggs_per_female_day,
        arrays.days_in[only, None],
        farm.capacity_per_cm2,
        farm.eating_per_day2,
    )
    eggs = area_cm2 * per_cm2 * np.exp(own[1])
    if farm.tray_type.size:
        eggs = eggs * np.exp(np.where(tray_type[:, None] >= 0, farm.tray_type[tray_type], 0.0))
    better, substrate = own[2], arrays.substrate[only]
    if farm.substrate.size:
        better = better + np.where(substrate[:, None] >= 0, farm.substrate[substrate], 0.0)
    hatched = np.exp(-log_loss(farm.hatch_logit + arrays.later_uses[only, None] * farm.later_use_logit, better))

    def among_all(some: Floats) -> Floats:
        every = np.zeros((len(arrays.laid_h), z.shape[1]))
        every[only] = some
        return every

    return Clutches(
        log_speed=among_all(farm.egg_log_speed + warmer + own[0]),
        eggs=among_all(np.maximum(eggs, 1.0)),
        pinheads=among_all(np.maximum(eggs * hatched, 0.5)),
    )


def walk(
    z: Floats,
    latents: Latents,
    schedule: Schedule,
    arrays: ClutchArrays,
    laid: Laid,
    bio: Biology,
    *,
    only: NDArray[np.bool_] | None = None,
    clutches: Ints | None = None,
    watch: bool = True,
) -> Told:
    """Tell every lot's story under unknowns `z` of shape (latents, draws).

    `only` marks the lots to follow (their parents must be among them); besides the clutches that are to join them,
    those of `clutches` are told. Without `watch` nothing is predicted on the way.
    """
    draws = z.shape[1]
    farm = farm_level(z, latents, bio.species)
    told_of = np.ones(len(arrays.lot), dtype=bool)
    if only is not None:
        told_of = (arrays.lot >= 0) & np.append(only, False)[arrays.lot]
        told_of[[] if clutches is None else clutches] = True
    lots = Cohorts.none(latents.lot.shape[1], draws)
    shape = (len(schedule.lot) if watch else 0, draws)
    told = Told(
        lots=lots,
        clutches=clutches_of(z, farm, latents, arrays, laid, bio, only=np.flatnonzero(told_of)),
        farm=farm,
        log_number=np.zeros(shape),
        log_mg=np.zeros(shape),
        log_variance=np.zeros(shape),
        adult_days=np.zeros(shape),
    )
    left: dict[tuple[str, int], Cohorts] = {}
    for wave in schedule.waves:
        rows = wave.row
        kinds = wave.kinds
        if only is not None:
            keep = only[schedule.lot[rows]]
            if not keep.any():
                continue
            new_place = np.cumsum(keep) - 1
            kinds = tuple((kind, new_place[at[keep[at]]]) for kind, at in kinds)
            rows = rows[keep]
        c = lots.take(schedule.lot[rows])
        advance(
            c, schedule.passed[:, rows, None], schedule.surface_cm2[rows, None], farm.room_c[schedule.room[rows]], bio
        )
        if watch:
            _watch(rows, kinds, c, schedule, told, bio)
        for kind, at in kinds:
            if at.size and kind in _CHANGING:
                part = c.take(at)
                _happen(kind, rows[at], part, z, latents, schedule, arrays, told, bio, left)
                c.put(at, part)
        lots.put(schedule.lot[rows], c)
    return told


_WATCHED = (Kind.COUNT, Kind.WEIGH, Kind.HARVEST, Kind.LAY)
_CHANGING = (
    Kind.STOCK,
    Kind.ARRIVE,
    Kind.TAKE,
    Kind.TAKE_KG,
    Kind.DEATHS,
    Kind.OUT,
    Kind.GONE,
    Kind.IN,
    Kind.MIX,
)


def _watch(
    rows: Ints, kinds: tuple[tuple[Kind, Ints], ...], c: Cohorts, schedule: Schedule, told: Told, bio: Biology
) -> None:
    """Note what counts, weighings, harvests and layings of a wave should show."""
    seen = np.concatenate([np.zeros(0, dtype=np.int64), *(at for kind, at in kinds if kind in _WATCHED)])
    if not seen.size:
        return
    part, row = c.take(seen), rows[seen]
    mean, variance = mass_of(part, told.farm.log_hatchling_mg, bio)
    told.log_number[row] = np.log(np.maximum(part.number * schedule.hatched[row, None], 0.5))
    told.log_mg[row] = np.log(mean_mass_mg(mean, variance))
    told.log_variance[row] = variance
    told.adult_days[row] = part.adult_days


def _happen(
    kind: Kind,
    rows: Ints,
    c: Cohorts,
    z: Floats,
    latents: Latents,
    schedule: Schedule,
    arrays: ClutchArrays,
    told: Told,
    bio: Biology,
    left: dict[tuple[str, int], Cohorts],
) -> None:
    """Do what happenings of one kind do to their cohorts."""
    q = schedule.quantity[rows, None] * np.exp(_miscount(rows, z, latents, schedule))
    if kind == Kind.STOCK:
        c.add(_stocked(rows, q, z, latents, schedule, told.farm))
    elif kind == Kind.ARRIVE:
        c.add(_arrived(rows, z, latents, schedule, arrays, told, bio))
    elif kind == Kind.TAKE_KG:
        c.number = _less(c.number, q * 1e6 / mean_mass_mg(*mass_of(c, told.farm.log_hatchling_mg, bio)))
    elif kind == Kind.TAKE:
        c.number = _less(c.number, q)
    elif kind == Kind.DEATHS:
        c.number = _less(c.number, np.maximum(q - c.unmarked, 0.0))
        c.unmarked = np.zeros_like(c.unmarked)
    elif kind == Kind.OUT:
        going = _split(c, q)
        for k, row in enumerate(rows):
            left[_link(schedule, int(row), int(schedule.lot[row]))] = going.take(np.array([k]))
    elif kind == Kind.GONE:
        for k, row in enumerate(rows):
            left[_link(schedule, int(row), int(schedule.lot[row]))] = c.take(np.array([k]))
    elif kind in (Kind.IN, Kind.MIX):
        c.add(_stack([left[_link(schedule, int(row), int(schedule.other[row]))] for row in rows]))


def _miscount(rows: Ints, z: Floats, latents: Latents, schedule: Schedule) -> Floats:
    """Log of how far the true number put in, split off or taken was from what was written."""
    slot = latents.happening[rows]
    return np.asarray(np.where(slot[:, None] >= 0, schedule.log_sd[rows, None] * z[slot], 0.0))


def _split(c: Cohorts, q: Floats) -> Cohorts:
    """Take the `q` that are split off out of cohorts, and return them."""
    staying = _less(c.number, q)
    going = c.take(np.arange(len(c.number)))
    going.number = c.number - staying
    going.unmarked = np.zeros_like(going.unmarked)
    c.number = staying
    return going


def _link(schedule: Schedule, row: int, lot: int) -> tuple[str, int]:
    """What leaves a lot by one entry, as both sides know it."""
    return schedule.entry[row], lot


def _stack(parts: list[Cohorts]) -> Cohorts:
    return Cohorts(**{n: np.concatenate([getattr(p, n) for p in parts]) for n in Cohorts.__dataclass_fields__})


def _less(number: Floats, going: Floats) -> Floats:
    """What stays when some leave: the difference while well above nothing, then a smooth tail (SURE_SHARE)."""
    part = going / np.maximum(number, 1e-9)
    rest = 1 - SURE_SHARE
    tail = rest * np.exp(-np.clip(part - SURE_SHARE, 0.0, 50.0 * rest) / rest)
    return np.asarray(number * np.where(part <= SURE_SHARE, 1 - part, tail))


def _own(lot: Ints, z: Floats, latents: Latents, farm: FarmLevel, number: Floats) -> Cohorts:
    """New crickets of lots, with each lot's own pace, losses and size."""
    own = latents.lot_sd[:, lot, None] * np.where(latents.lot[:, lot, None] >= 0, z[latents.lot[:, lot]], 0.0)
    zero = np.zeros_like(number)
    return Cohorts(
        number=number,
        x=zero,
        x_variance=zero.copy(),
        clock=zero.copy(),
        warmth=zero.copy(),
        adult_days=zero.copy(),
        log_speed=farm.nymph_log_speed + own[0],
        early=log_loss(farm.early_logit, own[1]),
        late=log_loss(farm.late_logit, own[2]),
        log_adult_mg=farm.log_adult_mg + own[3],
        log_longevity=farm.log_longevity_days + zero,
        unmarked=zero.copy(),
    )


def _stocked(rows: Ints, q: Floats, z: Floats, latents: Latents, schedule: Schedule, farm: FarmLevel) -> Cohorts:
    new = _own(schedule.lot[rows], z, latents, farm, q)
    new.x = new.x + schedule.x[rows, None]
    new.adult_days = new.adult_days + schedule.adult_days[rows, None]
    new.clock = new.clock + np.minimum(schedule.x[rows, None], 1.0)
    return new


def _arrived(
    rows: Ints, z: Floats, latents: Latents, schedule: Schedule, arrays: ClutchArrays, told: Told, bio: Biology
) -> Cohorts:
    """Pinheads of clutches: how far along they are follows from how fast their eggs were."""
    k = schedule.other[rows]
    new = _own(schedule.lot[rows], z, latents, told.farm, told.clutches.pinheads[k])
    speed = np.exp(told.clutches.log_speed[k])
    window = arrays.window[k, None]
    middle = 1.0 / speed + window / 2
    ratio = arrays.nymph_per_egg[k, None] * np.exp(new.log_speed)
    new.x = -(middle - arrays.reference_reading[k, None]) * ratio
    new.x_variance = (window**2 / 12 + bio.species.egg_cv.value**2 / speed**2) * ratio**2
    return new
