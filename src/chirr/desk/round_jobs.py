"""From the standing of the farm and the belief in it to the jobs of a day."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date

from chirr.book.standing import BinNow, Clutch, Lot, Standing
from chirr.desk.shapes import Band, Beliefs
from chirr.desk.trial_round import as_drawn, drawn_on, stay_days
from chirr.engine.rounds import care, lots, trays
from chirr.engine.rounds.due import Job
from chirr.records import FarmCard

_LAST_SECOND = 250_000_000_000
_SWAPS_BACK_S = 30 * 86400


@dataclass(kw_only=True)
class Scene:
    """All that the jobs of one day rest on. `today_start` is the first second of today, `day_of` turns a time into the
    farm's date; `looked` says on which day a note was last written about a lot or clutch."""

    standing: Standing
    card: FarmCard
    beliefs: Beliefs
    day: date
    today: date
    today_start: int
    day_of: Callable[[float], date]
    looked: dict[str, date] = field(default_factory=dict)

    def days_of(self, band: Band | None) -> tuple[date, date, date] | None:
        """Early, likely and late day of a band of times, 8 chances in 10 between, as every page shows it; None where
        the likely one never comes."""
        return None if band is None else self._days(band.low, band.mid, band.high)

    def wide_days_of(self, band: Band | None) -> tuple[date, date, date] | None:
        """The same with 9 chances in 10 between, where coming too late costs pinheads."""
        return None if band is None else self._days(band.q[0], band.mid, band.q[6])

    def _days(self, *times: float) -> tuple[date, date, date] | None:
        if not math.isfinite(times[1]):
            return None
        early, likely, late = (self.day_of(min(max(at, 0.0), _LAST_SECOND)) for at in times)
        return early, likely, late


@dataclass(frozen=True)
class DayJobs:
    """Jobs of a day, and the bins that are walked as sick or as hatching."""

    jobs: list[Job]
    sick: set[str]
    hatching: set[str]


def jobs_of(scene: Scene) -> DayJobs:
    """Every job of the scene's day, in no order."""
    s, day, today = scene.standing, scene.day, scene.today
    found = DayJobs([], set(), set())
    lot_cares = _lot_cares(scene)
    drawn, leaving = drawn_on(day), set()
    for lot_care in lot_cares:
        jobs = lots.lot_jobs(lot_care, day, today)
        found.jobs.extend(jobs)
        if lots.leaves(lot_care, jobs) and lot_care.bin not in drawn:  # a trial's trays are laid to its end
            leaving.add(lot_care.lot)
        if lots.in_trouble(lot_care, day):
            found.sick.add(lot_care.bin)
    ready = {lot.bin for lot in lot_cares if lot.ready and (lot.ready[1] - day).days <= 1 and not lot.breeding}
    for bin_ in s.bins.values():
        found.jobs.extend(care.care_jobs(_bin_care(scene, bin_, ready), scene.card.feed_days, day, today))
    for laying in _laying_bins(scene, leaving):
        of_trials = drawn.get(laying.bin, [])
        swap_days = stay_days(of_trials) or scene.card.swap_days
        swaps = trays.swap_jobs(laying, swap_days, day, today)
        found.jobs.extend(as_drawn(job, of_trials, s) for job in swaps)
    for clutch in _clutch_cares(scene):
        found.jobs.extend(trays.clutch_jobs(clutch, scene.card.substrate_cycles, day, today))
        if clutch.bin is not None and trays.near_hatching(clutch, day):
            found.hatching.add(clutch.bin)
    return found


def _here(scene: Scene, bin_: BinNow) -> list[Lot]:
    """Lots whose animals are in the bin: not those whose clutches are all still to hatch."""
    found = [scene.standing.lots[name] for name in bin_.lots]
    return [lot for lot in found if lot.alive and lot.began_at is not None]


def _came_at(lot: Lot) -> int:
    """When the lot's animals came into the bin where they are: carrying the bin is not coming into it."""
    came = lot.stays[-1].at if lot.stays else lot.named_at
    for stay in reversed(lot.stays):
        if stay.bin != lot.bin:
            break
        came = stay.at
    return max(came, lot.began_at or 0)


def _bin_care(scene: Scene, bin_: BinNow, ready: set[str]) -> care.BinCare:
    def on(at: int | None) -> date | None:
        return None if at is None else scene.day_of(at)

    here = _here(scene, bin_)
    gone = bin_.vacated_at
    return care.BinCare(
        bin=bin_.name,
        lots=tuple(lot.name for lot in here),
        occupied=bool(bin_.lots or bin_.trays or bin_.hatching),
        came_on=on(max((_came_at(lot) for lot in here), default=None)),
        fed_on=on(bin_.fed_at),
        watered_on=on(bin_.watered_at),
        vacated_on=on(gone),
        clean=is_clean(bin_),
        to_harvest=bin_.name in ready,
    )


def is_clean(bin_: BinNow) -> bool:
    """Whether a bin was cleaned since its last crickets left."""
    return bin_.vacated_at is None or (bin_.cleaned_at is not None and bin_.cleaned_at >= bin_.vacated_at)


