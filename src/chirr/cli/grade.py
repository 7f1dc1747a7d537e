"""The command that grades the forecasts: grade."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from chirr.cli.farm import open_farm
from chirr.cli.say import Trouble, progress, say, say_json, sorry, table

if TYPE_CHECKING:
    from chirr.desk.grade_report import Grade, KindGrade


def grade(
    dates: Annotated[
        int, typer.Option(min=1, max=500, help="Forecast the past from at most so many days, evenly chosen.")
    ] = 26,
    every: Annotated[int, typer.Option(min=1, max=90, help="Days between two of them, at least.")] = 7,
    draws: Annotated[int, typer.Option(min=50, max=100_000, help="How many ways it may go are drawn.")] = 400,
    json: Annotated[bool, typer.Option("--json", help="JSON, for other programs.")] = False,
) -> None:
    """How good the forecasts have been: the past forecast again, and held against what the book says came.

    Each forecast knows only what the book held up to its day. It takes a few seconds for each day; the result is kept
    beside the book, and the pages show it until the next. One of fewer days than usual is only told, not kept.
    """
    open_farm()
    from chirr.book import shelf
    from chirr.desk.grade import grade as run
    from chirr.desk.grade_view import grade_json
    from chirr.desk.kept_grade import TooShort, is_whole

    card = shelf.card()
    if card is None:
        raise Trouble(
            "This book holds no farm yet; bring one in with 'chirr import FOLDER', or set it up on its pages."
        )
    try:
        with progress() as told:
            report = run(dates=dates, every_days=every, draws=draws, told=told)
    except TooShort as why:
        raise Trouble(str(why)) from why
    if json:
        say_json(grade_json(report, ZoneInfo(card.timezone)))
    else:
        _tell(report)
    if not is_whole(report):
        sorry(_not_kept(report))


def _not_kept(report: Grade) -> str:
    from chirr.desk.kept_grade import asked_days

    asked = len(report.asked)
    days = "1 day" if asked == 1 else f"{asked} days"
    return (
        f"Not kept: it asks {days} of the past and a usual grade of this book {len(asked_days())}, so it might miss"
        " bands that promise too much. The pages go by the last usual grade; run 'chirr grade' for a new one."
    )


def _tell(report: Grade) -> None:
    from chirr.desk.grade_report import drift_sentence
    from chirr.desk.grade_view import overall, sentence

    say(f"{report.farm}: the past forecast again from {len(report.asked)} days.\n")
    if not report.kinds:
        say("The book answers none of what was asked: no hatch, pinhead count, weighing or harvest came within reach.")
        return
    for k in overall(report):
        say(sentence(k))
    say()
    table(
        "How often the bands held, and how far off they were (1.00 is as far off as the other way)",
        ("forecast", "days ahead", "asked", "5 in 10", "8 in 10", "9 in 10",
         "beside calendar", "beside averages", "beside published"),
        [_row(k) for k in report.kinds], right=("asked",),
    )  # fmt: skip
    remark = drift_sentence(report.drift)
    if remark is not None:
        sorry(remark)


def _row(k: KindGrade) -> tuple[str, ...]:
    held = tuple(f"{round(100 * h.share)} %" for h in k.held)
    beside = tuple(f"{k.ratio[who]:.2f}" if who in k.ratio else "" for who in ("calendar", "keeper", "published"))
    return (k.kind, f"{k.from_days} to {k.to_days}", str(k.n), *held, *beside)
