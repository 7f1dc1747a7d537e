"""The story of every lot told forward from its unknowns: the one model that belief is fitted to and that ahead runs on.

`walk` goes through the schedule wave by wave. Its arrays have draws along the last axis; one draw is one full set of
unknowns, in double or in single precision. Observations are predicted on the way, on the log scale.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from math import gamma, log
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chirr.engine.biology.laying import eggs_per_cm2_in_tray, laying_of_lot
from chirr.engine.biology.species import Curve, Species
from chirr.engine.biology.survival import day14_clock
from chirr.engine.colony.clocks import ADULT, IDLE, NYMPH, WARMTH
from chirr.engine.colony.history import Kind
from chirr.engine.colony.latents import EGG_SENSITIVITY, NYMPH_SENSITIVITY, FarmLevel, Latents, farm_level, log_loss
from chirr.engine.colony.part import Part
from chirr.engine.colony.schedule import ClutchArrays, Schedule, Wave
from chirr.engine.colony.sizes import Sex, SizeCurve, log_mass, mean_mass_mg, sexes_apart, size_curve

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Rows = Ints | slice

SURE_SHARE = 0.75
"""Up to this share of a lot may leave before what stays is doubted: both the number there and the number that left are
uncertain, so the rest falls away gently instead of below nothing."""


class _Field:
    """One quantity of cohorts: a view of its layer of the one array that holds them all."""

    def __init__(self, layer: int) -> None:
        self.layer = layer

    def __get__(self, cohorts: Cohorts, _: type[Cohorts]) -> Floats:
        layer: Floats = cohorts.all[self.layer]
        return layer

    def __set__(self, cohorts: Cohorts, value: Floats) -> None:
        cohorts.all[self.layer] = value


class Cohorts:
    """The state of lots: one array of shape (quantities, lots, draws), so that lots are taken and put back at once.

    number: crickets alive; x: developed share of nymph life; x_variance: its spread from different hatch dates;
    clock, warmth: published nymph clock passed and degC above reference weighted by it; adult_days; log_speed;
    early, late: loss (-log survival) over the first fortnight and from there to adult; log_adult_mg; log_longevity;
    unmarked: natural deaths since deaths were last written down.
    """

    __slots__ = ("all",)

    x_variance, number, unmarked = _Field(0), _Field(1), _Field(2)
    x, clock, warmth, adult_days = _Field(3), _Field(4), _Field(5), _Field(6)
    log_speed, early, late, log_adult_mg, log_longevity = _Field(7), _Field(8), _Field(9), _Field(10), _Field(11)

    QUANTITIES, MOVING, MIXED = 12, slice(1, 7), slice(3, 12)
    """What time changes, and what is averaged by number where crickets are mixed."""

    def __init__(self, **quantities: Floats) -> None:
        """From each quantity by its name, all of one shape (lots, draws)."""
        shown = next(iter(quantities.values()))
        self.all = np.zeros((self.QUANTITIES, *shown.shape), dtype=np.result_type(*quantities.values()))
        for name, value in quantities.items():
            setattr(self, name, value)

    @classmethod
    def within(cls, layers: Floats) -> Cohorts:
        """Those that an array of shape (quantities, lots, draws) holds."""
        new = cls.__new__(cls)
        new.all = layers
        return new

    @classmethod
    def none(cls, lots: int, draws: int, dtype: Any = np.float64) -> Cohorts:
        """No crickets at all."""
        return cls.within(np.zeros((cls.QUANTITIES, lots, draws), dtype=dtype))

    def take(self, rows: Ints) -> Cohorts:
        """A copy of some lots."""
        return Cohorts.within(np.take(self.all, rows, axis=1))

    def put(self, rows: Ints, part: Cohorts) -> None:
        """Write some lots back."""
        self.all[:, rows] = part.all

    def put_moved(self, rows: Ints, part: Cohorts) -> None:
        """Write some lots back to which nothing but time happened."""
        self.all[self.MOVING, rows] = part.all[self.MOVING]

    def add(self, coming: Cohorts) -> None:
        """Mix other crickets in, lot by lot; their paces and ages average by number."""
        if not self.number.any() and (coming.number > _NOBODY).all():
            self.all[...] = coming.all
            return
        w = coming.number / np.maximum(self.number + coming.number, _NOBODY)
        apart = coming.x - self.x
        self.x_variance += w * (coming.x_variance - self.x_variance + (1 - w) * apart**2)
        self.all[self.MIXED] += w * (coming.all[self.MIXED] - self.all[self.MIXED])
        self.unmarked += coming.unmarked
        self.number += coming.number


_NOBODY = 1e-9
"""A number of crickets too small to divide by."""


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


_SLOW_SHARE = 1.0 / 90.0
"""A day in which nymphs hardly develop costs as much as 1/90 of the loss from day 14 to adult (judgement)."""


def advance(c: Cohorts, passed: Floats, surface_cm2: Floats, warmer_c: Floats, bio: Biology) -> None:
    """Let time pass for cohorts.

    passed: shape (clocks, lots, 1); surface_cm2: (lots, 1); warmer_c: how much warmer it was than thought, of shape
    (lots, draws). Each loss is worked out for the lots of which some draw can have it.
    """
    before = c.x
    moved = passed[NYMPH] * np.exp(c.log_speed + NYMPH_SENSITIVITY * warmer_c)
    after = before + moved
    least, most = before.min(axis=1), after.max(axis=1)
    loss = np.zeros_like(moved)

    young = _where(least < bio.day14)
    loss[young] = c.early[young] * (_early_part(after[young], bio) - _early_part(before[young], bio))

    idle = passed[IDLE]
    growing = _where((least < 1.0) & ((most > bio.day14) | (idle[:, 0] > 0)))
    nymphs = before[growing] < 1.0
    late = (_late_part(after[growing], bio) - _late_part(before[growing], bio)) + nymphs * (_SLOW_SHARE * idle[growing])
    crowding = loss_by_crowding(c.number[growing] / surface_cm2[growing], bio.species.density_survival)
    loss[growing] += (c.late[growing] + crowding) * late

    old = _where(most > 1.0)
    grown = _share_grown(before[old], after[old], moved[old])
    age_after = c.adult_days[old] + grown * passed[ADULT][old]
    loss[old] += adult_loss(c.adult_days[old], age_after, c.log_longevity[old], bio)
    c.adult_days[old] = age_after

    left = c.number * np.exp(-loss)
    c.unmarked += c.number - left
    c.number = left
    nymph = _where(least < 1.0)
    nymphs = before[nymph] < 1.0
    c.clock[nymph] += nymphs * passed[NYMPH][nymph]
    c.warmth[nymph] += nymphs * passed[WARMTH][nymph]
    c.x = after


def _where(true: NDArray[np.bool_]) -> Rows:
    """The rows of which something is true; all of them without making a copy."""
    return slice(None) if true.all() else np.flatnonzero(true)


def _early_part(x: Floats, bio: Biology) -> Floats:
    """How much of the loss over the first fortnight lies behind at developed share x."""
    return np.asarray(np.clip(x / bio.day14, 0.0, 1.0) ** bio.early_shape)


def _late_part(x: Floats, bio: Biology) -> Floats:
    """How much of the loss from day 14 to adult lies behind at developed share x."""
    return np.asarray(np.clip((x - bio.day14) / (1.0 - bio.day14), 0.0, 1.0))


def loss_by_crowding(per_cm2: Floats, factor: Curve) -> Floats:
    """-log of the factor by which crowding cuts survival: straight lines in the density, the last one going on.

    The same as -log(density_survival_factor), without going through the factor itself.
    """
    points, logs = factor.at, [-log(v) for v in factor.value]
    loss = np.full_like(per_cm2, logs[0])
    for k in range(len(points) - 1):
        slope = (logs[k + 1] - logs[k]) / (points[k + 1] - points[k])
        along = points[k + 1] - points[k] if k < len(points) - 2 else None
        loss += slope * np.clip(per_cm2 - points[k], 0.0, along)
    return loss


def _share_grown(before: Floats, after: Floats, moved: Floats) -> Floats:
    """The share of a time that crickets were adults; all or none of it where development stood still."""
    still = moved <= 0
    grown = np.clip((after - 1.0) / np.maximum(moved, 1e-12), 0.0, 1.0)
    if still.any():
        grown[still] = before[still] >= 1.0
    return np.asarray(grown)


def adult_loss(before_days: Floats, after_days: Floats, log_longevity: Floats, bio: Biology) -> Floats:
    """-log survival of adults between two ages [days at 30 degC]: Weibull with the mean life given."""
    k = bio.longevity_shape
    scale = gamma(1 + 1 / k) * np.exp(-log_longevity)
    return np.asarray((after_days * scale) ** k - (before_days * scale) ** k)


def mass_of(c: Cohorts, log_hatchling_mg: Floats, bio: Biology) -> tuple[Floats, Floats]:
    """Mean and variance of log body mass [mg] of cohorts; warmer nymphs make smaller adults, within the cap."""
    warmer = c.warmth / np.maximum(c.clock, 0.05)
    effect = np.clip(-bio.size_slope * warmer, log(1 - bio.size_cap), -log(1 - bio.size_cap))
    return log_mass(bio.curve, c.x, c.x_variance, log_hatchling_mg, c.log_adult_mg + effect)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clutches:
    """What a set of unknowns says of clutches; arrays of shape (clutches, draws)."""

    log_speed: Floats
    eggs: Floats
    pinheads: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """What laid each clutch: females [number] and their adult age [days at 30 degC], NaN unknown, shape (clutches,)."""

    females: Floats
    age_days: Floats
    warmth_factor: Floats

    def some(self, clutches: Ints) -> Laid:
        """That of some clutches."""
        return Laid(**{f.name: getattr(self, f.name)[clutches] for f in fields(self)})


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


LEAST_LAYING = 0.05
"""Laying at any age is at least so much of the peak (judgement): how old breeders are is itself a reckoning."""

SUPPOSED_AGE = 12.0
"""Where no breeders' age is known they are taken to lay as published at so many days as adults (judgement)."""


