"""`chirr breeders`: when each breeding lot has had its day, and what follows it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from chirr.cli.farm import open_farm
from chirr.cli.say import BadInput, amount, band, must_hold_a_farm, progress, say, say_json, sorry, table, window

if TYPE_CHECKING:
    from typing import Any


def breeders(
    bin_: Annotated[
        str | None,
        typer.Option("--bin", metavar="NAME", help="Only the breeders in this bin; without it, all of them."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="JSON, for other programs.")] = False,
) -> None:
    """Eggs a day of each breeding lot, the day to retire it, and when its followers must be begun."""
    open_farm()
    must_hold_a_farm()
    from chirr.desk.breeders import breeders as ask
    from chirr.desk.breeders import breeders_json

    with progress() as told:
        told("Looking ahead", 0, None)
        try:
            found = ask(bin=bin_)
        except LookupError as fault:
            raise BadInput(str(fault)) from fault
        answer = breeders_json(found)
    if json:
        say_json(answer)
    else:
        _tell(answer, bin_)


def _tell(answer: dict[str, Any], bin_: str | None) -> None:
    q, lots = answer["quantiles"], answer["lots"]
    if not lots:
        say(f"No breeders are in bin {bin_} now." if bin_ else "No breeders are in a breeding bin now.")
        return
    table(
        "Breeders",
        ("lot", "bin", "adult days", "eggs a day", "retire", "followers laid by", "could follow"),
        [
            (b["lot"], b["bin"] or "", amount(b["adult_days"]), band(b["eggs_per_day"], q), window(b["retire"], q),
             window(b["followers_laid"], q), ", ".join(s["lot"] for s in b["successors"]))
            for b in lots
        ],
        right=("adult days",),
    )  # fmt: skip
    for b in lots:
        say(f"{b['lot']}: " + " ".join(b["says"]))
        if b["cold"]:
            say("  " + b["cold"])
    for says in answer["ages_of_laying"]["says"]:
        say(says)
    for remark in answer["remarks"]:
        sorry(remark)
