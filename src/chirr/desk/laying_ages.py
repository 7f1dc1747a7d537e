"""At which ages the farm's breeders begin to lay and have come down to half of their peak, and how that is known."""

from __future__ import annotations

import msgspec
import numpy as np

from chirr.desk.belief import Foresight, band
from chirr.desk.shapes import Band
from chirr.desk.spoken import say
from chirr.engine.biology.species import Constant
from chirr.engine.colony.ahead import quantiles
from chirr.engine.planning.breeders import Ages, half_of_peak_day

LEARNT_BELOW = 0.5
"""An age counts as learnt once the book has narrowed it to this share of the published spread (judgement)."""


class LayingAges(msgspec.Struct, frozen=True, kw_only=True):
    """Days since the adult moult at 30 degC, deaths left out; `learnt` is whether the farm's trays narrowed it."""

    first_eggs: Band
    first_eggs_learnt: bool
    half_of_peak: Band
    half_of_peak_learnt: bool
    says: tuple[str, ...]


def laying_ages(f: Foresight) -> LayingAges:
    """The farm's ages of laying as believed, with a sentence for each."""
    animal, farm = f.belief.bio.species, f.farm_level
    ages = Ages.of(farm, animal)
    first, half = band(quantiles(ages.first_day)), band(quantiles(half_of_peak_day(ages)))
    begun = _narrowed(ages.first_day, animal.pre_oviposition_days)
    run = _narrowed(ages.decline, animal.laying_decline_per_day)
    first_days = {"mid": first.mid, "low": first.low, "high": first.high}
    half_days = {"mid": half.mid, "low": half.low, "high": half.high}
    return LayingAges(
        first_eggs=first, first_eggs_learnt=begun, half_of_peak=half, half_of_peak_learnt=run,
        says=(
            say(
                "First eggs {mid:.0f} days after the adult moult at 30 °C (8 chances in 10 between {low:.0f} and"
                " {high:.0f}): learnt from the trays counted here.",
                **first_days,
            )
            if begun
            else say(
                "First eggs {mid:.0f} days after the adult moult at 30 °C (8 chances in 10 between {low:.0f} and"
                " {high:.0f}): a range from the table of values, until trays of just grown breeders are counted here.",
                **first_days,
            ),
            say(
                "Laying is down to half of its peak {mid:.0f} days after the moult ({low:.0f} to {high:.0f}): learnt"
                " from trays of younger and older breeders counted here.",
                **half_days,
            )
            if run
            else say(
                "Laying is down to half of its peak {mid:.0f} days after the moult ({low:.0f} to {high:.0f}): a"
                " range from the table of values, until trays of younger and older breeders are counted here.",
                **half_days,
            ),
        ),
    )  # fmt: skip


def _narrowed(draws: np.ndarray, published: Constant) -> bool:
    return bool(draws.std() < LEARNT_BELOW * published.sd)
