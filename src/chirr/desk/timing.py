"""Time and motion: minutes of each deed by tray type and person, learnt as distributions, and where the week goes."""

from __future__ import annotations

from collections import defaultdict

from chirr.book import ledger
from chirr.book.replay import voided
from chirr.desk import clock
from chirr.desk.trial_answers import Answer
from chirr.desk.trial_tables import TableFault
from chirr.engine.rounds.minutes import DEFAULT_MINUTES, LONGEST_MINUTES
from chirr.engine.trials.durations import Duration, learnt

WEEKS = 4
FEW = 3


def timing(*, since_days: int = 365, instead: dict[str, str] | None = None) -> Answer:
    """Minutes per deed, tray type and person, and the hours of a usual week.

    `instead` maps a tray type to the one that would take its place: the week's hours are then given for both.
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
    by_deed = {d: _of(timed, d) for d in sorted({k[0] for k in timed} | {k[0] for k in done})}
    by_tray = {k: _of(timed, *k) for k in sorted({(d, t) for d, t, _ in timed if t is not None})}
    return {
        "as_of": clock.local(now).isoformat(), "days": since_days,
        "deeds": [{"deed": d, **_told(x)} for d, x in by_deed.items()],
        "trays": [{"deed": d, "tray_type": t, **_told(x)} for (d, t), x in by_tray.items()],
        "people": _people(timed, by_deed),
        "week": _week(done, by_deed, by_tray, instead or {}),
    }  # fmt: skip


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
) -> list[Answer]:
    """Hours a week by deed, from how often it was done in the last weeks and how long it takes on the mean."""
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
