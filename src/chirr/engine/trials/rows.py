"""Outcomes from a farm's book judged: bins and dates as random effects, with what else differed adjusted for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from chirr.engine.errors import EngineError
from chirr.engine.trials.doubts import doubts
from chirr.engine.trials.estimates import TooFew
from chirr.engine.trials.mixed import fit_mixed
from chirr.engine.trials.pair import PairResult, Rule, Side, conclude, judge_pair
from chirr.says import said, said_n

Floats = NDArray[np.float64]
MOST = 600
"""Only so many of the latest units are judged: the model's work grows with their cube."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Units:
    """Outcomes in the order of the record; arrays of shape (units,).

    cv: relative error of each measurement, 0 where it is not known. covariates: name -> numbers, nan where not known.
    """

    value: Floats
    way: NDArray[np.str_]
    bin: NDArray[np.str_]
    date: NDArray[np.str_]
    cv: Floats
    covariates: Mapping[str, Floats] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How much single outcomes vary, on the log scale: between bins, and between clutches of one bin (counting too)."""

    bin_sd: float
    clutch_sd: float


def judge_units(units: Units, a: str, b: str, rule: Rule) -> PairResult:
    """Way `a` against way `b` of a farm's own record; noughts among the values send it to the count model."""
    keep = np.flatnonzero((units.way == a) | (units.way == b))
    dropped = max(len(keep) - MOST, 0)
    keep = keep[dropped:]
    out = PairResult(a=a, b=b, rule=rule)
    if dropped:
        out.remarks.append(said("The oldest {n:,} are left out; the latest {most:,} are judged.", n=dropped, most=MOST))
    value, is_a = units.value[keep], units.way[keep] == a
    try:
        _enough(value, is_a, units.bin[keep], a, b)
        if value.min() <= 0 and rule.ratio:
            return _by_bins(units, keep, is_a, a, b, rule)
        _mixed(out, units, keep, is_a)
    except (TooFew, EngineError) as nothing:
        out.why = nothing.args[0]
    return out


def _enough(value: Floats, is_a: NDArray[np.bool_], bin_: NDArray[np.str_], a: str, b: str) -> None:
    for name, here in ((a, is_a), (b, ~is_a)):
        if here.sum() < 2:
            raise TooFew(
                said_n(
                    "there is {n} of {way}: too few to judge by", "there are {n} of {way}: too few to judge by",
                    int(here.sum()), way=name,
                )
            )  # fmt: skip
    if not value.any():
        raise TooFew(said("every value is nought, so there is nothing to compare yet"))
    of_a, of_b = set(bin_[is_a].tolist()), set(bin_[~is_a].tolist())
    if not of_a & of_b and min(len(of_a), len(of_b)) < 2:
        raise TooFew(
            said(
                "{a} and {b} were never in the same bin, and one of them in a single bin only: a difference between"
                " them cannot be told from one between bins",
                a=a, b=b,
            )
        )  # fmt: skip


def _mixed(out: PairResult, units: Units, keep: NDArray[np.int64], is_a: NDArray[np.bool_]) -> None:
    rule = out.rule
    y = np.log(units.value[keep]) if rule.ratio else units.value[keep]
    x = np.column_stack([np.ones(len(keep)), is_a, *_covariates(out, units, keep, is_a)])
    groupings, said = [], []
    for name, labels in (("bins", units.bin[keep]), ("dates", units.date[keep])):
        n = len(set(labels.tolist()))
        if 2 <= n < len(keep):
            groupings.append(labels)
            said.append(name)
    known = np.log1p(units.cv[keep] ** 2) if rule.ratio else 0.0
    fit = fit_mixed(y, x, groupings, known_variance=known)
    row = np.zeros(x.shape[1])
    row[1] = 1.0
    out.method = f"mixed model with {' and '.join(said)} as random effects" if said else "two groups"
    out.method += ", on logs" if rule.ratio else ""
    conclude(out, fit.contrast(row))
    out.remarks += doubts(y - x @ fit.coef, np.where(is_a, 0, 1), (out.a, out.b), logs=rule.ratio)
    _confounded_dates(out, units.date[keep], is_a)


def _covariates(out: PairResult, units: Units, keep: NDArray[np.int64], is_a: NDArray[np.bool_]) -> list[Floats]:
    """Columns to adjust for, centred, the unknown at the mean; one that tells the ways apart by itself is left out."""
    columns = []
    base = np.column_stack([np.ones(len(keep)), is_a])
    for name, numbers in units.covariates.items():
        c = numbers[keep]
        known = np.isfinite(c)
        if known.sum() < 3 or np.ptp(c[known]) == 0:
            continue
        c = np.where(known, c - c[known].mean(), 0.0)
        trial = np.column_stack([base, c])
        if np.linalg.matrix_rank(trial) < trial.shape[1]:
            out.remarks.append(
                said("There is no adjusting for {what}, which goes hand in hand with the ways.", what=said(name))
            )
            continue
        base = trial
        columns.append(c)
    return columns


def _confounded_dates(out: PairResult, date: NDArray[np.str_], is_a: NDArray[np.bool_]) -> None:
    early = sorted(date[is_a].tolist()), sorted(date[~is_a].tolist())
    if early[0][-1] < early[1][0] or early[1][-1] < early[0][0]:
        out.remarks.append(
            said(
                "{a} and {b} were used at different times, one after the other: whatever else changed is mixed up with"
                " them.",
                a=out.a, b=out.b,
            )
        )  # fmt: skip


def _by_bins(units: Units, keep: NDArray[np.int64], is_a: NDArray[np.bool_], a: str, b: str, rule: Rule) -> PairResult:
    place = np.arange(len(keep))
    sides = [
        Side(name=n, values=units.value[keep][h], block=units.bin[keep][h], place=place[h])
        for n, h in ((a, is_a), (b, ~is_a))
    ]
    return judge_pair(sides[0], sides[1], rule)


def spread_of(value: Floats, bin_: NDArray[np.str_], kind: NDArray[np.str_]) -> Spread:
    """Spreads of logs between bins and between clutches within a bin, kinds (such as tray types) taken out."""
    levels = sorted(set(kind.tolist()))
    x = np.column_stack([np.ones(len(value)), *((kind == k).astype(np.float64) for k in levels[1:])])
    fit = fit_mixed(np.log(value), x, [bin_])
    return Spread(bin_sd=float(np.sqrt(fit.variances[0])), clutch_sd=float(np.sqrt(fit.variances[1])))