def laying_at(age_days: Floats, farm: FarmLevel, species: Species) -> Floats:
    """Laying of breeders of mean ages (lots,) relative to the peak, by the farm's own course, shape (lots, draws).

    Where nobody knows any age (NaN) it is the published one: such trays tell nothing of ages.
    """
    known = ~np.isnan(age_days)
    published = species.pre_oviposition_days.value, species.laying_decline_per_day.value
    out = np.full((len(age_days), len(farm.first_eggs_day)), float(laying_of_lot(SUPPOSED_AGE, *published, species)))
    own = laying_of_lot(age_days[known, None], farm.first_eggs_day, farm.laying_decline, species)
    out[known] = np.maximum(own, LEAST_LAYING)
    return out


def clutches_of(
    z: Floats, farm: FarmLevel, latents: Latents, arrays: ClutchArrays, laid: Laid, bio: Biology, *, only: Ints
) -> Clutches:
    """Speed, eggs and pinheads of the clutches `only` under unknowns `z` of shape (latents, draws); 0 for others."""
    own = latents.clutch_sd[:, only, None] * z[latents.clutch[:, only]]
    warmer = EGG_SENSITIVITY * arrays.in_room[only] @ farm.room_c
    area_cm2, tray_type = arrays.area_cm2[only, None], arrays.tray_type[only]
    females = (laid.females[only] * laid.warmth_factor[only])[:, None] / area_cm2
    per_cm2 = eggs_per_cm2_in_tray(
        females * laying_at(laid.age_days[only], farm, bio.species) * farm.eggs_per_female_day,
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
    z: NDArray[Any],
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
    """Tell every lot's story under unknowns `z` of shape (latents, draws), in the precision that they have.

    `only` marks the lots to follow (their parents must be among them); besides the clutches that are to join them,
    those of `clutches` are told, all others being left at 0. Without `watch` nothing is predicted on the way.
    """
    if only is None:
        shown = np.arange(len(schedule.lot)) if watch else None
        return tell(z, latents, schedule, arrays, laid, bio, shown=shown)
    part = Part.of(latents, schedule, arrays, lots=only, clutches=clutches)
    own = tell(z[part.unknowns], part.latents, part.schedule, part.arrays, laid.some(part.clutches), bio, shown=None)
    draws = z.shape[1]
    lots = Cohorts.none(len(only), draws, own.lots.all.dtype)
    lots.put(part.lots, own.lots)

    def among_all(some: Floats) -> Floats:
        every = np.zeros((len(arrays.lot), draws))
        every[part.clutches] = some
        return every

    told = {f.name: among_all(getattr(own.clutches, f.name)) for f in fields(Clutches)}
    return replace(own, lots=lots, clutches=Clutches(**told))


def tell(
    z: NDArray[Any],
    latents: Latents,
    schedule: Schedule,
    arrays: ClutchArrays,
    laid: Laid,
    bio: Biology,
    *,
    shown: Ints | None,
) -> Told:
    """The same of all lots there are.

    shown: where the prediction of each happening goes, shape (happenings,), -1 for none that is wanted.
    """
    draws, dtype = z.shape[1], z.dtype
    farm = farm_level(z, latents, bio.species)
    lots = Cohorts.none(latents.lot.shape[1], draws, dtype)
    shape = (0 if shown is None else int(shown.max(initial=-1)) + 1, draws)
    told = Told(
        lots=lots,
        clutches=clutches_of(z, farm, latents, arrays, laid, bio, only=np.arange(len(arrays.lot))),
        farm=farm,
        log_number=np.zeros(shape, dtype),
        log_mg=np.zeros(shape, dtype),
        log_variance=np.zeros(shape, dtype),
        adult_days=np.zeros(shape, dtype),
    )
    passed, surface_cm2 = schedule.passed[:, :, None].astype(dtype), schedule.surface_cm2[:, None].astype(dtype)
    warmer_c = farm.room_c.astype(dtype)
    left: dict[int, Cohorts] = {}
    for wave in schedule.waves:
        rows, at = wave.rows, schedule.lot[wave.rows]
        c = lots.take(at)
        advance(c, passed[:, rows], surface_cm2[rows], warmer_c[schedule.room[rows]], bio)
        if shown is not None:
            _watch(wave, shown[rows], c, schedule, told, bio)
        for kind, which in wave.kinds:
            if kind in _CHANGING:
                part = c.take(which)
                _happen(kind, wave.first + which, part, z, latents, schedule, arrays, told, bio, left)
                c.put(which, part)
        if any(kind in _COMING for kind, _ in wave.kinds):
            lots.put(at, c)
        else:
            lots.put_moved(at, c)
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


_COMING = (Kind.STOCK, Kind.ARRIVE, Kind.IN, Kind.MIX)


def _watch(wave: Wave, shown: Ints, c: Cohorts, schedule: Schedule, told: Told, bio: Biology) -> None:
    """Note what counts, weighings, harvests and layings of a wave should show."""
    seen = np.concatenate([np.zeros(0, dtype=np.int64), *(at for kind, at in wave.kinds if kind in _WATCHED)])
    seen = seen[shown[seen] >= 0]
    if not seen.size:
        return
    part, row = c.take(seen), shown[seen]
    hatched = schedule.hatched[wave.first + seen, None].astype(part.number.dtype)
    mean, variance = mass_of(part, told.farm.log_hatchling_mg, bio)
    told.log_number[row] = np.log(np.maximum(part.number * hatched, 0.5))
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
    left: dict[int, Cohorts],
) -> None:
    """Do what happenings of one kind do to their cohorts."""
    if kind == Kind.ARRIVE:
        c.add(_arrived(rows, z, latents, schedule, arrays, told, bio))
    elif kind in (Kind.IN, Kind.MIX):
        came = [left[int(row)].all for row in schedule.source[rows]]
        c.add(Cohorts.within(np.concatenate(came, axis=1)))
    elif kind == Kind.GONE:
        _leave(c.take(np.arange(len(rows))), rows, left)
    elif kind == Kind.DEATHS:
        found = schedule.quantity[rows, None].astype(z.dtype)
        c.number = _less(c.number, np.maximum(found - c.unmarked, 0.0))
        c.unmarked[...] = 0.0
    else:
        q = _miscounted(rows, z, latents, schedule)
        if kind == Kind.STOCK:
            c.add(_stocked(rows, q, z, latents, schedule, told.farm))
        elif kind == Kind.TAKE_KG:
            c.number = _less(c.number, q * 1e6 / mean_mass_mg(*mass_of(c, told.farm.log_hatchling_mg, bio)))
        elif kind == Kind.TAKE:
            c.number = _less(c.number, q)
        elif kind == Kind.OUT:
            _leave(_split(c, q), rows, left)


