"""Trials as plain answers: a table judged, a power, a size, a look, a decision; dictionaries with stable keys."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy import stats

from chirr.engine.trials.estimates import Estimate, Group, summary, unpaired
from chirr.engine.trials.judge import Judgement, Margin, Question, judge, working_bounds
from chirr.engine.trials.looks import always_interval, bounds
from chirr.engine.trials.pair import PairResult
from chirr.engine.trials.power import (
    Design,
    check_errors,
    difference_power,
    difference_size,
    equivalence_power,
    equivalence_size,
    sd_of_log,
)  # fmt: skip
from chirr.engine.trials.verdict import Verdict

Answer = dict[str, Any]


def judged(values: Sequence[float], ways: Sequence[str], blocks: Sequence[str] | None, question: Question) -> Judgement:
    """A table's outcomes judged."""
    return judge(np.asarray(values, dtype=np.float64), list(ways), None if blocks is None else list(blocks), question)


def judgement_json(j: Judgement, remarks: Sequence[str] = ()) -> Answer:
    """A judgement with the keys of the contract first, then what else is known.

    With two ways the figures are those of the first against the second. With more they stand under 'pairs', and the
    top holds what is true of all together: equivalence of every pair, and the overall test of a difference.
    """
    effect = "ratio" if j.ratio else "difference"
    ways = [_way(name, g) for name, g in j.ways]
    pairs = [pair_json(r, v) for r, v in j.pairs]
    if len(pairs) == 1:
        return {"ways": ways, **pairs[0], "remarks": [*remarks, *pairs[0]["remarks"]]}
    p_lower, p_upper = (_largest([p["equivalence"][k] for p in pairs]) for k in ("p_lower", "p_upper"))
    equal = all(p["equivalence"]["equivalent"] for p in pairs) if p_lower is not None else None
    return {
        "ways": ways, effect: None, "interval": None,
        "equivalence": {"p_lower": p_lower, "p_upper": p_upper, "equivalent": equal},
        "difference_test": {"p": j.overall_p}, "verdict": j.verdict.says, "verdict_kind": j.verdict.kind,
        "more": j.verdict.more, "pairs": pairs, "remarks": [*remarks, *j.remarks],
    }  # fmt: skip


