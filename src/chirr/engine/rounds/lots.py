"""Lots: trouble to look into, splitting, harvest, retiring breeders, weighing."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from chirr.engine.rounds.days import ago, day_in_words, first_falls
from chirr.engine.rounds.due import Job
from chirr.says import said

CROWDED_PER_CM2 = 0.3
"""Crickets per cm2 of floor and hides above which a lot is to be split: between the 0.19 and 0.47 per cm2 of the
density trial from day 14 to maturity, where survival fell from the one to the other [published: Mahavidanage et al.
2023, J. Orthoptera Res. 32:25-31]. The figure between them is judgement."""
CROWDED_FROM_PROGRESS = 1 / 3
"""That trial begins at day 14, about a third of the way from hatch to adult; younger crickets stand closer unharmed."""
HARVEST_SOON_DAYS = 3
WEIGH_EVERY_DAYS = 7
"""A sample weighed weekly per growing lot (common practice; weekly too in Ng'ong'a et al. 2021)."""
DEATHS_SHARE = 0.01
DEATHS_TIMES_MEAN = 3.0
"""Alert when daily deaths pass 1 % of the standing count on two days in a row, or three times the lot's own
seven-day mean (common practice, no published source)."""
DEATHS_FLOOR_SHARE = 0.002
"""Below this share of the standing count a day's deaths are chance, whatever the mean was (judgement)."""
ALERT_DAYS = 3
"""An alert stays until somebody has looked, at most this long after the day that raised it (judgement)."""


@dataclass(frozen=True, kw_only=True)
class Retiring:
    """When breeders have had their day: early, likely and late (8 chances in 10 between), by what ('spent', or 'renew'
    where a fresh lot gives more), what their last trays held of the best one if that says so, and the next lot that
    could follow with the likely day on which it lays."""

    on: tuple[date, date, date]
    by: str
    trays_share: float | None = None
    follower: str | None = None
    followed_on: date | None = None


@dataclass(frozen=True, kw_only=True)
class LotCare:
    """A lot whose animals are there. `alive` and `per_cm2` are medians; `ready` are the early, likely and late days of
    harvest; `deaths` (day, dead crickets) in order of time; `looked_on` the last day somebody wrote a note about it;
    `sharpens` says what a weighing today would do to its forecast, for the few lots where that is most."""

    lot: str
    bin: str
    breeding: bool
    alive: float
    per_cm2: float
    progress: float
    began_on: date | None = None
    ready: tuple[date, date, date] | None = None
    weighed_on: date | None = None
    deaths: tuple[tuple[date, float], ...] = ()
    retire: Retiring | None = None
    looked_on: date | None = None
    sharpens: str | None = None


def lot_jobs(lot: LotCare, day: date, today: date) -> list[Job]:
    """Everything that falls due for one lot on `day`."""
    jobs = _trouble(lot, day, today)
    if lot.breeding:
        return jobs + _retire(lot, day, today)
    harvest = _harvest(lot, day, today)
    jobs += harvest
    if not any(job.urgency != "soon" for job in harvest):
        jobs += _split(lot, day, today)
    return jobs + _weigh(lot, day, today)


def death_alert(lot: LotCare, day: date) -> tuple[date, str] | None:
    """The latest day, up to `day`, whose deaths raise the alert, and why; None when there is none.

    The standing count is the one of now; the seven-day mean is over the days on which deaths were written down, and
    needs two of them.
    """
    per_day: dict[date, float] = {}
    for on, dead in lot.deaths:
        per_day[on] = per_day.get(on, 0.0) + dead
    for on in sorted((d for d in per_day if d <= day), reverse=True):
        share = per_day[on] / max(lot.alive, 1.0)
        before = per_day.get(on - timedelta(days=1), 0.0) / max(lot.alive, 1.0)
        if share > DEATHS_SHARE and before > DEATHS_SHARE:
            return on, said(
                "{dead:,.0f} dead on {day}, over 1 % of the lot two days running",
                dead=per_day[on],
                day=day_in_words(on),
            )
        week = [n for d, n in per_day.items() if timedelta(0) < on - d <= timedelta(days=7)]
        mean = sum(week) / len(week) if len(week) >= 2 else None
        if mean is not None and share > DEATHS_FLOOR_SHARE and per_day[on] > DEATHS_TIMES_MEAN * mean:
            return on, said(
                "{dead:,.0f} dead on {day}, over three times its week's mean of {mean:,.0f}",
                dead=per_day[on],
                day=day_in_words(on),
                mean=mean,
            )
    return None


def in_trouble(lot: LotCare, day: date) -> str | None:
    """Why a lot counts as sick on `day`, until its alert is out of date; None when it does not."""
    alert = death_alert(lot, day)
    return alert[1] if alert is not None and (day - alert[0]).days <= ALERT_DAYS else None


def _trouble(lot: LotCare, day: date, today: date) -> list[Job]:
    alert = death_alert(lot, day)
    if alert is None or day > today or (day - alert[0]).days > ALERT_DAYS:
        return []
    if lot.looked_on is not None and lot.looked_on >= alert[0]:
        return []
    why = said("{alert}: look at water, heat, air and crowding; keep its tools apart", alert=alert[1])
    return [
        _job(
            lot,
            "look",
            said("Look at lot {lot} in {bin}", lot=lot.lot, bin=lot.bin),
            why=why,
            urgency="overdue",
            deed="note",
            asks=("note",),
        )
    ]