def _miscounted(rows: Ints, z: Floats, latents: Latents, schedule: Schedule) -> Floats:
    """The true numbers put in, split off or taken: what was written, and how far off that may be."""
    slot = latents.happening[rows]
    log_sd = np.where(slot >= 0, schedule.log_sd[rows], 0.0)[:, None].astype(z.dtype)
    return np.asarray(schedule.quantity[rows, None].astype(z.dtype) * np.exp(log_sd * z[slot]))


def _leave(going: Cohorts, rows: Ints, left: dict[int, Cohorts]) -> None:
    """Keep what leaves lots for those that it will join."""
    left.update((row, Cohorts.within(going.all[:, k : k + 1])) for k, row in enumerate(rows.tolist()))


def _split(c: Cohorts, q: Floats) -> Cohorts:
    """Take the `q` that are split off out of cohorts, and return them."""
    staying = _less(c.number, q)
    going = c.take(np.arange(len(c.number)))
    going.number = c.number - staying
    going.unmarked[...] = 0.0
    c.number = staying
    return going


def _less(number: Floats, going: Floats) -> Floats:
    """What stays when some leave: the difference while well above nothing, then a smooth tail (SURE_SHARE)."""
    part = going / np.maximum(number, _NOBODY)
    stays, far = 1 - part, part > SURE_SHARE
    if far.any():
        rest = 1 - SURE_SHARE
        stays[far] = rest * np.exp(-np.minimum(part[far] - SURE_SHARE, 50.0 * rest) / rest)
    return np.asarray(number * stays)


