"""One way against another: the model that fits the outcome, and all that it says of the pair."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from chirr.engine.errors import EngineError
from chirr.engine.trials import blocks as within
from chirr.engine.trials import ranks
from chirr.engine.trials.counts import fit_by_moments
from chirr.engine.trials.doubts import doubts
from chirr.engine.trials.estimates import (
    Equivalence,
    Estimate,
    Group,
    TooFew,
    chance_above,
    difference_p,
    equivalence,
    fieller,
    interval,
    paired,
    summary,
    unpaired,
)  # fmt: skip

Floats = NDArray[np.float64]
SMALL_COUNT = 20.0
"""Whole numbers with a mean below this, or with noughts, are judged by a count model instead of by their logs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """How a pair is judged. On the ratio scale `low` and `high` are ratios; None where no margin was given."""

    ratio: bool
    low: float | None
    high: float | None
    alpha: float = 0.05
    less_is_better: bool = False
    equal_spread: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """The values of one way, with the block of each (empty labels without blocks) and its place in the record."""

    name: str
    values: Floats
    block: NDArray[np.str_]
    place: NDArray[np.int64]


@dataclass(slots=True, kw_only=True)
class PairResult:
    """What is found of `a` against `b`. `effect` and `interval` are a ratio or a difference, as `rule.ratio` says.

    `estimate` is on the working scale; None where nothing can be concluded, and `why` says so.
    """

    a: str
    b: str
    rule: Rule
    method: str = ""
    estimate: Estimate | None = None
    effect: float | None = None
    interval: tuple[float, float] | None = None
    interval_two_sided: tuple[float, float] | None = None
    equivalence: Equivalence | None = None
    p: float | None = None
    chance_higher: float | None = None
    ranks: ranks.RankLook | None = None
    reshuffled_p: float | None = None
    fieller: tuple[float, float] | None = None
    why: str = ""
    remarks: list[str] = field(default_factory=list)


def judge_pair(
    a: Side, b: Side, rule: Rule, *, pairs: bool = False, beside: bool = True, rng: np.random.Generator | None = None
) -> PairResult:
    """Judge `a` against `b`; blocks are used where the labels are not empty, pairs where `pairs`.

    `beside`: with the look by ranks and the doubts, which take most of the time.
    """
    out = PairResult(a=a.name, b=b.name, rule=rule)
    try:
        _judge(out, a, b, pairs, (rng or np.random.default_rng(1)) if beside else None)
    except (TooFew, within.Confounded) as nothing:
        out.why = str(nothing)
    return out


def _judge(out: PairResult, a: Side, b: Side, pairs: bool, rng: np.random.Generator | None) -> None:
    if not (a.values.any() or b.values.any()):
        raise TooFew("Every value is nought, so there is nothing to compare yet.")
    if out.rule.ratio and (not a.values.any() or not b.values.any()):
        _one_side_nought(out, a, b)
        return
    if pairs:
        a, b = matched(out, a, b)
    elif a.block.any() and not np.intersect1d(a.block, b.block).size:
        a, b = _block_means(out, a, b)
    v = np.concatenate([a.values, b.values])
    counts = out.rule.ratio and _needs_count_model(a.values, b.values)
    work = (lambda x: x) if counts or not out.rule.ratio else np.log
    wa, wb = work(a.values), work(b.values)
    blocked = not pairs and bool(a.block.any())
    is_a = np.arange(len(v)) < len(a.values)
    block = np.concatenate([a.block, b.block])
    if counts:
        out.method = "count model with log link"
        e, left = _by_counts(v, is_a, block if pairs or blocked else None)
    elif pairs:
        out.method = "differences within pairs"
        e, left = paired(summary(wa - wb)), (wa - wb) - (wa - wb).mean()
    elif blocked:
        out.method = "differences within blocks"
        e = within.within_blocks(np.concatenate([wa, wb]), is_a, block)
        left = _left_over(np.concatenate([wa, wb]), is_a, block)
    else:
        out.method = "two groups" + (", one spread" if out.rule.equal_spread else ", each with its own spread")
        e = unpaired(summary(wa), summary(wb), equal_spread=out.rule.equal_spread)
        left = np.concatenate([wa - wa.mean(), wb - wb.mean()])
    if out.rule.ratio and not counts:
        out.method += ", on logs"
    conclude(out, e)
    if rng is None:
        return
    _beside(out, a, b, wa, wb, pairs=pairs, blocked=blocked, counts=counts, rng=rng)
    _doubt(out, a, b, left, is_a, pairs=pairs, logs=out.rule.ratio)


