"""A table of outcomes judged: two ways against each other, or several in all pairs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from chirr.engine.errors import EngineError
from chirr.engine.trials import blocks as within
from chirr.engine.trials.estimates import Group, TooFew
from chirr.engine.trials.pair import PairResult, Rule, Side, group_of, judge_pair, matched
from chirr.engine.trials.verdict import Verdict, pct, verdict
from chirr.says import joined, said, said_n

MOST_WAYS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """How big a difference matters: a share of the outcome, or a number in its own unit; an `amount` of 0 is none."""

    amount: float
    share: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is asked of a table. `ratio` None: a ratio where the margin is a share and nothing lies below nought."""

    margin: Margin
    ratio: bool | None = None
    paired: bool = False
    alpha: float = 0.05
    against: str | None = None
    less_is_better: bool = False
    equal_spread: bool = False


@dataclass(slots=True, kw_only=True)
class Judgement:
    """The answer: each way's own figures, each pair's result and verdict, and for several ways the overall test."""

    ratio: bool
    ways: list[tuple[str, Group]]
    pairs: list[tuple[PairResult, Verdict]]
    verdict: Verdict
    overall_p: float | None = None
    remarks: list[str] = field(default_factory=list)


def judge(
    values: NDArray[np.float64], ways: Sequence[str], block: Sequence[str] | None, question: Question
) -> Judgement:
    """Judge outcomes by way.

    Parameters
    ----------
    values : shape (units,), in the order of the record
    ways : the way of each unit; the first named is compared with the second, or all others with `against`
    block : the block of each unit (a bin, a date, a pair), or None

    Raises
    ------
    EngineError
        If the question cannot be asked of such values, such as a ratio of values below nought.
    """
    _sound(values, question)
    names = list(dict.fromkeys(ways))
    if question.against is not None and question.against not in names:
        raise EngineError(f"There is no way called '{question.against}'; there are {', '.join(names)}.")
    if len(names) > MOST_WAYS:
        raise EngineError(
            f"There are {len(names)} different ways; more than {MOST_WAYS} look like a column of numbers."
        )
    labels = np.array(ways)
    where = np.array([""] * len(values)) if block is None else np.array(block)
    sides = [
        Side(name=w, values=values[labels == w], block=where[labels == w], place=np.flatnonzero(labels == w))
        for w in names
    ]
    ratio = question.ratio if question.ratio is not None else question.margin.share and bool(values.min(initial=0) >= 0)
    out = Judgement(ratio=ratio, ways=[(s.name, group_of(s)) for s in sides], pairs=[], verdict=_NOTHING)
    if len(sides) < 2:
        out.verdict = Verdict(
            kind="not known",
            says=said(
                "not known: every value is of one way, {way}, so there is nothing to compare it with", way=names[0]
            ),
        )
        return out
    for a, b in _pairs(sides, question.against):
        out.pairs.append(_one(a, b, _rule(question, b, ratio=ratio), question.paired))
    out.verdict = out.pairs[0][1] if len(out.pairs) == 1 else _together(out, question.alpha)
    if len(sides) > 2:
        out.overall_p = _overall(values, labels, where, sides, ratio=ratio)
    return out


_NOTHING = Verdict(kind="not known", says=said("not known"))


def _sound(values: NDArray[np.float64], question: Question) -> None:
    if len(values) == 0:
        raise EngineError("There is no outcome in the table.")
    if not 0 < question.alpha < 0.5:
        raise EngineError(f"An error of {question.alpha:g} will not do; choose one between 0 and 0.5, such as 0.05.")
    margin = question.margin
    if margin.amount < 0:
        raise EngineError("A margin cannot be below nought; give how big a difference would matter, such as 10%.")
    if question.ratio and not margin.share:
        raise EngineError("For a ratio the margin must be in per cent, such as 10%.")
    if margin.share and margin.amount >= 1 and question.ratio is not False:
        raise EngineError("A margin of 100 % or more leaves nothing to lose; give a smaller one, such as 10%.")


def _pairs(sides: list[Side], against: str | None) -> list[tuple[Side, Side]]:
    if against is not None:
        base = next(s for s in sides if s.name == against)
        return [(s, base) for s in sides if s is not base]
    return [(a, b) for i, a in enumerate(sides) for b in sides[i + 1 :]]