def _laying_bins(scene: Scene, leaving: set[str]) -> list[trays.LayingBin]:
    s, since = scene.standing, scene.today_start - _SWAPS_BACK_S
    pulled: dict[str, list[date]] = {}
    laid: dict[str, list[date]] = {}
    for clutch in s.clutches.values():
        if (clutch.pulled_at or 0) >= since:
            pulled.setdefault(clutch.bin, []).append(scene.day_of(clutch.pulled_at or 0))
        if clutch.laid_at >= since:
            laid.setdefault(clutch.bin, []).append(scene.day_of(clutch.laid_at))
    found = []
    for bin_ in s.bins.values():
        lot = next(iter(_here(scene, bin_)), None)
        lays = lot is not None and bin_.duty == "breeding" and _adult(scene, lot)
        if not lays and not bin_.trays:
            continue
        inside = tuple(_tray_in(scene, s.clutches[name]) for name in bin_.trays)
        found.append(
            trays.LayingBin(
                bin=bin_.name, lot=lot.name if lot else None, lays=lays, trays=inside,
                leaves=lot is not None and lot.name in leaving,
                pulled_on=tuple(pulled.get(bin_.name, ())), laid_on=tuple(laid.get(bin_.name, ())),
            )
        )  # fmt: skip
    return found


def _adult(scene: Scene, lot: Lot) -> bool:
    """Whether a lot in a breeding bin lays: stocked as adults, or believed to be grown up, to a twentieth."""
    belief = scene.beliefs.lots.get(lot.name)
    return belief is None or lot.stage == "adult" or belief.progress >= 0.95


def _tray_in(scene: Scene, clutch: Clutch) -> trays.TrayIn:
    window = _window(scene, clutch)
    laid_on = scene.day_of(clutch.laid_at)
    return trays.TrayIn(clutch=clutch.name, laid_on=laid_on, hatches_on=window[0] if window else None)


def _window(scene: Scene, clutch: Clutch) -> tuple[date, date, date] | None:
    """The hatch window as it was expected before anybody looked in vain; else a late clutch would never be overdue."""
    belief = scene.beliefs.clutches.get(clutch.name)
    return scene.wide_days_of(belief.expected_first) if belief else None


def _clutch_cares(scene: Scene) -> list[trays.ClutchCare]:
    clutches = scene.standing.open_clutches()
    of_batch = Counter(c.substrate for c in clutches if c.substrate)
    found = []
    for clutch in clutches:
        belief, here = scene.beliefs.clutches.get(clutch.name), clutch.here
        settled = scene.wide_days_of(belief.half_hatched) if belief else None
        found.append(
            trays.ClutchCare(
                clutch=clutch.name,
                pulled=clutch.pulled_at is not None,
                bin=here.bin,
                place=f"{here.room}/{here.stack}/{here.level}",
                hatched_on=None if clutch.hatched_at is None else scene.day_of(clutch.hatched_at),
                window=_window(scene, clutch),
                settled_on=settled[2] if settled else None,
                substrate=clutch.substrate,
                cycle=clutch.cycle,
                last_of_batch=of_batch[clutch.substrate or ""] == 1,
                looked_today=scene.looked.get(f"clutch:{clutch.name}") == scene.today == scene.day,
            )
        )
    return found


def _lot_cares(scene: Scene) -> list[lots.LotCare]:
    s = scene.standing
    found = []
    for lot in s.live_lots():
        belief = scene.beliefs.lots.get(lot.name)
        if belief is None or lot.bin is None or lot.began_at is None:
            continue
        weighed = [f.at for f in lot.facts if f.kind == "weigh"]
        dead = [f for f in lot.facts if f.kind == "deaths" and f.at >= scene.today_start - 12 * 86400]
        found.append(
            lots.LotCare(
                lot=lot.name,
                bin=lot.bin,
                breeding=s.bins[lot.bin].duty == "breeding",
                alive=belief.alive.mid,
                per_cm2=belief.per_cm2.mid,
                progress=belief.progress,
                began_on=scene.day_of(lot.began_at),
                ready=scene.days_of(belief.harvest_ready),
                weighed_on=scene.day_of(max(weighed)) if weighed else None,
                deaths=tuple((scene.day_of(f.at), f.quantity or 0.0) for f in dead),
                retire=_retiring(scene, lot),
                looked_on=scene.looked.get(f"lot:{lot.name}"),
                sharpens=scene.beliefs.sharpen.get(lot.name),
            )
        )
    return found


def _retiring(scene: Scene, lot: Lot) -> lots.Retiring | None:
    """What the breeders page says of a lot; None for one that does not breed."""
    r = scene.beliefs.retire.get(lot.name)
    on = scene.days_of(r.retire) if r is not None else None
    if r is None or on is None:
        return None
    follows = scene.days_of(r.follower.lays) if r.follower is not None else None
    return lots.Retiring(
        on=on, by="spent" if r.half_of_peak.mid <= r.better_renewed.mid else "renew", trays_share=r.trays_share,
        follower=r.follower.lot if r.follower is not None and follows is not None else None,
        followed_on=follows[1] if follows is not None else None,
    )  # fmt: skip