def _needs_count_model(a: Floats, b: Floats) -> bool:
    if a.min() < 0 or b.min() < 0:
        raise EngineError("A ratio needs values of nought or more, and some are below; judge the difference instead.")
    both = np.concatenate([a, b])
    whole = bool(np.all(both == np.round(both)))
    return bool(both.min() == 0 or (whole and min(a.mean(), b.mean()) < SMALL_COUNT))


def _by_counts(v: Floats, is_a: NDArray[np.bool_], block: NDArray[np.str_] | None) -> tuple[Estimate, Floats]:
    """Log ratio of means from the count model, with t on its residual degrees of freedom as its spread is estimated."""
    columns = [np.ones(len(v)), is_a.astype(np.float64)]
    keep = np.ones(len(v), dtype=bool)
    if block is not None:
        # a block of noughts only, or with one way only, says nothing of the ratio
        for label in np.unique(block):
            here = block == label
            keep[here] = v[here].any() and len(set(is_a[here].tolist())) == 2
        if not keep.any():
            raise within.Confounded("No block holds both ways, so their ratio cannot be told from one of blocks.")
    x = np.column_stack(columns)[keep]
    if block is not None:
        x = np.hstack([x, within.dummies(block[keep])])
    if x.shape[0] - x.shape[1] < 1:
        raise TooFew("There are too few values to find their spread from; more are needed.")
    fit = fit_by_moments(v[keep], x)
    scale = fit.pearson / fit.df  # 1 where alpha takes up the spread; below it where counts vary less than by chance
    if scale < 1e-12:
        raise TooFew("The values do not vary, so nothing can be said of their spread; measure more finely.")
    mu = np.exp(x @ fit.coef)
    others = np.delete(x, 1, axis=1)
    apart = x[:, 1] - others @ np.linalg.lstsq(others, x[:, 1], rcond=None)[0]
    size = float(apart @ apart)
    left = np.zeros(len(v))
    left[keep] = (v[keep] - mu) / np.sqrt(mu + fit.alpha * mu**2)
    return Estimate(value=float(fit.coef[1]), se=float(fit.se[1]) * math.sqrt(scale), df=fit.df, size=size), left


def _left_over(v: Floats, is_a: NDArray[np.bool_], block: NDArray[np.str_]) -> Floats:
    x = np.column_stack([np.ones(len(v)), is_a, within.dummies(block)])
    return np.asarray(v - x @ np.linalg.lstsq(x, v, rcond=None)[0])


def matched(out: PairResult, a: Side, b: Side) -> tuple[Side, Side]:
    """The values that have a partner, in the order of the pairs: by block, or else by place within the way."""
    if not a.block.any():
        if len(a.values) != len(b.values):
            raise EngineError(
                f"There are {len(a.values)} values of {a.name} but {len(b.values)} of {b.name}: "
                "name the column that says which go together as the block."
            )
        label = np.array([f"pair {i + 1}" for i in range(len(a.values))])
        return _relabelled(a, label), _relabelled(b, label)
    shared = [x for x in dict.fromkeys(a.block.tolist()) if x in set(b.block.tolist())]
    single = len(set(a.block.tolist()) ^ set(b.block.tolist()))
    if single:
        out.remarks.append(
            f"{single} {'pair has' if single == 1 else 'pairs have'} one value only and "
            f"{'is' if single == 1 else 'are'} left out; if they are missing because of the way, that misleads."
        )
    if not shared:
        raise within.Confounded("No pair holds both ways, so nothing can be compared within pairs.")
    if len(a.block) > len(set(a.block.tolist())) or len(b.block) > len(set(b.block.tolist())):
        out.remarks.append("Several values of one way in a pair are taken together as their mean.")
    return _means(a, shared), _means(b, shared)


def _means(side: Side, labels: list[str]) -> Side:
    values = np.array([side.values[side.block == x].mean() for x in labels])
    place = np.array([side.place[side.block == x].min() for x in labels], dtype=np.int64)
    return Side(name=side.name, values=values, block=np.array(labels), place=place)


def _relabelled(side: Side, block: NDArray[np.str_]) -> Side:
    return Side(name=side.name, values=side.values, block=block, place=side.place)


