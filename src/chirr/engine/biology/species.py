"""The table of biology: every constant with its range, unit, source and mark, by species.

Interface: `species(name)`, `SPECIES`, and the shapes `Species`, `Constant`, `Curve`.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from typing import Any, Literal, get_args

from chirr.engine.errors import EngineError, UnknownSpecies

Mark = Literal["published", "derived", "common practice", "judgement", "from memory"]
MARKS: tuple[Mark, ...] = get_args(Mark)

SPECIES: tuple[str, ...] = ("acheta-domesticus", "gryllodes-sigillatus", "gryllus-bimaculatus")
"""The species of the table, by the key that farm records use."""

_Z90 = 1.645
"""Half-width of a 90 % range in standard deviations of a normal distribution."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Constant:
    """One number of biology with its 90 % range [low, high], unit, source and mark."""

    value: float
    low: float
    high: float
    unit: str
    source: str
    mark: Mark

    def __post_init__(self) -> None:
        if not self.low <= self.value <= self.high:
            raise EngineError(f"The value {self.value:g} lies outside its own range {self.low:g} to {self.high:g}.")
        if self.mark not in MARKS or not self.source:
            raise EngineError(f"A constant needs a source and one of the marks {', '.join(MARKS)}.")

    @property
    def sd(self) -> float:
        """Standard deviation that the 90 % range implies on the plain scale, in `unit`."""
        return (self.high - self.low) / (2 * _Z90)

    @property
    def log_sd(self) -> float:
        """Standard deviation of the natural logarithm that the 90 % range implies; needs low > 0.

        Examples
        --------
        >>> round(species("acheta-domesticus").egg_degree_days.log_sd, 4)
        0.0714
        """
        if self.low <= 0:
            raise EngineError(
                f"A range that starts at {self.low:g} has no logarithm; use the plain standard deviation."
            )
        return (math.log(self.high) - math.log(self.low)) / (2 * _Z90)

    @property
    def logit_sd(self) -> float:
        """Standard deviation of the log-odds that the 90 % range implies; needs 0 < low and high < 1.

        Examples
        --------
        >>> round(species("acheta-domesticus").hatch_share.logit_sd, 4)
        0.6814
        """
        if not (self.low > 0 and self.high < 1):
            raise EngineError(
                f"A range from {self.low:g} to {self.high:g} has no log-odds; it must lie within 0 and 1."
            )
        return (math.log(self.high / (1 - self.high)) - math.log(self.low / (1 - self.low))) / (2 * _Z90)


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A constant that depends on another number: `value`, `low` and `high` stand at the points `at` (increasing)."""

    at: tuple[float, ...]
    value: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    at_unit: str
    unit: str
    source: str
    mark: Mark

    def __post_init__(self) -> None:
        if not len(self.at) == len(self.value) == len(self.low) == len(self.high) or list(self.at) != sorted(self.at):
            raise EngineError("A curve needs one value, low and high at each of its increasing points.")
        for value, low, high in zip(self.value, self.low, self.high, strict=True):
            Constant(value=value, low=low, high=high, unit=self.unit, source=self.source, mark=self.mark)


@dataclass(frozen=True, slots=True, kw_only=True)
class Species:
    """One species' constants. Names carry the unit; `Constant.unit`, `source` and `mark` say the rest.

    Examples
    --------
    >>> house = species("acheta-domesticus")
    >>> house.egg_degree_days.value, house.egg_degree_days.unit, house.egg_degree_days.mark
    (190.0, 'degree-days', 'derived')
    """

    key: str
    latin_name: str
    trade_name: str
    # eggs
    egg_threshold_c: Constant
    egg_degree_days: Constant
    egg_flat_from_c: Constant
    egg_fall_from_c: Constant
    egg_stop_c: Constant
    egg_cv: Constant
    hatch_share: Constant
    # nymphs: the clock
    nymph_threshold_c: Constant
    nymph_degree_days: Constant
    nymph_flat_from_c: Constant
    nymph_fall_from_c: Constant
    nymph_stop_c: Constant
    briere_a: Constant | None = None
    briere_t0_c: Constant | None = None
    briere_tm_c: Constant | None = None
    creep_per_day: Constant | None = None
    creep_from_c: Constant | None = None
    creep_to_c: Constant | None = None
    nymph_cv: Constant
    male_slower_share: Constant
    nymph_instars: Constant
    instar_shares: Curve
    # survival
    survival_to_day14: Constant
    survival_day14_to_adult: Constant
    early_loss_shape: Constant
    density_survival: Curve
    density_mass: Curve
    density_knee_per_cm2: Constant
    adult_longevity_days: Constant
    longevity_slope_per_c: Constant
    longevity_shape: Constant
    female_share: Constant
    # laying
    pre_oviposition_days: Constant
    eggs_per_female_day_peak: Constant
    laying_ramp_days: Constant
    laying_plateau_days: Constant
    laying_decline_per_day: Constant
    laying_fade_from_day: Constant
    laying_end_day: Constant
    laying_spread_days: Constant
    laying_at_temperature: Curve
    lifetime_eggs: Constant
    farm_recovery_share: Constant
    night_laying_share: Constant
    tray_capacity_eggs_per_cm2: Constant
    egg_eating_per_day2: Constant
    cold_night_c: Constant
    cold_recovery_days: Constant
    cold_laying_floor: Constant
    medium_peat_share: Constant
    medium_vermiculite_share: Constant
    medium_coir_share: Constant
    medium_burnt_husk_share: Constant
    laying_moisture_best_pct: Constant
    laying_moisture_width_pct: Constant
    # growth
    hatchling_mg: Constant
    adult_mass_mg: Constant
    female_to_male_mass: Constant
    mass_cv: Constant
    female_mass_cv: Constant | None = None
    male_mass_cv: Constant | None = None
    growth_exponent: Constant
    size_slope_per_c: Constant
    size_reference_c: Constant
    size_effect_cap: Constant
    length_mass: Curve
    length_mass_mg_at_1mm: Constant
    length_mass_exponent: Constant
    # feed, products, air
    feed_conversion: Constant
    feed_conversion_floor: Constant
    dry_matter_share: Constant
    powder_share: Constant
    dry_frass_kg_per_kg: Constant
    drinking_water_kg_per_kg: Constant
    heat_w_per_kg: Constant
    co2_g_per_kg_day: Constant
    water_vapour_g_per_kg_h: Constant
    q10_metabolism: Constant
    egg_set_point_c: Constant
    nymph_set_point_c: Constant

    def constants(self) -> dict[str, Constant]:
        """Every single-number constant by name."""
        found = {field.name: getattr(self, field.name) for field in fields(self)}
        return {name: value for name, value in found.items() if isinstance(value, Constant)}

    def curves(self) -> dict[str, Curve]:
        """Every curve by name."""
        found = {field.name: getattr(self, field.name) for field in fields(self)}
        return {name: value for name, value in found.items() if isinstance(value, Curve)}


@cache
def species(name: str) -> Species:
    """The constants of one species, by its key in farm records (such as "acheta-domesticus").

    Raises
    ------
    UnknownSpecies
        If the table has no such species, naming those that it has.

    Examples
    --------
    >>> species("gryllus-bimaculatus").latin_name
    'Gryllus bimaculatus'
    >>> species("grillus")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    chirr.engine.errors.UnknownSpecies: 'grillus' is not a species that Chirr knows. Use one of: ...
    """
    if name not in SPECIES:
        raise UnknownSpecies(name, SPECIES)
    table = tomllib.loads(files("chirr.engine.biology").joinpath("species.toml").read_text(encoding="utf-8"))
    raw_entries = table["every-species"] | table[name]
    entries: dict[str, Any] = {field: _entry(name, field, raw) for field, raw in raw_entries.items()}
    return Species(key=name, **entries)


def _entry(name: str, field: str, raw: Any) -> Any:
    """One line of the table as the shape that it describes."""
    if isinstance(raw, str):
        return raw
    try:
        if isinstance(raw["value"], list):
            lists: dict[str, Any] = {k: tuple(map(float, v)) if isinstance(v, list) else v for k, v in raw.items()}
            return Curve(**lists)
        numbers: dict[str, Any] = {k: float(v) if k in {"value", "low", "high"} else v for k, v in raw.items()}
        return Constant(**numbers)
    except (EngineError, KeyError, TypeError) as error:
        raise EngineError(f"The table of biology, {name}, {field}: {error}") from error
