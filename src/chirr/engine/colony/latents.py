"""What is not known, written as standard normal numbers: the farm's own level, each clutch, each lot, each count.

Published values are the prior means and their 90 % ranges the prior spreads. Numbers multiply, so their logarithms
add: a lot's speed is the farm's times its own. Shares live on the log-odds scale.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit

from chirr.engine.biology.species import Species
from chirr.engine.colony.families import Families, make_families
from chirr.engine.colony.history import FarmHistory, Kind
from chirr.engine.colony.schedule import Schedule

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FARM = (
    "egg_speed",
    "nymph_speed",
    "eggs",
    "capacity",
    "hatch",
    "early",
    "late",
    "adult_mass",
    "hatchling_mass",
    "longevity",
    "later_use",
    "eggs_seen",
    "pinheads_seen",
    "crickets_seen",
    "eating",
    "first_eggs",
    "laying_decline",
)
"""What the farm has of its own, in the order of the latent numbers."""

LATER_USE = (-0.1, 0.3)
"""Change of the log-odds of hatch with each further use of the substrate, mean and sd: most say single use is best;
no figure (judgement)."""

SEEN_SD = 0.12
"""How far a way of counting may be off for good on a farm, on the log scale (judgement)."""

MOST_DECLINE = 0.5
"""Laying never falls by more than this share from one day to the next (judgement)."""

STRAIN_SD = 0.06
"""Speed of a farm's strain against the published clock, beyond the range of the published constants (judgement)."""

CLUTCH = ("speed", "eggs", "hatch")
CLUTCH_SD = (0.02, 0.40, 0.2)
LOT = ("speed", "early", "late", "adult_mass")
LOT_SD = (0.05, 0.15, 0.12, 0.08)
TRAY_TYPE_SD = 0.35
"""Spreads between clutches, lots and tray types of one farm, all of logarithms, until its own facts show what they are:
judgement, no published source. A clutch or lot differs from its farm by a factor on its share, not by odds: one unit
then moves the outcome equally at every level, so the best fit is not drawn to levels where odds do more."""

SUBSTRATE_SD = 0.25
"""Spread of the log of the share that hatches between batches of substrate (judgement): mould, salt, too wet a mix."""

UNMEASURED_C, MEASURED_C = 1.2, 0.4
"""How far a room may lie from its set point, or from what its thermometers say [degC, sd] (judgement)."""

AT_THE_BIN_C = 0.2
"""How far a bin may lie from the rest of its level [degC, sd] (judgement)."""

EGG_SENSITIVITY, NYMPH_SENSITIVITY = 0.067, 0.11
"""Change of the log of development rate with 1 degC near 30 degC, from the species table's clocks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Latents:
    """Where each unknown sits in the vector of standard normal numbers. Index arrays hold -1 where there is none.

    clutch: shape (3, clutches) in the order of CLUTCH; lot: shape (4, lots) in that of LOT; happening: shape
    (happenings,), the error of a counted number that changed the lot. clutch_sd and lot_sd are the spreads of each.
    """

    size: int
    tray_type: Ints
    substrate: Ints
    room: Ints
    room_sd_c: Floats
    clutch: Ints
    clutch_sd: Floats
    lot: Ints
    lot_sd: Floats
    happening: Ints
    families: Families


def make_latents(history: FarmHistory, schedule: Schedule) -> Latents:
    """Number every unknown of a farm and sort the local ones."""
    tray_type = len(FARM) + np.arange(history.tray_types)
    room = len(FARM) + history.tray_types + np.arange(len(history.measured_rooms))
    substrate = len(FARM) + history.tray_types + len(room) + np.arange(len(history.substrates))
    farm = size = len(FARM) + history.tray_types + len(room) + len(substrate)
    clutch = size + np.arange(3 * len(history.clutches)).reshape(len(history.clutches), 3).T
    size += clutch.size
    origin = np.zeros(len(history.lots), dtype=bool)
    born = np.isin(schedule.kind, (Kind.STOCK, Kind.ARRIVE))
    origin[schedule.lot[born]] = True
    lot = np.full((4, len(history.lots)), -1, dtype=np.int64)
    lot[:, origin] = size + np.arange(4 * int(origin.sum())).reshape(int(origin.sum()), 4).T
    size += 4 * int(origin.sum())
    happening = np.full(len(schedule.lot), -1, dtype=np.int64)
    changed = np.flatnonzero(
        np.isin(schedule.kind, (Kind.STOCK, Kind.OUT, Kind.TAKE, Kind.TAKE_KG)) & (schedule.log_sd > 0)
    )
    happening[changed] = size + np.arange(len(changed))
    size += len(changed)
    return Latents(
        size=size,
        tray_type=tray_type,
        substrate=substrate,
        room=room,
        room_sd_c=np.where(history.measured_rooms, MEASURED_C, UNMEASURED_C),
        clutch=clutch,
        lot=lot,
        happening=happening,
        clutch_sd=np.repeat(prior_spreads()[0][:, None], len(history.clutches), axis=1),
        lot_sd=np.repeat(prior_spreads()[1][:, None], len(history.lots), axis=1),
        families=make_families(schedule, clutch, lot, happening, size, farm),
    )


def prior_spreads() -> tuple[Floats, Floats]:
    """Spreads between clutches (3,) and lots (4,) before any facts; that of speed holds the bin's place as well."""
    clutch, lot = np.array(CLUTCH_SD), np.array(LOT_SD)
    clutch[0] = np.hypot(clutch[0], EGG_SENSITIVITY * AT_THE_BIN_C)
    lot[0] = np.hypot(lot[0], NYMPH_SENSITIVITY * AT_THE_BIN_C)
    return clutch, lot


