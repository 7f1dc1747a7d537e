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
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import cv2
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
    words = f"{'':>28} {'n':>4} {'bias':>7} {'|err|':>7} {'limits of agreement':>21} {'cover':>6} {'drawn':>6}"
    print(f"{words} {'recall':>7} {'prec.':>6} {'unsure':>6} {'s':>5}")


def row(name, rows):
    """One line of the table from (true, count, low, high, unsure, matched or None, seconds, all drawn) of each picture.

    `cover` is the share of intervals that hold the number in sight, `drawn` of those that hold all, hidden ones too.
    """
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
    drawn = np.array([r[7] for r in used], float)
    hidden = np.mean((low <= drawn) & (drawn <= high))
    span = f"{limits.low:+9.1%} ..{limits.high:+9.1%}" if limits else ""
    print(
        f"{name:>28} {len(rows):>4} {rel.mean():+7.1%} {np.abs(rel).mean():7.1%} {span:>21} {cover:6.2f} {hidden:6.2f}"
        f" {recall} {precision}"
        f" {len(rows) - len(used):>6} {np.mean([r[6] for r in rows]):5.2f}"
    )


def one(picture, true, places=None, reach=0.0, drawn=None):
    began = time.process_time()
    found = count_photo(picture)
    spent = time.process_time() - began
    sure = found.marks.sure
    hit = None
    if places is not None:
        hit = matched(found.marks.x_px[sure], found.marks.y_px[sure], places[0], places[1], reach)
    return (true, found.count, found.low, found.high, found.unsure, hit, spent, true if drawn is None else drawn)


def drawn_walls(pictures, seed, densities=DENSITIES):
    print(f"Drawn egg walls, {pictures} at each density, seed {seed}")
    head()
    for eggs in densities:
        rows = []
        for k in range(pictures):
            wall = draw(Scene(eggs=eggs), seed * 1_000_003 + eggs * 1009 + k)
            seen = wall.seen >= 0.25
            rows.append(one(wall.picture, wall.count, (wall.x[seen], wall.y[seen]), 8.0, len(wall.x)))
        row(f"{eggs} eggs", rows)
    if tuple(densities) != DENSITIES:
        return
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


ALONE = """
import pathlib, sys, time
import cv2
cv2.setNumThreads(1)
from chirr.desk.counting import count_picture, upright
picture = upright(sys.argv[1])
began = time.process_time()
found = count_picture(picture, name="wall")
spent = time.process_time() - began
status = pathlib.Path("/proc/self/status").read_text().split()
peak = int(status[status.index("VmHWM:") + 1])  # of this process alone, not of the one that started it
print(spent, found.count, *found.interval, peak / 1024)
"""


def speed():
    """Seconds and memory of a process of its own that reads and counts a 12-megapixel JPEG, beside blob_log."""
    from skimage.feature import blob_log

    px_per_mm = 12.5
    wall = draw(Scene(eggs=1500, height_px=3000, width_px=4000, px_per_mm=px_per_mm, clumping=0.3), 5)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "wall.jpg"
        cv2.imwrite(str(file), wall.picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])
        told = subprocess.run([sys.executable, "-c", ALONE, file], capture_output=True, text=True, check=True).stdout
    ours, count, low, high, peak = (float(part) for part in told.split())
    # a blob's radius is its sigma times the square root of two: from half an egg's width to half its length
    quarter = wall.picture[:1500, :2000].min(axis=2) / 255.0
    span = {"min_sigma": 0.42 * px_per_mm / 2**0.5, "max_sigma": 1.45 * px_per_mm / 2**0.5}
    best, spent = None, 0.0
    inside = int(((wall.y < 1500) & (wall.x < 2000) & (wall.seen >= 0.25)).sum())
    for threshold in (0.05, 0.1, 0.2, 0.3):
        began = time.process_time()
        blobs = blob_log(quarter, **span, num_sigma=10, threshold=threshold)
        spent = max(spent, (time.process_time() - began) * 4)
        best = min((abs(len(blobs) / inside - 1), len(blobs)), best or (9e9, 0))
    off = abs(count / wall.count - 1)
    print("what | measured | aim")
    print(f"12-megapixel wall, {wall.count} eggs: seconds | {ours:.2f} | under 3")
    print(f"the same: peak memory | {peak:.0f} MB | under 1000 MB")
    print(f"the same: counted | {count:.0f} ({low:.0f} to {high:.0f}), off by {off:.1%} | nearer than blob_log")
    print(f"blob_log, 10 sigmas, best of 4 thresholds, a quarter | {best[1]} of {inside}, off by {best[0]:.1%} | -")
    print(f"blob_log over ours: time | {spent / ours:.0f} times ({spent:.0f} s) | at least 10")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pictures", type=int, default=40)
    parser.add_argument("--seed", type=int, default=int(datetime.now(UTC).strftime("%Y%m%d")))
    parser.add_argument("--eggs", type=int, nargs="+", default=DENSITIES, help="only these numbers of eggs")
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--speed", action="store_true")
    asked = parser.parse_args()
    if asked.folder:
        counted_folder(asked.folder)
    elif asked.speed:
        speed()
    else:
        cv2.setNumThreads(1)
        drawn_walls(asked.pictures, asked.seed, asked.eggs)
