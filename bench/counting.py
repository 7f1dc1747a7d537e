"""How well the photograph finder counts: on drawn egg walls, on a folder of counted pictures, and how fast.

python bench/counting.py                        drawn walls, 40 at each density, fresh seeds each day
python bench/counting.py --pictures 200 --seed 7
python bench/counting.py --folder PICTURES      a folder with counts.csv (file,count), and FILE.marks.csv or
                                                *.circles.csv (x,y) or *.boxes.csv (xmin,ymin,xmax,ymax) if there are
python bench/counting.py --speed                a 12-megapixel wall, beside blob_log of scikit-image
"""

from __future__ import annotations

import argparse
import csv
import resource
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from chirr.desk.counting import upright
from chirr.engine.counting.agreement import agreement
from chirr.engine.counting.photo import count_photo
from pictures.eggs import Scene, draw

DENSITIES = (10, 30, 100, 300, 700, 1200)
"""Eggs on 54 cm2 of wall."""


def matched(found_x, found_y, true_x, true_y, reach):
    """How many of the true things have a mark of their own within `reach`, nearest pairs first."""
    if len(found_x) == 0 or len(true_x) == 0:
        return 0
    near = cKDTree(np.column_stack((found_x, found_y)))
    true = np.column_stack((true_x, true_y))
    pairs = sorted(
        (float(np.hypot(*(near.data[i] - true[j]))), i, j)
        for j, around in enumerate(near.query_ball_point(true, reach))
        for i in around
    )
    marks, things = set(), set()
    for _, i, j in pairs:
        if i not in marks and j not in things:
            marks.add(i)
            things.add(j)
    return len(things)


def head():
    words = f"{'':>28} {'n':>4} {'bias':>7} {'|err|':>7} {'limits of agreement':>21} {'cover':>6} {'recall':>7}"
    print(f"{words} {'prec.':>6} {'unsure':>6} {'s':>5}")


def row(name, rows):
    """One line of the table from (true, count, low, high, unsure, matched or None, seconds) for each picture."""
    used = [r for r in rows if not r[4]]
    if not used:
        print(f"{name:>28} {len(rows):>4}   not sure of any")
        return
    true, count, low, high = (np.array([r[i] for r in used], float) for i in range(4))
    rel = count / true - 1
    limits = agreement(rel, np.zeros_like(rel)) if len(used) > 1 else None
    hit = [r[5] for r in used]
    recall = f"{sum(hit) / true.sum():7.3f}" if None not in hit else f"{'':>7}"
    precision = f"{sum(hit) / max(count.sum(), 1):6.3f}" if None not in hit else f"{'':>6}"
    cover = np.mean((low <= true) & (true <= high))
    span = f"{limits.low:+9.1%} ..{limits.high:+9.1%}" if limits else ""
    print(
        f"{name:>28} {len(rows):>4} {rel.mean():+7.1%} {np.abs(rel).mean():7.1%} {span:>21} {cover:6.2f}"
        f" {recall} {precision}"
        f" {len(rows) - len(used):>6} {np.mean([r[6] for r in rows]):5.2f}"
    )


def one(picture, true, places=None, reach=0.0):
    began = time.process_time()
    found = count_photo(picture)
    spent = time.process_time() - began
    sure = found.marks.sure
    hit = None if places is None else matched(found.marks.x_px[sure], found.marks.y_px[sure], *places, reach)
    return (true, found.count, found.low, found.high, found.unsure, hit, spent)


def drawn_walls(pictures, seed):
    print(f"Drawn egg walls, {pictures} at each density, seed {seed}")
    head()
    for eggs in DENSITIES:
        rows = []
        for k in range(pictures):
            wall = draw(Scene(eggs=eggs), seed * 1_000_003 + eggs * 1009 + k)
            seen = wall.seen >= 0.25
            rows.append(one(wall.picture, wall.count, (wall.x[seen], wall.y[seen]), 8.0))
        row(f"{eggs} eggs", rows)
    bare = [count_photo(draw(Scene(eggs=0), seed * 999_983 + k).picture) for k in range(pictures)]
    unsure, most = sum(b.unsure for b in bare), max(b.count * (not b.unsure) for b in bare)
    print(f"{'no eggs at all':>28} {pictures:>4}   not sure of {unsure}, most counted on the others {most}")


def places_of(folder, name):
    """Centres of the true things of a picture, from the file of circles, boxes or marks beside it; None without one."""
    for stem in (name, Path(name).stem):
        for ending in ("circles", "boxes", "marks"):
            path = folder / f"{stem}.{ending}.csv"
            if path.exists():
                with path.open(newline="") as file:
                    lines = list(csv.DictReader(file))
                if ending == "boxes":
                    box = np.array([[float(r[c]) for c in ("xmin", "ymin", "xmax", "ymax")] for r in lines])
                    reach = float(np.median(np.hypot(box[:, 2] - box[:, 0], box[:, 3] - box[:, 1])) * 0.35)
                    return (box[:, [0, 2]].mean(1), box[:, [1, 3]].mean(1)), reach
                return (np.array([float(r["x"]) for r in lines]), np.array([float(r["y"]) for r in lines])), 12.0
    return None, 0.0


def counted_folder(folder):
    print(f"Counted pictures in {folder.name}")
    head()
    rows = []
    with (folder / "counts.csv").open(newline="") as file:
        for line in csv.DictReader(file):
            places, reach = places_of(folder, line["file"])
            rows.append(one(upright(folder / line["file"]), int(line["count"]), places, reach))
            row(line["file"][-28:], rows[-1:])
    row("all", rows)


def speed():
    from skimage.feature import blob_log

    print("A wall of 12 megapixels, 1500 eggs, this process's own seconds")
    wall = draw(Scene(eggs=1500, height_px=3000, width_px=4000, px_per_mm=12.5, clumping=0.3), 5)
    began = time.process_time()
    found = count_photo(wall.picture)
    ours = time.process_time() - began
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    grey = wall.picture.min(axis=2)[:1500, :2000] / 255.0
    began = time.process_time()
    blobs = blob_log(grey, min_sigma=4, max_sigma=9, num_sigma=4, threshold=0.08)
    theirs = (time.process_time() - began) * 4  # a quarter of the picture was given
    inside = int(((wall.y < 1500) & (wall.x < 2000) & (wall.seen >= 0.25)).sum())
    print(f"  ours      {ours:6.1f} s, {found.count} of {wall.count} ({found.low} to {found.high}), peak {peak:.0f} MB")
    print(f"  blob_log  {theirs:6.1f} s, {len(blobs)} of {inside} in a quarter; {theirs / ours:.0f} times as long")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pictures", type=int, default=40)
    parser.add_argument("--seed", type=int, default=int(datetime.now(UTC).strftime("%Y%m%d")))
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--speed", action="store_true")
    asked = parser.parse_args()
    if asked.folder:
        counted_folder(asked.folder)
    elif asked.speed:
        speed()
    else:
        drawn_walls(asked.pictures, asked.seed)