def _largest(values: list[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return max(known) if known and len(known) == len(values) else None


def _way(name: str, g: Group) -> Answer:
    return {"way": name, "n": g.n, "mean": g.mean, "sd": g.sd if math.isfinite(g.sd) else None}


def pair_json(r: PairResult, v: Verdict) -> Answer:
    """One pair: the keys of the contract, then method, standard error, margin, chance, robust look and remarks."""
    e, q = r.estimate, r.equivalence
    out: Answer = {
        "ratio" if r.rule.ratio else "difference": r.effect, "interval": _ends(r.interval),
        "equivalence": {
            "p_lower": q.p_lower if q else None, "p_upper": q.p_upper if q else None,
            "equivalent": q.equivalent if q else None,
        },
        "difference_test": {"p": r.p, "interval": _ends(r.interval_two_sided), "level": 1 - r.rule.alpha},
        "verdict": v.says, "verdict_kind": v.kind, "more": v.more, "compared": [r.a, r.b], "method": r.method,
        "interval_level": 1 - 2 * r.rule.alpha, "margin": [r.rule.low, r.rule.high], "alpha": r.rule.alpha,
    }  # fmt: skip
    if q is not None:
        out["equivalence"] |= {"p": q.p, "t_lower": q.t_lower, "t_upper": q.t_upper}
    if e is not None:
        out["estimate"] = {"scale": "log" if r.rule.ratio else "as measured", "value": e.value, "se": e.se, "df": e.df}
        out["difference_test"]["t"] = e.value / e.se
    if r.chance_higher is not None:
        out["chance_first_is_better"] = 1 - r.chance_higher if r.rule.less_is_better else r.chance_higher
    if r.ranks is not None:
        back = math.exp if r.rule.ratio and "count" not in r.method and r.method != "ranks only" else float
        out["by_ranks"] = {
            "shift": back(r.ranks.shift), "interval": [back(x) for x in r.ranks.interval], "p": r.ranks.p,
            "p_lower": r.ranks.p_lower, "p_upper": r.ranks.p_upper,
        }  # fmt: skip
    if r.reshuffled_p is not None:
        out["by_reshuffling"] = {"p": r.reshuffled_p}
    if r.fieller is not None:
        out["ratio_of_plain_means_interval"] = _ends(r.fieller)
    out["by_other_models"] = [_other(x) for x in r.others]
    return {**out, "remarks": list(r.remarks)}


def _other(r: PairResult) -> Answer:
    q = r.equivalence
    return {
        "method": r.method, "ratio" if r.rule.ratio else "difference": r.effect, "interval": _ends(r.interval),
        "p": r.p, "p_lower": q.p_lower if q else None, "p_upper": q.p_upper if q else None,
    }  # fmt: skip


def _ends(ends: tuple[float, float] | None) -> list[float | None] | None:
    return None if ends is None else [x if math.isfinite(x) else None for x in ends]


def power_answer(
    design: Design, margin: tuple[float, float] | None, truth: float, *, n: int | None, alpha: float, wanted: float
) -> Answer:
    """Power with `n` units, or the sizes that reach `wanted`; margin and truth on the design's working scale."""
    check_errors(alpha, wanted)
    out: Answer = {"design": design.kind, "spread": design.sd, "alpha": alpha, "truth": truth}
    if margin is not None:
        out["margin"] = list(margin)
    if n is not None:
        se, df = design.se(n), design.df(n)
        out["n"] = n
        if margin is not None:
            out["equivalence_power"] = equivalence_power(truth, *margin, se, df, alpha)
            smallest = max(abs(margin[0]), abs(margin[1])) if truth == 0 else truth
            out["difference_power"] = difference_power(smallest, se, df, alpha)
            out["difference"] = smallest
        elif truth:
            out["difference_power"], out["difference"] = difference_power(truth, se, df, alpha), truth
        return out
    out["wanted"] = wanted
    if margin is not None:
        size = equivalence_size(design, truth, *margin, alpha=alpha, wanted=wanted)
        out["equivalence_n"] = size
        out["equivalence_power"] = (
            None if size is None else equivalence_power(truth, *margin, design.se(size), design.df(size), alpha)
        )
    gap = truth if truth else (max(abs(margin[0]), abs(margin[1])) if margin is not None else 0.0)
    size = difference_size(design, gap, alpha=alpha, wanted=wanted)
    out |= {"difference": gap, "difference_n": size}
    out["difference_power"] = None if size is None else difference_power(gap, design.se(size), design.df(size), alpha)
    return out


def looked(
    values: Sequence[float],
    ways: Sequence[str],
    blocks: Sequence[str] | None,
    question: Question,
    planned: Sequence[int] = (),
) -> Answer:
    """A look at a trial that still runs: an interval that may be looked at any time, and the bound of a planned look.

    `planned` are the numbers of each way (or of pairs) at which looks were planned, the last one being where the trial
    ends; the interval is tuned for that. With several of them it is their bounds that say whether it may be stopped.
    """
    j = judged(values, ways, blocks, question)
    if len(j.ways) != 2:
        return {
            "ways": [_way(*w) for w in j.ways],
            "verdict": "a look while the trial runs needs exactly two ways",
            "stop": None,
        }
    r, v = j.pairs[0]
    out: Answer = {
        "ways": [_way(*w) for w in j.ways],
        "ratio" if j.ratio else "difference": r.effect,
        "compared": [r.a, r.b],
    }
    e = r.estimate
    if e is None:
        return out | {"verdict": v.says, "stop": False, "remarks": r.remarks}
    if not question.paired and blocks is None and "count" not in r.method:
        e = _one_spread(values, ways, j)
    end = (planned[-1] if planned else 20) / (1 if question.paired else 2)
    alpha = question.alpha
    back = math.exp if j.ratio else float
    low, high = always_interval(e, alpha, tuned_for=float(end))
    out["always_interval"] = [back(x) if math.isfinite(x) else None for x in (low, high)]
    out |= {"level": 1 - alpha, "size": e.size}
    null_out = low > 0 or high < 0
    margin = working_bounds(r.rule)
    inside = margin is not None and margin[0] < low and high < margin[1]
    remarks = list(r.remarks)
    if planned:
        look = out["planned_look"] = _planned_look(e, planned, end, alpha)
        if len(planned) > 1:
            remarks.append(_BY_PLAN)
            if not look["as_planned"]:
                remarks.append("No look was planned at this number; its bound allows for where it falls.")
            out["stop"] = look["passed"]
            word = _better(r, up=e.value > 0)
            out["verdict"] = (
                f"it may be stopped: {r.a} is {word} than {r.b}, by the bound of planned look {look['number']}"
                if look["passed"] else _GO_ON
            )  # fmt: skip
            return out | {"remarks": remarks}
    out["stop"] = bool(null_out or inside)
    out["verdict"] = _look_words(r, null_out=null_out, inside=inside, up=low > 0)
    return out | {"remarks": remarks}


_BY_PLAN = (
    "With several planned looks their bounds decide, and only at those looks; stopping by the other interval as well "
    "would spend the error twice."
)
_GO_ON = "go on: nothing is settled yet; looking has cost nothing"


def _planned_look(e: Estimate, planned: Sequence[int], end: float, alpha: float) -> Answer:
    """Which of the planned looks this is, the bound that it has after those before it, and whether it is passed.

    The looks before it are taken to have been taken as planned; this one at the share of information that is in.
    """
    share = min(e.size / end, 1.0)
    before = [x for n in planned[:-1] if (x := n / planned[-1]) < share - 0.5 / planned[-1]]
    at_plan = [x for n in planned if abs((x := n / planned[-1]) - share) <= 0.5 / planned[-1]]
    bound = bounds([*before, share], alpha)[-1]
    z = float(stats.norm.isf(max(stats.t.sf(abs(e.value / e.se), e.df), 1e-300))) * (1 if e.value > 0 else -1)
    return {
        "number": len(before) + 1, "of": len(planned), "share": share, "z": z, "bound": bound,
        "passed": abs(z) > bound, "as_planned": bool(at_plan) or len(planned) == 1,
    }  # fmt: skip


def _one_spread(values: Sequence[float], ways: Sequence[str], j: Judgement) -> Estimate:
    """The estimate with one spread for both ways, which the always-valid interval assumes."""
    v = np.log(np.asarray(values)) if j.ratio else np.asarray(values)
    of = np.array(ways)
    return unpaired(*(summary(v[of == name]) for name, _ in j.ways), equal_spread=True)


def _look_words(r: PairResult, *, null_out: bool, inside: bool, up: bool) -> str:
    holds = "and this holds however often you have looked"
    if null_out:
        return f"it may be stopped: {r.a} is {_better(r, up=up)} than {r.b}, {holds}"
    if inside:
        return f"it may be stopped: {r.a} is as good as {r.b} within your margin, {holds}"
    return _GO_ON


def _better(r: PairResult, *, up: bool) -> str:
    return "better" if up != r.rule.less_is_better else "worse"


__all__ = [
    "Answer", "Design", "Judgement", "Margin", "Question", "judged", "judgement_json", "looked", "pair_json",
    "power_answer", "sd_of_log",
]  # fmt: skip