def _rule(question: Question, b: Side, *, ratio: bool) -> Rule:
    """The margin as bounds. A loss of a share m is 1 - m as a ratio; the gain that matters as much is 1 / (1 - m)."""
    m = question.margin.amount
    low: float | None
    high: float | None
    if m == 0:
        low = high = None
    elif ratio:
        low, high = 1 - m, 1 / (1 - m)
    else:
        high = m * abs(float(b.values.mean())) if question.margin.share else m
        low = -high
        if high == 0:
            low = high = None  # a share of nothing
    return Rule(
        ratio=ratio, low=low, high=high, alpha=question.alpha, less_is_better=question.less_is_better,
        equal_spread=question.equal_spread,
    )  # fmt: skip


def _one(a: Side, b: Side, rule: Rule, paired: bool) -> tuple[PairResult, Verdict]:
    result = judge_pair(a, b, rule, pairs=paired)
    n_a, n_b = len(a.values), len(b.values)
    if paired and result.estimate is not None:
        n_a = n_b = len(matched(PairResult(a=a.name, b=b.name, rule=rule), a, b)[0].values)
    return result, verdict(result, n_a, n_b, paired=paired)


def _together(out: Judgement, alpha: float) -> Verdict:
    """Several ways at once. All as good needs every pair to be (an intersection-union test, exact as it stands);
    better or worse is said of a pair only after Holm's correction for the number of pairs.
    """
    kinds = [v.kind for _, v in out.pairs]
    if all(kind == "as good" for kind in kinds):
        return Verdict(
            kind="as good", says=said("as good within your margin: every one of the ways, each against each")
        )
    ranked = sorted((r.p, k) for k, (r, _) in enumerate(out.pairs) if r.p is not None)
    sure: list[int] = []
    for step, (p, k) in enumerate(ranked):
        if p >= alpha / (len(ranked) - step):
            break
        sure.append(k)
    for k, (r, v) in enumerate(out.pairs):
        if v.kind in ("better", "worse") and k not in sure:
            out.remarks.append(
                said(
                    "{a} and {b} alone would seem to differ, but among so many pairs that may be chance.", a=r.a, b=r.b
                )
            )
    told = [_than(*out.pairs[k]) for k in sorted(sure) if kinds[k] in ("better", "worse")]
    told += [
        said("{a} is as good as {b} within your margin", a=r.a, b=r.b) for r, v in out.pairs if v.kind == "as good"
    ]
    if not told:
        more = [v.more for _, v in out.pairs if v.more is not None]
        if len(more) != len(kinds):
            return Verdict(kind="not known", says=said("not known yet of any pair"))
        says = said("not known yet of any pair; about {n} more of each way would settle it", n=max(more))
        return Verdict(kind="not known", says=says, more=max(more))
    rest = len(kinds) - len(told)
    if rest:
        told.append(said_n("of {n} other pair it is not known yet", "of {n} other pairs it is not known yet", rest))
    kind = "not known" if rest else "worse" if "worse" in kinds else "better"
    return Verdict(kind=kind, says=joined(told, "; "))


def _than(r: PairResult, v: Verdict) -> str:
    parts = {"a": r.a, "b": r.b, "effect": pct_or_gap(r)}
    return (
        said("{a} is better than {b} ({effect})", **parts)
        if v.kind == "better"
        else said("{a} is worse than {b} ({effect})", **parts)
    )


def pct_or_gap(r: PairResult) -> str:
    """A pair's effect in a few characters."""
    if r.effect is None:
        return said("by ranks")
    return pct(r.effect) if r.rule.ratio else said("by {effect:.4g}", effect=r.effect)


def _overall(
    values: NDArray[np.float64], labels: NDArray[np.str_], where: NDArray[np.str_], sides: list[Side], *, ratio: bool
) -> float | None:
    """Whether the ways differ at all: F test, within blocks if there are any; by ranks where logs cannot be taken."""
    if ratio and values.min() <= 0:
        return float(stats.kruskal(*(s.values for s in sides)).pvalue) if values.any() else None
    v = np.log(values) if ratio else values
    terms = {"blocks": within.dummies(where)} if where.any() else {}
    try:
        return within.anova(v, {**terms, "ways": within.dummies(labels)}).line("ways").p
    except (TooFew, within.Confounded):
        return None


def working_bounds(rule: Rule) -> tuple[float, float] | None:
    """The margin's bounds on the scale on which errors add; None without a margin."""
    if rule.low is None or rule.high is None:
        return None
    return (math.log(rule.low), math.log(rule.high)) if rule.ratio else (rule.low, rule.high)
