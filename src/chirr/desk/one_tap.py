"""What one tap writes: names for new clutches and lots, the bin a tray goes to, the substrate it gets.

Every choice follows what the farm itself did last; where it gives no hint, the item asks. Choices are made along the
walk and never twice, and they do not change for the stops left over when some stops have been done.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from datetime import date
from itertools import count

from chirr.book.standing import BinNow, Clutch, Lot, Standing
from chirr.deeds import DEEDS
from chirr.desk.round_jobs import is_clean
from chirr.engine.rounds.days import Days, longest_gap_days
from chirr.engine.rounds.due import Job

RECENT_PULLS = 7
RECENT_CLUTCHES = 300
RECENT_NAMES = 3000
_NUMBERED = re.compile(r"^(?P<head>.*?)(?P<number>\d+)(?P<tail>\D*)$", re.DOTALL)

_UNITS = {"harvest": {"unit": "kg"}, "weigh": {"unit": "g"}}

Answer = tuple[dict[str, str], tuple[str, ...]]
"""Columns filled, and columns still to be asked for."""


class Offers:
    """Fills the columns of one day's jobs; ask once for each job, in walking order."""

    def __init__(self, standing: Standing, *, swap_days: Days, cycles: int, day: date, day_start: int) -> None:
        self._s = standing
        self._joins_since = day_start - longest_gap_days(swap_days) * 86400
        self._cycles = cycles
        self._day = day
        self._clutches = list(standing.clutches.values())  # replay puts them there in order of laying
        self._last_in = {c.bin: c for c in self._clutches}
        pulled = [c for c in self._clutches[-RECENT_CLUTCHES:] if c.pulled_at is not None and len(c.stays) > 1]
        self._pulled = sorted(pulled, key=lambda c: (c.pulled_at or 0, c.name))
        self._clutch_names = Names([c.name for c in self._clutches if c.laid_at < day_start], set(standing.clutches))
        grown = [x.name for x in standing.lots.values() if x.origin == "clutches" and x.named_at < day_start]
        self._lot_names = Names(grown, set(standing.lots))
        self._free = [b for b in standing.bins.values() if is_free(b)]

    def answer(self, job: Job) -> Answer:
        """Columns that doing the job writes, and those that a person must still fill."""
        known = {c for way in DEEDS[job.deed].needs for c in way} | set(DEEDS[job.deed].may)
        things = {"bin": job.bin, "lot": job.lot, "clutch": job.clutch}
        filled = {name: value for name, value in things.items() if value is not None and name in known}
        ways = {"lay": self._lay, "pull": self._pull, "move": self._move, "split": self._split}
        more, asks = ways[job.deed](job) if job.deed in ways else (_UNITS.get(job.deed, {}), ())
        return {**filled, **dict(job.fill), **more}, (*job.asks, *asks)

    def _lay(self, job: Job) -> Answer:
        before, drawn = self._last_in.get(job.bin or ""), dict(job.fill)
        filled = {"clutch": self._clutch_names.next(self._day, before.name if before else None)}
        tray = drawn.get("tray_type") or (before.tray_type if before else self._usual_tray())
        if tray:
            filled["tray_type"] = tray
        batch, asks = ({}, ()) if {"substrate", "cycle"} & drawn.keys() else self._substrate()
        return {**filled, **batch}, (() if tray else ("tray_type",)) + asks

    def _usual_tray(self) -> str | None:
        used = Counter(c.tray_type for c in self._clutches[-200:])
        return used.most_common(1)[0][0] if used else None

    def _substrate(self) -> Answer:
        """The batch and cycle of the last tray laid, while it may still be used."""
        last = self._clutches[-1] if self._clutches else None
        if last is None or last.substrate is None:
            return {}, ()
        if last.cycle is None:
            return {"substrate": last.substrate}, ()
        if last.cycle > self._cycles:
            return {}, ("substrate", "cycle")
        return {"substrate": last.substrate, "cycle": str(last.cycle)}, ()

    def _pull(self, job: Job) -> Answer:
        if job.clutch is None:
            return {}, ()
        recent = self._pulled[-RECENT_PULLS:]
        rack = self._rack(job.bin)
        if rack and sum(c.stays[1].bin is None for c in recent) * 2 > len(recent):
            return {"to_place": rack}, ()
        joined = self._lot_begun_here(job.bin, recent)
        if joined is not None:
            return {"to_bin": joined.bin or "", "to_lot": joined.name}, ()
        filled = self._own_bin(job)
        if filled:
            return filled, ()
        return ({"to_place": rack}, ()) if rack else ({}, ("to_bin", "to_lot"))

    def _rack(self, bin_: str | None) -> str | None:
        """The rack place that the last tray of this bin went to, else of its room, else of the farm."""
        here = self._s.bins.get(bin_ or "")
        room = here.room if here else None
        racked = [c for c in reversed(self._pulled) if c.stays[1].bin is None]
        if not racked:
            return None
        stay = min(racked, key=lambda c: (c.bin != bin_, c.stays[1].room != room)).stays[1]
        return f"{stay.room}/{stay.stack}/{stay.level}"

    def _move(self, job: Job) -> Answer:
        filled = self._own_bin(job)
        return (filled, ()) if filled else ({}, ("to_bin", "to_lot"))

    def _split(self, job: Job) -> Answer:
        lot = job.lot or ""
        part = next(name for n in range(26 * 27) if (name := f"{lot}{_letters(n)}") not in self._s.lots)
        target = self._free_bin("grow-out", job.bin)
        filled = {"to_lot": part, "unit": "crickets"}
        return ({**filled, "to_bin": target}, ()) if target else (filled, ("to_bin",))

    def _lot_begun_here(self, bin_: str | None, recent: list[Clutch]) -> Lot | None:
        """The waiting nursery lot that the last tray of this bin began or joined, within a swap, if trays of this
        farm share lots and it has fewer of them than others got."""
        lots = self._s.lots
        before = next((c for c in reversed(self._pulled) if c.bin == bin_), None)
        lot = lots.get(before.to_lot or "") if before else None
        if before is None or lot is None or not lot.alive or lot.bin is None or lot.began_at is not None:
            return None
        others = [len(lots[c.to_lot].clutches) for c in recent if c.to_lot in lots and c.to_lot != lot.name]
        usual = sorted(others)[len(others) // 2] if others else 1
        return lot if len(lot.clutches) < usual and (before.pulled_at or 0) >= self._joins_since else None

    def _own_bin(self, job: Job) -> dict[str, str]:
        target = self._free_bin("nursery", job.bin)
        return {"to_bin": target, "to_lot": self._lot_names.next(self._day, None)} if target else {}

    def _free_bin(self, duty: str, near: str | None) -> str | None:
        """An empty, clean bin that no other job of the day was given; in the same room if there is one."""
        here = self._s.bins.get(near or "")
        free = [b for b in self._free if b.duty == duty]  # in the farm's own order
        if not free:
            return None
        given = next((b for b in free if here is not None and b.room == here.room), free[0])
        self._free.remove(given)
        return given.name


def is_free(bin_: BinNow) -> bool:
    """Whether a bin is empty and clean."""
    return not (bin_.lots or bin_.trays or bin_.hatching) and is_clean(bin_)


class Names:
    """The next free names after the farm's own pattern: C12, C13...

    Numbers are counted on from the names of before today, in order of time, so the names given to the stops left
    over stay the same when others are done first.
    """

    def __init__(self, before_today: list[str], taken: set[str]) -> None:
        self._before = before_today[-RECENT_NAMES:]
        self._taken = set(taken)
        self._frames: dict[tuple[str, str], list[int]] | None = None

    def next(self, day: date, like: str | None) -> str:
        """A name that nothing has yet, like `like` (else the latest name) if such names count up, else the date."""
        example = _NUMBERED.match(like or (self._before[-1] if self._before else ""))
        if example is not None:
            numbers = self._numbers().get((example["head"], example["tail"]), [])
            if len(numbers) > 1 or len(self._before) <= 2:
                width = len(example["number"]) if example["number"].startswith("0") else 0
                top = max(numbers, default=int(example["number"]))
                return self._first_free(lambda n: f"{example['head']}{top + n:0{width}d}{example['tail']}")
        return self._first_free(lambda n: f"{day:%Y%m%d}-{n}")

    def _numbers(self) -> dict[tuple[str, str], list[int]]:
        """Numbers seen in each pattern of names."""
        if self._frames is None:
            self._frames = {}
            for name in self._before:
                if found := _NUMBERED.match(name):
                    self._frames.setdefault((found["head"], found["tail"]), []).append(int(found["number"]))
        return self._frames

    def _first_free(self, nth: Callable[[int], str]) -> str:
        name = next(name for n in count(1) if (name := nth(n)) not in self._taken)
        self._taken.add(name)
        return name


def _letters(n: int) -> str:
    """b, c, ... z, then ab, bb...: what marks a part split off."""
    return chr(ord("b") + n) if n < 25 else chr(ord("a") + (n - 25) // 26) + chr(ord("a") + (n - 25) % 26)
