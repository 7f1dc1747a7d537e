"""`chirr harvest`: the day on which each growing lot is best harvested, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from chirr.cli.farm import open_farm
from chirr.cli.say import BadInput, band, must_hold_a_farm, progress, say, say_json, sorry, table, window

if TYPE_CHECKING:
    from typing import Any


def harvest(
    lot: Annotated[
        str | None, typer.Argument(metavar="LOT", help="Only this lot, with its days and its size classes.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="JSON, for other programs.")] = False,
) -> None:
    """When to harvest: the day on which a lot's bin has yielded most for its days, by margin where prices are known."""
    open_farm()
    must_hold_a_farm()
    from chirr.desk.harvest import harvest as ask
    from chirr.desk.harvest import harvest_json, harvests

    with progress() as told:
        try:
            one = ask(lot, money=True) if lot is not None else None
        except LookupError as fault:
            raise BadInput(str(fault)) from fault
        if lot is not None and one is None:
            raise BadInput(
                f"Lot {lot} is not grown for harvest: it breeds, is grown up long since, or is still to hatch."
            )
        views = (one,) if one is not None else harvests(money=True, told=lambda k, n: told("Lots looked at", k, n))
        answer = harvest_json(views)
    if json:
        say_json(answer)
    else:
        _tell(answer, one=lot is not None)


def _tell(answer: dict[str, Any], *, one: bool) -> None:
    q, lots = answer["quantiles"], answer["lots"]
    if not lots:
        say("No lot is growing towards a harvest.")
        return
    table(
        "Best day to harvest",
        ("lot", "bin", "by", "day", "a day more gains, g", "eats, g"),
        [
            (v["lot"], v["bin"] or "", v["by"], window(v["best"], q), band(v["days"][0]["gain_g"], q),
             band(v["days"][0]["feed_g"], q))
            for v in lots
        ],
    )  # fmt: skip
    for v in lots if one else ():
        for words in v["says"]:
            say(words)
        say()
        money = v["currency"] is not None
        table(
            "A day more", ("from", "gains, g", "eats, g", *((f"worth, {v['currency']}",) if money else ())),
            [(d["date"], band(d["gain_g"], q), band(d["feed_g"], q), *((band(d["worth"], q),) if money else ()))
             for d in v["days"]],
        )  # fmt: skip
        table(
            "By size class", ("class", "now", "kg now", "on its best day", "kg then"),
            [(s["size_class"], band(s["crickets"], q), band(s["kg"], q), band(s["crickets_then"], q),
              band(s["kg_then"], q)) for s in v["sizes"]],
        )  # fmt: skip
    for remark in answer["remarks"]:
        sorry(remark)
