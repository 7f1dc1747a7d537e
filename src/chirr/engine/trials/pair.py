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
    summary,
)  # fmt: skip
from chirr.engine.trials.models import Fitted, Layout, fit_as_counts, fit_plain, needs_count_model, others
from chirr.says import said, said_n

Floats = NDArray[np.float64]
MOST_PAIRS = 4_000_000
"""A look by ranks sets each value against each: no more of them than this (judgement)."""


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
    others: list[PairResult] = field(default_factory=list)
    """The same by the other usual models."""
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
        out.why = nothing.args[0]
    return out


def _judge(out: PairResult, a: Side, b: Side, pairs: bool, rng: np.random.Generator | None) -> None:
    if not (a.values.any() or b.values.any()):
        raise TooFew(said("every value is nought, so there is nothing to compare yet"))
    if out.rule.ratio and (not a.values.any() or not b.values.any()):
        _one_side_nought(out, a, b)
        return
    if pairs:
        a, b = matched(out, a, b)
    elif a.block.any() and not np.intersect1d(a.block, b.block).size:
        a, b = _block_means(out, a, b)
    kind = "pairs" if pairs else "blocks" if a.block.any() else "groups"
    layout = Layout(
        kind=kind, a=a.values, b=b.values, block=np.concatenate([a.block, b.block]), equal_spread=out.rule.equal_spread
    )
    counts = out.rule.ratio and needs_count_model(a.values, b.values)
    fitted = fit_as_counts(layout) if counts else fit_plain(layout, logs=out.rule.ratio)
    out.method = fitted.method
    conclude(out, fitted.estimate)
    if rng is None:
        return
    out.others = [_other(out.rule, f) for f in others(layout, fitted, ratio=out.rule.ratio)]
    _beside(out, layout, logs=out.rule.ratio and not counts, rng=rng)
    _doubt(out, a, b, fitted.left)


def _other(rule: Rule, f: Fitted) -> PairResult:
    out = PairResult(a="", b="", rule=rule, method=f.method)
    conclude(out, f.estimate)
    return out


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
    of_b = set(b.block.tolist())
    shared = [x for x in dict.fromkeys(a.block.tolist()) if x in of_b]
    single = len(set(a.block.tolist()) ^ set(b.block.tolist()))
    if single:
        out.remarks.append(
            said_n(
                "{n} pair has one value only and is left out; if the other is missing because of the way, that"
                " misleads.",
                "{n} pairs have one value only and are left out; if the others are missing because of the way, that"
                " misleads.",
                single,
            )
        )
    if not shared:
        raise within.Confounded(said("no pair holds both ways, so nothing can be compared within pairs"))
    if len(a.block) > len(set(a.block.tolist())) or len(b.block) > len(set(b.block.tolist())):
        out.remarks.append(said("Several values of one way in a pair are taken together as their mean."))
    return _means(a, shared), _means(b, shared)


def _means(side: Side, labels: list[str]) -> Side:
    names, of = np.unique(side.block, return_inverse=True)
    mean = np.bincount(of, side.values) / np.bincount(of)
    first = np.full(len(names), np.iinfo(np.int64).max)
    np.minimum.at(first, of, side.place)
    wanted = np.searchsorted(names, np.array(labels))
    return Side(name=side.name, values=mean[wanted], block=np.array(labels), place=first[wanted])


def _relabelled(side: Side, block: NDArray[np.str_]) -> Side:
    return Side(name=side.name, values=side.values, block=block, place=side.place)


def _block_means(out: PairResult, a: Side, b: Side) -> tuple[Side, Side]:
    """Each block had one way only: blocks are the units, and their means the values."""
    na, nb = len(set(a.block.tolist())), len(set(b.block.tolist()))
    if min(na, nb) < 2:
        raise within.Confounded(
            said(
                "every block had one way only, and {way} just one block: a difference between the ways cannot be told"
                " from one between the blocks; give both ways to each block, or several blocks to each way",
                way=a.name if na < 2 else b.name,
            )
        )
    out.remarks.append(
        said(
            "Every block had one way only, so the {a} and {b} blocks are what is compared, not the values in them.",
            a=na, b=nb,
        )
    )  # fmt: skip
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


def _beside(out: PairResult, layout: Layout, *, logs: bool, rng: np.random.Generator) -> None:
    """The robust look, and the ratio of plain means, beside the main one."""
    rule, level = out.rule, 1 - 2 * out.rule.alpha
    a, b = (np.log(layout.a), np.log(layout.b)) if logs else (layout.a, layout.b)
    low, high = rule.low, rule.high
    if rule.ratio:  # counts with noughts have no logs to shift by a margin
        low, high = (math.log(x) if logs and x is not None else None for x in (low, high))
    pairs_of = len(a) * len(b) if layout.kind == "groups" else len(a) ** 2 / 2
    if layout.kind in ("groups", "pairs") and pairs_of > MOST_PAIRS:
        out.remarks.append(said("No look by ranks is taken of so many values: it would set each against each."))
    elif layout.kind == "groups":
        out.ranks = ranks.unpaired_ranks(a, b, level, low, high)
    elif layout.kind == "pairs":
        out.ranks = ranks.paired_ranks(a - b, level, low, high)
    else:
        out.reshuffled_p = ranks.reshuffled_p(np.concatenate([a, b]), layout.is_a, layout.block, rng=rng)
    if rule.ratio and layout.kind == "groups" and min(len(a), len(b)) > 1:
        out.fieller = fieller(summary(layout.a), summary(layout.b), level)


def _doubt(out: PairResult, a: Side, b: Side, left: Floats) -> None:
    logs = out.rule.ratio
    if len(left) < len(a.values) + len(b.values):  # one for each pair
        out.remarks += doubts(
            left, np.zeros(len(left), dtype=np.int64), (said("{a} less {b}", a=a.name, b=b.name),), logs=logs
        )
        return
    order = np.argsort(np.concatenate([a.place, b.place]), kind="stable")
    of = np.repeat([0, 1], [len(a.values), len(b.values)])
    out.remarks += doubts(left[order], of[order], (a.name, b.name), logs=logs)


def _one_side_nought(out: PairResult, a: Side, b: Side) -> None:
    """One way gave nothing at all: no ratio can be fitted, but ranks still tell whether that is more than chance."""
    nought = a if not a.values.any() else b
    out.effect = 0.0 if nought is a else None
    out.method = "ranks only"
    if min(len(a.values), len(b.values)) >= 2:
        out.ranks = ranks.unpaired_ranks(a.values, b.values, 1 - 2 * out.rule.alpha, None, None)
        out.p = float(stats.mannwhitneyu(a.values, b.values, alternative="two-sided").pvalue)
        out.chance_higher = out.p / 2 if nought is a else 1 - out.p / 2
    out.remarks.append(said("Every value of {way} is nought, so no ratio can be given an interval.", way=nought.name))
    if out.p is None:
        raise TooFew(said("each way needs at least two values before anything can be said of their spread"))


def group_of(side: Side) -> Group:
    """Number, mean and spread of a way's values as they were recorded."""
    return summary(side.values)
