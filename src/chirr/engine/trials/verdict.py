"""The verdict in words: as good within the margin, worse, better, or not known yet and how many more it takes."""

from __future__ import annotations

import math
from dataclasses import dataclass

from chirr.engine.trials.pair import PairResult
from chirr.engine.trials.power import Design, difference_size, equivalence_size

WANTED = 0.8
HOPELESS = 5000
"""More further values than this of each way are no advice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """kind: 'as good', 'better', 'worse' or 'not known'; `more` is the number of further values of each way."""

    kind: str
    says: str
    more: int | None = None


def verdict(r: PairResult, n_a: int, n_b: int, *, paired: bool = False, noun: str = "") -> Verdict:
    """What a pair's result comes to. n_a, n_b: values of each way (paired: number of pairs in both), called `noun`."""
    if r.p is None:
        return Verdict(kind="not known", says=f"not known: {r.why[:1].lower()}{r.why[1:].rstrip('.')}")
    found = found_words(r)
    differs = r.p < r.rule.alpha
    higher = r.chance_higher is not None and r.chance_higher > 0.5
    good = higher != r.rule.less_is_better
    if r.equivalence is not None and r.equivalence.equivalent:
        little = f", though a little {'higher' if higher else 'lower'}" if differs else ""
        return Verdict(kind="as good", says=f"as good within your margin{little}: {found}")
    if differs:
        word = "better" if good else "worse"
        return Verdict(kind=word, says=f"{word}: {found}{_beyond(r, good)}")
    more = further(r, n_a, n_b, paired=paired)
    if more is None:
        settle = "even thousands more would hardly settle it, for the truth seems to lie on the edge of your margin"
        if r.equivalence is None:
            settle = "without a margin nothing can be shown to be as good; say how big a loss would matter"
    else:
        each = (
            f"{more} more pair{'' if more == 1 else 's'}"
            if paired
            else f"{more} more {noun + ' ' if noun else ''}of each way"
        )
        settle = f"about {each} would settle it, if the truth is near what was found"
    return Verdict(kind="not known", says=f"not known yet: {found}{_one_side(r)}; {settle}", more=more)


def _beyond(r: PairResult, good: bool) -> str:
    """Whether a difference is known to be bigger than the margin."""
    if r.rule.low is None or r.rule.high is None or r.interval is None:
        return ""
    clear = r.interval[1] < r.rule.low or r.interval[0] > r.rule.high
    return (
        ", by more than your margin"
        if clear
        else f"; whether by {'as much as' if good else 'more than'} your margin is not known"
    )


def _one_side(r: PairResult) -> str:
    """Half an answer is an answer: no worse by more than the margin, though perhaps better."""
    if r.equivalence is None:
        return ""
    p = r.equivalence.p_upper if r.rule.less_is_better else r.equivalence.p_lower
    return ", so it is not worse by more than your margin" if p < r.rule.alpha else ""


def found_words(r: PairResult) -> str:
    """The effect with its interval and the margin, as a sentence without its stop."""
    rule = r.rule
    if r.effect is None or r.interval is None:
        nought = f"{r.a} gave nothing at all" if r.effect == 0.0 else f"{r.b} gave nothing at all"
        return f"{nought} (p {r.p:.2g} by ranks)"
    level = f"{100 * (1 - 2 * rule.alpha):g} %"
    low, high = r.interval
    if rule.ratio:
        said = f"{r.a} gives {pct(r.effect)} of {r.b} ({level} interval {pct(low)} to {pct(high)}"
        margin = "" if rule.low is None or rule.high is None else f"; margin {pct(rule.low)} to {pct(rule.high)}"
        return f"{said}{margin})"
    said = f"{r.a} less {r.b} is {r.effect:.4g} ({level} interval {low:.4g} to {high:.4g}"
    margin = "" if rule.low is None or rule.high is None else f"; margin {rule.low:.4g} to {rule.high:.4g}"
    return f"{said}{margin})"


def pct(ratio: float) -> str:
    """A ratio in per cent, to the digits that count.

    >>> pct(0.9534), pct(1.1111), pct(0.0123)
    ('95.3 %', '111.1 %', '1.23 %')
    """
    value = 100 * ratio
    if value >= 1000:
        return f"{value:,.0f} %"
    return f"{value:.1f} %" if value >= 10 else f"{value:.3g} %"


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