def own_of(lot: Ints, z: Floats, latents: Latents, farm: FarmLevel) -> Floats:
    """What lots have of their own: log speed, early and late loss, log adult mass, shape (4, lots, draws)."""
    slot, dtype = latents.lot[:, lot], z.dtype
    own = np.where(slot >= 0, latents.lot_sd[:, lot], 0.0)[:, :, None].astype(dtype) * z[slot]
    own[0] += farm.nymph_log_speed
    own[1] = log_loss(farm.early_logit.astype(dtype), own[1])
    own[2] = log_loss(farm.late_logit.astype(dtype), own[2])
    own[3] += farm.log_adult_mg
    return own


def _new(lot: Ints, z: Floats, latents: Latents, farm: FarmLevel, number: Floats) -> Cohorts:
    """New crickets of lots, with each lot's own pace, losses and size."""
    new = Cohorts.none(len(lot), z.shape[1], z.dtype)
    new.number = number
    new.log_speed, new.early, new.late, new.log_adult_mg = own_of(lot, z, latents, farm)
    new.log_longevity[...] = farm.log_longevity_days
    return new


def _stocked(rows: Ints, q: Floats, z: Floats, latents: Latents, schedule: Schedule, farm: FarmLevel) -> Cohorts:
    new = _new(schedule.lot[rows], z, latents, farm, q)
    new.x[...] = schedule.x[rows, None]
    new.adult_days[...] = schedule.adult_days[rows, None]
    new.clock[...] = np.minimum(schedule.x[rows, None], 1.0)
    return new


def _arrived(
    rows: Ints, z: Floats, latents: Latents, schedule: Schedule, arrays: ClutchArrays, told: Told, bio: Biology
) -> Cohorts:
    """Pinheads of clutches: how far along they are follows from how fast their eggs were."""
    k = schedule.other[rows]
    new = _new(schedule.lot[rows], z, latents, told.farm, told.clutches.pinheads[k])
    speed = np.exp(told.clutches.log_speed[k])
    window = arrays.window[k, None]
    middle = 1.0 / speed + window / 2
    ratio = arrays.nymph_per_egg[k, None] * np.exp(new.log_speed)
    new.x = -(middle - arrays.reference_reading[k, None]) * ratio
    new.x_variance = (window**2 / 12 + bio.species.egg_cv.value**2 / speed**2) * ratio**2
    return new