def rescaled(latents: Latents, clutch: Floats, lot: Floats) -> Latents:
    """The same unknowns with other spreads: factors of shape (3,) and (4,) on those of clutches and lots."""
    return replace(latents, clutch_sd=latents.clutch_sd * clutch[:, None], lot_sd=latents.lot_sd * lot[:, None])


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmLevel:
    """The farm's own values for each draw; arrays of shape (draws,), `tray_type` of shape (tray types, draws).

    substrate: log of what each batch of substrate does to the share that hatches, shape (batches, draws).

    first_eggs_day, laying_decline: adult age at the first eggs, and the share lost from day to day after the peak.

    room_c: how much warmer each room is than it is thought to be [degC], shape (rooms, draws). seen: log bias of
    counts of eggs, pinheads and crickets, shape (3, draws).
    """

    egg_log_speed: Floats
    nymph_log_speed: Floats
    eggs_per_female_day: Floats
    capacity_per_cm2: Floats
    hatch_logit: Floats
    early_logit: Floats
    late_logit: Floats
    log_adult_mg: Floats
    log_hatchling_mg: Floats
    log_longevity_days: Floats
    later_use_logit: Floats
    seen: Floats
    eating_per_day2: Floats
    first_eggs_day: Floats
    laying_decline: Floats
    tray_type: Floats
    substrate: Floats
    room_c: Floats


def farm_prior(species: Species) -> tuple[Floats, Floats]:
    """Prior means and standard deviations of the farm's level on its working scales, shape (len(FARM),)."""
    s = species
    peak = s.eggs_per_female_day_peak
    recovered = s.farm_recovery_share
    mean = [
        0.0,
        0.0,
        np.log(peak.value * recovered.value),
        np.log(s.tray_capacity_eggs_per_cm2.value),
        logit(s.hatch_share.value),
        logit(s.survival_to_day14.value),
        logit(s.survival_day14_to_adult.value),
        np.log(s.adult_mass_mg.value),
        np.log(s.hatchling_mg.value),
        np.log(s.adult_longevity_days.value),
        LATER_USE[0],
        0.0,
        0.0,
        0.0,
        np.log(s.egg_eating_per_day2.value),
        s.pre_oviposition_days.value,
        s.laying_decline_per_day.value,
    ]
    sd = [
        np.hypot(s.egg_degree_days.log_sd, STRAIN_SD),
        np.hypot(s.nymph_degree_days.log_sd, STRAIN_SD),
        np.hypot(peak.log_sd, recovered.log_sd),
        s.tray_capacity_eggs_per_cm2.log_sd,
        s.hatch_share.logit_sd,
        s.survival_to_day14.logit_sd,
        s.survival_day14_to_adult.logit_sd,
        s.adult_mass_mg.log_sd,
        s.hatchling_mg.log_sd,
        s.adult_longevity_days.log_sd,
        LATER_USE[1],
        SEEN_SD,
        SEEN_SD,
        SEEN_SD,
        s.egg_eating_per_day2.log_sd,
        s.pre_oviposition_days.sd,
        s.laying_decline_per_day.sd,
    ]
    return np.asarray(mean, dtype=np.float64), np.asarray(sd, dtype=np.float64)


def farm_level(z: Floats, latents: Latents, species: Species) -> FarmLevel:
    """The farm's values from standard normal numbers `z` of shape (latents, draws)."""
    mean, sd = farm_prior(species)
    v = mean[:, None] + sd[:, None] * z[: len(FARM)]
    return FarmLevel(
        egg_log_speed=v[0],
        nymph_log_speed=v[1],
        eggs_per_female_day=np.exp(v[2]),
        capacity_per_cm2=np.exp(v[3]),
        hatch_logit=v[4],
        early_logit=v[5],
        late_logit=v[6],
        log_adult_mg=v[7],
        log_hatchling_mg=v[8],
        log_longevity_days=v[9],
        later_use_logit=v[10],
        seen=v[11:14],
        eating_per_day2=np.exp(v[14]),
        first_eggs_day=np.maximum(v[15], 0.0),
        laying_decline=np.clip(v[16], 0.0, MOST_DECLINE),
        tray_type=TRAY_TYPE_SD * z[latents.tray_type],
        substrate=SUBSTRATE_SD * z[latents.substrate],
        room_c=latents.room_sd_c[:, None] * z[latents.room],
    )


def log_loss(log_odds: Floats, better: Floats) -> Floats:
    """-log of a share: the farm's, from its log-odds, made better by a factor whose log is given; never below 0."""
    sharp = 20.0
    above = sharp * (-np.log(expit(log_odds)) - better)
    return np.asarray((np.maximum(above, 0.0) + np.log1p(np.exp(-np.abs(above)))) / sharp)