def _block_means(out: PairResult, a: Side, b: Side) -> tuple[Side, Side]:
    """Each block had one way only: blocks are the units, and their means the values."""
    na, nb = len(set(a.block.tolist())), len(set(b.block.tolist()))
    if min(na, nb) < 2:
        raise within.Confounded(
            f"Every block had one way only, and {a.name if na < 2 else b.name} just one block: a difference between "
            "the ways cannot be told from one between the blocks. "
            "Give both ways to each block, or several blocks to each way."
        )
    out.remarks.append(
        f"Every block had one way only, so the {na} and {nb} blocks are what is compared, not the values in them."
    )
    sides = [_means(s, list(dict.fromkeys(s.block.tolist()))) for s in (a, b)]
    empty = [_relabelled(s, np.full(len(s.values), "")) for s in sides]
    return empty[0], empty[1]


def conclude(out: PairResult, e: Estimate) -> None:
    """Write into a result what an estimate on its working scale says."""
    rule = out.rule
    back = math.exp if rule.ratio else float
    out.estimate, out.effect = e, back(e.value)
    low, high = interval(e, 1 - 2 * rule.alpha)
    out.interval = (_safe(back, low), _safe(back, high))
    low, high = interval(e, 1 - rule.alpha)
    out.interval_two_sided = (_safe(back, low), _safe(back, high))
    out.p, out.chance_higher = difference_p(e), chance_above(e)
    if rule.low is not None and rule.high is not None:
        bounds = (math.log(rule.low), math.log(rule.high)) if rule.ratio else (rule.low, rule.high)
        out.equivalence = equivalence(e, *bounds, rule.alpha)


def _safe(back: object, x: float) -> float:
    assert callable(back)  # noqa: S101 - for the type checker
    return float(back(min(max(x, -700.0), 700.0)))


def _beside(
    out: PairResult,
    a: Side,
    b: Side,
    wa: Floats,
    wb: Floats,
    *,
    pairs: bool,
    blocked: bool,
    counts: bool,
    rng: np.random.Generator,
) -> None:
    """The robust look, and the ratio of plain means, beside the main one."""
    rule, level = out.rule, 1 - 2 * out.rule.alpha
    bounds: tuple[float | None, float | None] = (rule.low, rule.high)
    if rule.ratio and rule.low is not None and rule.high is not None:
        bounds = (math.log(rule.low), math.log(rule.high))
    if counts:
        if not (pairs or blocked):
            out.ranks = ranks.unpaired_ranks(wa, wb, level, None, None)
        else:
            out.reshuffled_p = ranks.reshuffled_p(
                np.concatenate([wa, wb]),
                np.arange(len(wa) + len(wb)) < len(wa),
                np.concatenate([a.block, b.block]),
                rng=rng,
            )
    elif pairs:
        out.ranks = ranks.paired_ranks(wa - wb, level, *bounds)
    elif blocked:
        out.reshuffled_p = ranks.reshuffled_p(
            np.concatenate([wa, wb]),
            np.arange(len(wa) + len(wb)) < len(wa),
            np.concatenate([a.block, b.block]),
            rng=rng,
        )
    else:
        out.ranks = ranks.unpaired_ranks(wa, wb, level, *bounds)
    if rule.ratio and not pairs and not blocked:
        out.fieller = fieller(summary(a.values), summary(b.values), level)


def _doubt(
    out: PairResult, a: Side, b: Side, left: Floats, is_a: NDArray[np.bool_], *, pairs: bool, logs: bool
) -> None:
    if pairs and len(left) == len(a.values):
        out.remarks += doubts(left, np.zeros(len(left), dtype=np.int64), (f"{a.name} less {b.name}",), logs=logs)
        return
    order = np.argsort(np.concatenate([a.place, b.place]), kind="stable")
    out.remarks += doubts(left[order], np.where(is_a, 0, 1)[order], (a.name, b.name), logs=logs)


def _one_side_nought(out: PairResult, a: Side, b: Side) -> None:
    """One way gave nothing at all: no ratio can be fitted, but ranks still tell whether that is more than chance."""
    nought = a if not a.values.any() else b
    out.effect = 0.0 if nought is a else None
    out.method = "ranks only"
    if min(len(a.values), len(b.values)) >= 2:
        out.ranks = ranks.unpaired_ranks(a.values, b.values, 1 - 2 * out.rule.alpha, None, None)
        out.p = float(stats.mannwhitneyu(a.values, b.values, alternative="two-sided").pvalue)
        out.chance_higher = out.p / 2 if nought is a else 1 - out.p / 2
    out.remarks.append(f"Every value of {nought.name} is nought, so no ratio can be given an interval.")
    if out.p is None:
        raise TooFew("Each way needs at least two values before anything can be said of their spread.")


def group_of(side: Side) -> Group:
    """Number, mean and spread of a way's values as they were recorded."""
    return summary(side.values)
