"""Run every benchmark, each in a process of its own, and print one table."""

from __future__ import annotations

import os
import platform
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
SCRIPTS = ("import_replay.py", "ahead.py", "entry.py", "pages.py", "speed.py", "prints.py", "counting.py --speed")


def main() -> int:
    rows, failed = [], 0
    for script in SCRIPTS:
        print(f"bench/{script} ...", file=sys.stderr, flush=True)
        name, *options = script.split()
        run = subprocess.run([sys.executable, HERE / name, *options], stdout=subprocess.PIPE, text=True, check=False)
        rows += [[cell.strip() for cell in line.split("|")] for line in run.stdout.splitlines() if line.count("|") == 2]
        if run.returncode:
            failed = 1
            print(f"bench/{script} ended with status {run.returncode}", file=sys.stderr)
    print(f"\n{os.cpu_count()} processors, {platform.machine()}, Python {platform.python_version()}\n")
    widths = [max((len(row[i]) for row in rows), default=0) for i in range(3)]
    for row in rows:
        print("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())
    return failed


if __name__ == "__main__":
    sys.exit(main())