def _split(lot: LotCare, day: date, today: date) -> list[Job]:
    if day > today or lot.progress < CROWDED_FROM_PROGRESS or lot.per_cm2 <= CROWDED_PER_CM2:
        return []
    over = lot.alive * (1 - CROWDED_PER_CM2 / lot.per_cm2)
    why = said(
        "{per_cm2:.2f} crickets to each cm2 of floor and hides, over {limit}; about {over:,.0f} too many",
        per_cm2=lot.per_cm2, limit=CROWDED_PER_CM2, over=over,
    )  # fmt: skip
    return [
        _job(lot, "split", said("Split or thin lot {lot}", lot=lot.lot), why=why, urgency="due", asks=("quantity",))
    ]


def _harvest(lot: LotCare, day: date, today: date) -> list[Job]:
    if lot.ready is None:
        return []
    early, likely, late = lot.ready
    window = said(
        "between {early} and {late}, likeliest {likely}",
        early=day_in_words(early), late=day_in_words(late), likely=day_in_words(likely),
    )  # fmt: skip
    window = said("now") if late <= day == early else window
    if first_falls(likely, day, today):
        urgency = "overdue" if day > late else "due"
        return [
            _job(
                lot,
                "harvest",
                said("Harvest lot {lot}", lot=lot.lot),
                why=said("ready {when}", when=window),
                urgency=urgency,
                asks=("quantity",),
            )
        ]
    if day == today and (likely - day).days <= HARVEST_SOON_DAYS:
        why = said("ready {when}; have the freezer and a fasting day in mind", when=window)
        return [
            _job(
                lot,
                "harvest",
                said("Lot {lot} is nearly ready", lot=lot.lot),
                why=why,
                urgency="soon",
                asks=("quantity",),
            )
        ]
    return []


def _retire(lot: LotCare, day: date, today: date) -> list[Job]:
    r = lot.retire
    if r is None:
        return []
    early, likely, late = r.on
    if not first_falls(today if r.trays_share is not None else likely, day, today):
        return []
    if r.trays_share is not None:
        why = said("its last trays held {share:.0%} of its best one", share=r.trays_share)
    elif r.by == "spent":
        why = said(
            "its eggs fall below half of their peak about {likely}, between {early} and {late}",
            likely=day_in_words(likely), early=day_in_words(early), late=day_in_words(late),
        )  # fmt: skip
    else:
        why = said(
            "a fresh lot in its bin gives more from about {likely}, between {early} and {late}",
            likely=day_in_words(likely), early=day_in_words(early), late=day_in_words(late),
        )  # fmt: skip
    keep = r.followed_on is not None and r.followed_on > day
    if keep and r.follower is not None and r.followed_on is not None:
        why = said(
            "{why}; nothing follows before lot {lot} lays, about {day}: keep it until then, or buy some in",
            why=why, lot=r.follower, day=day_in_words(r.followed_on),
        )  # fmt: skip
    elif r.followed_on is None:
        why = said("{why}; no growing lot could follow it: buy some in", why=why)
    what = said("Retire breeders {lot}", lot=lot.lot)
    urgency = "soon" if keep else "overdue" if day > max(late, r.followed_on or late) else "due"
    return [_job(lot, "retire", what, why=why, urgency=urgency)]


def leaves(lot: LotCare, jobs: list[Job]) -> bool:
    """Whether breeders are to be retired by these jobs of a day, and others lay by then."""
    goes = any(job.deed == "retire" and job.urgency != "soon" for job in jobs)
    return goes and lot.retire is not None and lot.retire.followed_on is not None


def _weigh(lot: LotCare, day: date, today: date) -> list[Job]:
    if lot.sharpens is not None and day == today and lot.weighed_on != day:
        return [_weighing(lot, lot.sharpens)]
    last = lot.weighed_on or lot.began_on
    if last is None or lot.progress >= 1 or not first_falls(last + timedelta(days=WEIGH_EVERY_DAYS), day, today):
        return []
    if lot.weighed_on is None:
        return [_weighing(lot, said("not weighed yet; a sample sharpens its forecast"))]
    why = said("weighed {ago}; a sample sharpens its forecast", ago=ago(lot.weighed_on, day))
    return [_weighing(lot, why)]


def _weighing(lot: LotCare, why: str) -> Job:
    what = said("Weigh a sample of lot {lot}", lot=lot.lot)
    return _job(lot, "weigh", what, why=why, urgency="optional", asks=("sample", "quantity"))


def _job(
    lot: LotCare, name: str, what: str, *, why: str, urgency: str, deed: str = "", asks: tuple[str, ...] = ()
) -> Job:
    return Job(
        key=f"{name}:{lot.lot}", deed=deed or name, what=what, why=why, urgency=urgency, bin=lot.bin, lot=lot.lot,
        asks=asks,
    )  # fmt: skip
