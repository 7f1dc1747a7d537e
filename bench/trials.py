"""How often verdicts are wrong: equivalence claimed at the very edge of the margin, and intervals peeked at all along.

Prints `what | figure | note` lines. Each error is shown with its Monte Carlo standard error.
"""

from __future__ import annotations

import argparse
import math
import sys

import numpy as np

from chirr.engine.trials.estimates import paired, summary, unpaired
from chirr.engine.trials.looks import always_interval
from chirr.engine.trials.pair import Rule, Side, judge_pair

EDGE = 0.9
ALPHA = 0.05
TRIALS = 10_000


def lognormal(rng, n, blocks):
    """Egg counts of two ways, the first short by exactly the loss that matters; bins differ when blocks."""
    bins = rng.normal(0, 0.3, n) if blocks else np.zeros(n)
    a = np.exp(8 + math.log(EDGE) + bins + rng.normal(0, SPREAD, n))
    return np.concatenate([a, np.exp(8 + bins + rng.normal(0, SPREAD, n))])


SPREAD = 0.1
"""Of logs: little, so that equivalence is claimed often enough for its error to show."""


def small_counts(mean, size):
    """Dead or missing counted in whole numbers: negative binomial with variance mean + mean^2 / size."""

    def draw(rng, n, _blocks):
        values = [rng.poisson(rng.gamma(size, m / size, n)) for m in (mean * EDGE, mean)]
        return np.concatenate(values).astype(float)

    return draw


def claims(draw, n, *, trials, blocks=False, pairs=False, seed=1):
    """Share of trials in which the verdict claims equivalence though the truth is at the edge."""
    rng = np.random.default_rng(seed)
    labels = np.array([f"bin {i}" if blocks or pairs else "" for i in range(n)])
    ways = {"new": slice(0, n), "old": slice(n, None)}
    rule = Rule(ratio=True, low=EDGE, high=1 / EDGE, alpha=ALPHA)
    wrong = 0
    for _ in range(trials):
        v = draw(rng, n, blocks or pairs)
        sides = [Side(name=w, values=v[k], block=labels, place=np.arange(n)) for w, k in ways.items()]
        result = judge_pair(*sides, rule, pairs=pairs, beside=False)
        wrong += result.equivalence is not None and result.equivalence.equivalent
    return wrong / trials


def peeked(*, trials, most=120, seed=2, groups=False):
    """Share of trials in which the always-valid interval misses the truth at any look, one after each unit."""
    rng = np.random.default_rng(seed)
    missed = 0
    for _ in range(trials):
        x = rng.normal(0.3, 1.7, most)
        y = rng.normal(0.0, 1.7, most)
        for n in range(3, most + 1):
            both = summary(x[:n]), summary(y[:n])
            e = unpaired(*both, equal_spread=True) if groups else paired(both[0])
            low, high = always_interval(e, ALPHA, tuned_for=20)
            if not low <= 0.3 <= high:
                missed += 1
                break
    return missed / trials


def told(what, share, trials, bound=ALPHA):
    """One line, and whether the error keeps its bound within three Monte Carlo standard errors."""
    error = math.sqrt(bound * (1 - bound) / trials)
    print(
        f"{what} | {100 * share:.2f} % | at most {100 * bound:g} %, {trials:,} trials, give or take {100 * error:.2f} %"
    )
    return share <= bound + 3 * error


def main(trials):
    """Every case; status 1 if an error is above its bound."""
    good = [
        told("as good at the edge: 12 and 12 clutches, logs", claims(lognormal, 12, trials=trials), trials),
        told("as good at the edge: 4 and 4 clutches, logs", claims(lognormal, 4, trials=trials), trials),
        told("as good at the edge: 12 pairs", claims(lognormal, 12, trials=trials, pairs=True), trials),
        told("as good at the edge: 12 bins as blocks", claims(lognormal, 12, trials=trials, blocks=True), trials),
        told("as good at the edge: counts, mean 10", claims(small_counts(10, 50), 100, trials=trials), trials),
        told("as good at the edge: counts, mean 60", claims(small_counts(60, 50), 20, trials=trials), trials),
        told("always-on interval misses at any of 118 looks, pairs", peeked(trials=trials // 5), trials // 5),
        told("the same, two groups", peeked(trials=trials // 5, groups=True), trials // 5),
    ]
    return 0 if all(good) else 1


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=TRIALS)
    sys.exit(main(parser.parse_args().trials))
