"""Whether belief is as sure as it may be, in full size: a thousand farms made of the prior, each learnt afresh.

Simulation-based calibration, Talts et al. 2018 (arXiv:1804.06788); the test suite does the same at the size that it can
bear. It takes some minutes. Usage: python bench/calibration.py [FARMS]
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

import numpy as np
from scipy.stats import chi2

from chirr.engine.colony.latents import FARM
from engine.colony.told_by_the_prior import DRAWS, Plan, ranks, truths_and_draws, unevenness

FARMS, PARTS, BINS = 1000, 20, 20
PLAN = Plan(clutches=6, harvested=3)
LOW, HIGH = 0.72, 0.88
"""The 80 % band of every unknown is to hold between these shares of the truths."""


def part(seed_and_runs: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    """Some of the farms."""
    seed, runs = seed_and_runs
    return truths_and_draws(PLAN, runs, seed)


def main() -> int:
    farms = int(sys.argv[1]) if len(sys.argv) > 1 else FARMS
    with ProcessPoolExecutor() as pool:
        told = list(pool.map(part, [(20_180 + k, farms // PARTS) for k in range(PARTS)]))
    truths, drawn = (np.concatenate(x) for x in zip(*told, strict=True))
    found = ranks(truths, drawn)
    off = (truths - drawn.mean(axis=-1)) / drawn.std(axis=-1)
    uneven = unevenness(found, BINS)
    edge = (DRAWS + 1) // 10
    inside = ((found >= edge) & (found < DRAWS + 1 - edge)).mean(axis=0)
    print(f"{len(found)} farms, {PLAN.clutches} clutches each; ranks in {BINS} bins")
    for k, name in enumerate(FARM):
        p = chi2.sf(uneven[k], BINS - 1)
        bias = f"off by {off[:, k].mean():+.2f} spreads, {off[:, k].std():.2f} wide"
        print(f"80 % band of {name}: {bias}; evenness p = {p:.4f} | {inside[k]:.1%} | {LOW:.0%} to {HIGH:.0%}")
    print(f"80 % band of all | {inside.mean():.1%} | {LOW:.0%} to {HIGH:.0%}")
    return 0 if ((inside > LOW) & (inside < HIGH)).all() else 1


if __name__ == "__main__":
    sys.exit(main())
