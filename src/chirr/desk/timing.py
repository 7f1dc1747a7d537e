"""Time and motion: minutes of each deed by tray type and person, set-up of rooms and stacks, where the week goes."""

from __future__ import annotations

from collections import defaultdict

from chirr.book import ledger
from chirr.book.replay import voided
from chirr.desk import clock
from chirr.desk.trial_answers import Answer
from chirr.desk.trial_tables import TableFault
from chirr.desk.usual_week import otherwise, pace_of, usual_minutes, walks_of, ways_on, week_of
from chirr.desk.visits import Spot, spots, timed_visits
from chirr.engine.errors import EngineError
from chirr.engine.rounds.minutes import DEFAULT_MINUTES, LONGEST_MINUTES
from chirr.engine.trials.durations import Duration, learnt, set_up_and_each

WEEKS = 4
WALKING = "on the way"
FEW = 3


def timing(
    *,
    since_days: int = 365,
    instead: dict[str, str] | None = None,
    levels: int | None = None,
    bins: int | None = None,
) -> Answer:
    """Minutes per deed, tray type and person, set-up and ways, the hours of a usual week, and the week otherwise.

    `instead` maps a tray type to the one that would take its place: the week's hours are then given for both. `levels`
    and `bins` are a stack height and a number of bins to look at; without them, a few about the present ones.
    """
    s, now = ledger.live(), clock.now()
    void = voided(ledger.entries("replaces IS NOT NULL"))
    timed: dict[tuple[str, str | None, str | None], list[float]] = defaultdict(list)
    done: dict[tuple[str, str | None], int] = defaultdict(int)
    for e in ledger.entries("at >= %s AND at <= %s", (now - since_days * 86400, now)):
        if e.id in void or e.deed in ("note", "correct"):
            continue
        clutch = s.clutches.get(e.clutch or "")
        tray = clutch.tray_type if clutch and e.deed in ("lay", "pull", "empty") else None
        if e.minutes is not None and 0 < e.minutes <= LONGEST_MINUTES:
            timed[e.deed, tray, e.person].append(e.minutes)
        if e.at > now - WEEKS * 7 * 86400:
            done[e.deed, tray] += 1
    found = spots(s, now - since_days * 86400, now)
    by_deed = {d: _of(timed, d) for d in sorted({k[0] for k in timed} | {k[0] for k in done})}
    by_tray = {k: _of(timed, *k) for k in sorted({(d, t) for d, t, _ in timed if t is not None})}
    ways = ways_on(found, {d: x.middle for d, x in by_deed.items()})
    late = [x for x in found if x.at > now - WEEKS * 7 * 86400]
    pace = pace_of(ways)
    walked = week_of(walks_of(late, by_deed, by_tray), pace, weeks=WEEKS).walking
    return {
        "as_of": clock.local(now).isoformat(), "days": since_days,
        "deeds": [{"deed": d, **_told(x)} for d, x in by_deed.items()],
        "trays": [{"deed": d, "tray_type": t, **_told(x)} for (d, t), x in by_tray.items()],
        "people": _people(timed, by_deed),
        "set_up": {
            "room": _told(ways.room), "stack": _told(ways.stack), "bin": _told(ways.bin),
            "rooms": _rooms(found, by_deed, by_tray),
        },
        "week": _week(done, by_deed, by_tray, instead or {}, walked),
        "otherwise": otherwise(s, late, by_deed, by_tray, pace, weeks=WEEKS, levels=levels, bins=bins),
    }  # fmt: skip


def _rooms(found: list[Spot], by_deed: dict[str, Duration], by_tray: dict[tuple[str, str], Duration]) -> list[Answer]:
    """For each room: minutes of a visit before its deeds, and its pace in them, from timed visits of different size.

    Only where the clock ran through the whole visit does a visit's time hold any set-up.
    """
    out = []
    for room, visits in sorted(timed_visits(found).items()):
        usual = [sum(usual_minutes(x, by_deed, by_tray) for x in v) for v in visits]
        spent = [sum(x.minutes or 0.0 for x in v) for v in visits]
        try:
            set_up, pace = set_up_and_each(usual, spent)
        except EngineError:
            continue
        out.append({"room": room, "visits": len(visits), "set_up_minutes": set_up, "pace": pace})
    return out


def _of(timed: dict[tuple[str, str | None, str | None], list[float]], deed: str, tray: str | None = None) -> Duration:
    own = [m for (d, t, _), ms in timed.items() if d == deed and (tray is None or t == tray) for m in ms]
    return learnt(own, DEFAULT_MINUTES.get(deed) or 1.0)


def _told(d: Duration) -> Answer:
    return {
        "timed": d.n, "middle": d.middle, "mean": d.mean, "low": d.low, "high": d.high,
        "middle_interval": list(d.middle_interval),
    }  # fmt: skip


def _people(timed: dict[tuple[str, str | None, str | None], list[float]], by_deed: dict[str, Duration]) -> list[Answer]:
    """Pace of each person against all: mean log of their minutes over the middle of the deed, as a ratio."""
    import numpy as np

    logs: dict[str, list[float]] = defaultdict(list)
    for (deed, _, person), minutes in timed.items():
        if person is not None:
            logs[person] += [float(np.log(m / by_deed[deed].middle)) for m in minutes]
    return [
        {"person": p, "timed": len(x), "pace": float(np.exp(np.mean(x)))}
        for p, x in sorted(logs.items())
        if len(x) >= FEW
    ]


def _week(
    done: dict[tuple[str, str | None], int],
    by_deed: dict[str, Duration],
    by_tray: dict[tuple[str, str], Duration],
    instead: dict[str, str],
    walked: float,
) -> list[Answer]:
    """Hours a week by deed, from how often it was done in the last weeks and how long it takes on the mean; and of the
    way between them, `walked`."""
    known = {t for _, t in by_tray}
    for old, new in instead.items():
        if not {old, new} <= known:
            have = ", ".join(sorted(known)) or "none"
            raise TableFault(f"No timed swap of {new if old in known else old} is in the book; timed are: {have}.")
    hours: dict[str, float] = defaultdict(float)
    other: dict[str, float] = defaultdict(float)
    for (deed, tray), n in done.items():
        mean = (by_tray.get((deed, tray)) if tray else None) or by_deed[deed]
        swap = by_tray.get((deed, instead[tray])) if tray in instead else None
        hours[deed] += n / WEEKS * mean.mean / 60
        other[deed] += n / WEEKS * (swap or mean).mean / 60
    if walked > 0:
        hours[WALKING] = other[WALKING] = walked
    total = sum(hours.values())
    rows = [
        {
            "deed": d,
            "hours": h,
            "share": h / total if total else 0.0,
            **({"hours_instead": other[d]} if instead else {}),
        }
        for d, h in sorted(hours.items(), key=lambda kv: -kv[1])
    ]
    whole: Answer = {"deed": "all", "hours": total, "share": 1.0}
    return [*rows, whole | ({"hours_instead": sum(other.values())} if instead else {})]
