"""`chirr time`: how long each deed takes here, and where the hours of the week go."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from chirr.cli.farm import open_farm
from chirr.cli.say import BadInput, say, say_json, sorry, table

BAR = 24


def time_(
    days: Annotated[int, typer.Option(min=1, max=3650, help="How many days back timed entries count.")] = 365,
    instead: Annotated[
        list[str] | None,
        typer.Option(metavar="OLD=NEW", help="The week with tray type NEW in place of OLD; may be given again."),
    ] = None,
    levels: Annotated[int | None, typer.Option(metavar="N", help="The week with stacks N bins high.")] = None,
    bins: Annotated[int | None, typer.Option(metavar="N", help="The week with N bins in the same rooms.")] = None,
    json: Annotated[bool, typer.Option("--json", help="JSON, for other programs.")] = False,
) -> None:
    """Minutes per deed, tray type and person, learnt from timed entries, and the hours of a usual week.

    Minutes on the way are learnt from the gaps between entries. The week is then reckoned with other trays, another
    stack height, another order of walking and another number of bins.
    """
    swap = dict(_pair(text) for text in instead or [])
    open_farm()
    from chirr.desk.timing import timing
    from chirr.desk.trial_tables import REFUSALS

    try:
        answer = timing(since_days=days, instead=swap, levels=levels, bins=bins)
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
    _tell_ways(answer["set_up"])
    rows = [
        (x["deed"], f"{x['hours']:.1f}", *([f"{x['hours_instead']:.1f}"] if "hours_instead" in x else []),
         "" if x["deed"] == "all" else "#" * round(BAR * x["share"]))
        for x in answer["week"]
    ]  # fmt: skip
    other = ("instead",) if answer["week"] and "hours_instead" in answer["week"][0] else ()
    table("Hours of a usual week", ("deed", "hours", *other, ""), rows, right=("hours", *other))
    _tell_otherwise(answer["otherwise"])
    if not any(x["timed"] for x in answer["deeds"]):
        say("Nothing is timed yet, so these are usual times; start the Round's clock, or give minutes with entries.")


def _cells(x: dict[str, Any]) -> tuple[str, str, str]:
    return str(x["timed"]), f"{x['middle']:.1f}", f"{x['low']:.1f} to {x['high']:.1f}"


def _tell_ways(set_up: dict[str, Any]) -> None:
    names = (("room", "into a room"), ("stack", "a stack further"), ("bin", "to the next bin of a stack"))
    rows = [
        (words, str(set_up[k]["timed"]), f"{set_up[k]['middle']:.2f}",
         f"{set_up[k]['low']:.2f} to {set_up[k]['high']:.2f}")
        for k, words in names
    ]  # fmt: skip
    columns = ("way", "gaps", "usual", "8 in 10 lie in")
    table("Minutes on the way, from gaps between entries", columns, rows, right=columns[1:])
    rooms = [(x["room"], str(x["visits"]), f"{x['set_up_minutes']:.1f}", f"{x['pace']:.2f}") for x in set_up["rooms"]]
    columns = ("room", "timed visits", "minutes before", "pace")
    table("Set-up of a visit, where the clock ran through", columns, rooms, right=columns[1:])


def _tell_otherwise(rows: list[dict[str, Any]]) -> None:
    told = [
        (f"{x['what']} {x['value']}".strip(), f"{x['work_hours']:.1f}", f"{x['walking_hours']:.1f}",
         f"{x['hours']:.1f}", f"{x['more_hours']:+.1f}".replace("-0.0", "0.0").replace("+0.0", "0.0") if n else "")
        for n, x in enumerate(rows)
    ]  # fmt: skip
    columns = ("the week with", "at the bins", "on the way", "hours", "more")
    table("If it were otherwise", columns, told, right=columns[1:])
    if any(x["what"] == "stack height" for x in rows):
        sorry(
            "Bins above shoulder height need steps that stand firm, and two people for a full one; walk clean before "
            "dirty though another order be shorter; more bins in a room need more fresh air and less heat."
        )
