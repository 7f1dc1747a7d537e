"""`chirr time`: how long each deed takes here, and where the hours of the week go."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from chirr.cli.farm import open_farm
from chirr.cli.say import BadInput, say, say_json, table

BAR = 24


def time_(
    days: Annotated[int, typer.Option(min=1, max=3650, help="How many days back timed entries count.")] = 365,
    instead: Annotated[
        list[str] | None,
        typer.Option(metavar="OLD=NEW", help="The week with tray type NEW in place of OLD; may be given again."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="JSON, for other programs.")] = False,
) -> None:
    """Minutes per deed, tray type and person, learnt from timed entries, and the hours of a usual week."""
    swap = dict(_pair(text) for text in instead or [])
    open_farm()
    from chirr.desk.timing import timing
    from chirr.desk.trial_tables import REFUSALS

    try:
        answer = timing(since_days=days, instead=swap)
    except REFUSALS as fault:
        raise BadInput(str(fault)) from fault
    if json:
        say_json(answer)
    else:
        _tell(answer)


def _pair(text: str) -> tuple[str, str]:
    old, found, new = text.partition("=")
    if not (found and old.strip() and new.strip()):
        raise BadInput(f"--instead is {text}; write the tray type now and the one in its place, such as long=short.")
    return old.strip(), new.strip()


def _tell(answer: dict[str, Any]) -> None:
    columns, right = ("deed", "timed", "usual", "8 in 10 lie in"), ("timed", "usual", "8 in 10 lie in")
    table("Minutes by deed", columns, [(x["deed"], *_cells(x)) for x in answer["deeds"]], right=right)
    trays = [(f"{x['deed']}, {x['tray_type']}", *_cells(x)) for x in answer["trays"]]
    table("By tray type", columns, trays, right=right)
    people = [(x["person"], str(x["timed"]), f"{x['pace']:.2f}") for x in answer["people"]]
    table("Time taken against all, 1 = the usual", ("person", "timed", "pace"), people, right=("timed", "pace"))
    rows = [
        (x["deed"], f"{x['hours']:.1f}", *([f"{x['hours_instead']:.1f}"] if "hours_instead" in x else []),
         "" if x["deed"] == "all" else "#" * round(BAR * x["share"]))
        for x in answer["week"]
    ]  # fmt: skip
    other = ("instead",) if answer["week"] and "hours_instead" in answer["week"][0] else ()
    table("Hours of a usual week", ("deed", "hours", *other, ""), rows, right=("hours", *other))
    if not any(x["timed"] for x in answer["deeds"]):
        say("Nothing is timed yet, so these are usual times; start the Round's clock, or give minutes with entries.")


def _cells(x: dict[str, Any]) -> tuple[str, str, str]:
    return str(x["timed"]), f"{x['middle']:.1f}", f"{x['low']:.1f} to {x['high']:.1f}"
