"""Trials: those of the book, and one of them on one sheet for the wall."""

from __future__ import annotations

import math
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from chirr.desk.spoken import say
from chirr.pages.access import SEE, door
from chirr.pages.display import about

WIDE, EDGE = 600.0, 30.0
"""The picture's width and the room left at its ends, in its own units."""


@door(SEE)
@require_GET
def trials(request: HttpRequest) -> HttpResponse:
    """Every trial with how far it has come."""
    from chirr.desk import trial_plans
    from chirr.desk import trials as desk

    rows = [(t, desk.so_far(t)) for t in trial_plans.all_trials().values()]
    return render(request, "chirr/trials.html", {"rows": rows})


@door(SEE)
@require_GET
def trial(request: HttpRequest, name: str) -> HttpResponse:
    """One trial: what is compared, who has which way, what is known so far."""
    from chirr.desk import trials as desk

    try:
        answer = desk.judged_trial(name)
    except LookupError as unknown:
        raise Http404(str(unknown)) from unknown
    plan = answer["plan"]
    context = {
        "a": answer, "plan": plan, "margin_pct": f"{100 * plan.get('margin', 0.1):.3g}",
        "bins": sorted(plan.get("bins", {}).items()),
        "rows": [
            {**w, **b, "mean": about(w["mean"]) if w["mean"] is not None else ""}
            for w, b in zip(answer["ways"], answer["balance"], strict=True)
        ],
        "pairs": [(p, picture(p)) for p in answer["pairs"]],
    }  # fmt: skip
    return render(request, "chirr/trial.html", context)


@door(SEE)
@require_GET
def labels(request: HttpRequest, name: str) -> HttpResponse:
    """Labels for the bins of a trial, to be printed and cut."""
    from chirr.desk.trials import labels_of

    try:
        plan, found = labels_of(name)
    except LookupError as unknown:
        raise Http404(str(unknown)) from unknown
    return render(request, "chirr/trial_labels.html", {"plan": plan, "labels": found})


def picture(pair: dict[str, Any]) -> dict[str, Any] | None:
    """Where margin, interval and ratio stand along a log axis; None before there is anything to draw."""
    ends, margin, ratio = pair.get("interval"), pair["margin"], pair.get("ratio")
    if not ends or ratio is None or None in ends or None in margin or min(ends) <= 0:
        return None
    logs = [math.log(x) for x in (*ends, *margin)]
    low, high = min(logs), max(logs)
    room = 0.15 * (high - low)

    def at(x: float) -> float:
        return round(EDGE + (WIDE - 2 * EDGE) * (math.log(x) - low + room) / (high - low + 2 * room), 1)

    left, right = at(margin[0]), at(margin[1])
    ticks = [(left, f"{100 * margin[0]:.0f} %"), (at(1.0), "100 %"), (right, f"{100 * margin[1]:.0f} %")]
    return {
        "margin_x": left, "margin_width": round(right - left, 1), "low": at(ends[0]), "high": at(ends[1]),
        "mid": at(ratio), "one": at(1.0), "ticks": ticks,
        "says": say(
            "ratio {ratio:.1f} %, interval {low:.1f} to {high:.1f} %, margin {from_:.1f} to {to:.1f} %",
            ratio=100.0 * ratio, low=100.0 * ends[0], high=100.0 * ends[1],
            from_=100.0 * margin[0], to=100.0 * margin[1],
        ),
    }  # fmt: skip
