"""The verdict in words: as good within the margin, worse, better, or not known yet and how many more it takes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from chirr.engine.trials.pair import PairResult
from chirr.engine.trials.power import Design, difference_size, equivalence_size
from chirr.says import joined, said, said_n

WANTED = 0.8
HOPELESS = 5000
"""More further values than this of each way are no advice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """kind: 'as good', 'better', 'worse' or 'not known'; `more` is the number of further values of each way."""

    kind: str
    says: str
    """without a stop"""
    more: int | None = None


def verdict(r: PairResult, n_a: int, n_b: int, *, paired: bool = False, noun: str = "") -> Verdict:
    """What a pair's result comes to. n_a, n_b: values of each way (paired: number of pairs in both), called `noun`."""
    if r.p is None:
        return Verdict(kind="not known", says=said("not known: {why}", why=r.why))
    found = found_words(r)
    differs = r.p < r.rule.alpha
    higher = r.chance_higher is not None and r.chance_higher > 0.5
    good = higher != r.rule.less_is_better
    if r.equivalence is not None and r.equivalence.equivalent:
        if not differs:
            says = said("as good within your margin: {found}", found=found)
        elif higher:
            says = said("as good within your margin, though a little higher: {found}", found=found)
        else:
            says = said("as good within your margin, though a little lower: {found}", found=found)
        return Verdict(kind="as good", says=says)
    if differs:
        first = said("better: {found}", found=found) if good else said("worse: {found}", found=found)
        return Verdict(kind="better" if good else "worse", says=joined([first, *_beyond(r, good)], ""))
    more = further(r, n_a, n_b, paired=paired)
    if more is None:
        settle = said(
            "even thousands more would hardly settle it, for the truth seems to lie on the edge of your margin"
        )
        if r.equivalence is None:
            settle = said("without a margin nothing can be shown to be as good; say how big a loss would matter")
    else:
        settle = said(
            "about {more} would settle it, if the truth is near what was found", more=_more(more, paired, noun)
        )
    parts = {"found": found, "settle": settle}
    says = (
        said("not known yet: {found}, so it is not worse by more than your margin; {settle}", **parts)
        if _one_side(r)
        else said("not known yet: {found}; {settle}", **parts)
    )
    return Verdict(kind="not known", says=says, more=more)


def _more(n: int, paired: bool, noun: str) -> str:
    """So many further values."""
    if paired:
        return said_n("{n} more pair", "{n} more pairs", n)
    if noun == "clutches":
        return said_n("{n} more clutch of each way", "{n} more clutches of each way", n)
    if noun == "lots":
        return said_n("{n} more lot of each way", "{n} more lots of each way", n)
    return said("{n} more of each way", n=n)


def _beyond(r: PairResult, good: bool) -> list[str]:
    """Whether a difference is known to be bigger than the margin."""
    if r.rule.low is None or r.rule.high is None or r.interval is None:
        return []
    if r.interval[1] < r.rule.low or r.interval[0] > r.rule.high:
        return [said(", by more than your margin")]
    if good:
        return [said("; whether by as much as your margin is not known")]
    return [said("; whether by more than your margin is not known")]


def _one_side(r: PairResult) -> bool:
    """Half an answer is an answer: no worse by more than the margin, though perhaps better."""
    if r.equivalence is None:
        return False
    return (r.equivalence.p_upper if r.rule.less_is_better else r.equivalence.p_lower) < r.rule.alpha


def found_words(r: PairResult) -> str:
    """The effect with its interval and the margin, as a sentence without its stop."""
    rule = r.rule
    if r.effect is None or r.interval is None:
        return said("{way} gave nothing at all (p {p:.2g} by ranks)", way=r.a if r.effect == 0.0 else r.b, p=r.p)
    show = pct if rule.ratio else _plain
    parts: dict[str, Any] = {"a": r.a, "b": r.b, "effect": show(r.effect), "level": 100 * (1 - 2 * rule.alpha)}
    parts |= {"low": show(r.interval[0]), "high": show(r.interval[1])}
    if rule.low is None or rule.high is None:
        if rule.ratio:
            return said("{a} gives {effect} of {b} ({level:g} % interval {low} to {high})", **parts)
        return said("{a} less {b} is {effect} ({level:g} % interval {low} to {high})", **parts)
    parts |= {"least": show(rule.low), "most": show(rule.high)}
    if rule.ratio:
        return said(
            "{a} gives {effect} of {b} ({level:g} % interval {low} to {high}; margin {least} to {most})", **parts
        )
    return said("{a} less {b} is {effect} ({level:g} % interval {low} to {high}; margin {least} to {most})", **parts)


def _plain(value: float) -> str:
    return said("{value:.4g}", value=value)


def pct(ratio: float) -> str:
    """A ratio in per cent, to the digits that count.

    >>> pct(0.9534), pct(1.1111), pct(0.0123)
    ('95.3 %', '111.1 %', '1.23 %')
    """
    value = 100 * ratio
    if value >= 1000:
        return said("{value:,.0f} %", value=value)
    return said("{value:.1f} %", value=value) if value >= 10 else said("{value:.3g} %", value=value)


def further(r: PairResult, n_a: int, n_b: int, *, paired: bool) -> int | None:
    """How many more values of each way (or pairs) settle it with four chances in five, if what was found is true."""
    if r.estimate is None:
        return None
    rule, e = r.rule, r.estimate
    if paired:
        design, have = Design(kind="paired", sd=e.se * math.sqrt(n_a)), n_a
    else:
        design, have = Design(kind="parallel", sd=e.se / math.sqrt(1 / n_a + 1 / n_b)), min(n_a, n_b)
    sizes = []
    if rule.low is not None and rule.high is not None:
        low, high = (math.log(rule.low), math.log(rule.high)) if rule.ratio else (rule.low, rule.high)
        sizes.append(equivalence_size(design, e.value, low, high, alpha=rule.alpha, wanted=WANTED))
        sizes.append(difference_size(design, e.value, alpha=rule.alpha, wanted=WANTED))
    elif abs(e.value) > e.se:
        sizes.append(difference_size(design, e.value, alpha=rule.alpha, wanted=WANTED))
    known = [s for s in sizes if s is not None]
    if not known or min(known) - have > HOPELESS:
        return None
    return max(min(known) - have, 1)
