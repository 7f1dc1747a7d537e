"""`chirr laying`: how long to leave a tray in, and how many trays of which size to give a bin."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from chirr.cli.farm import open_farm
from chirr.cli.say import BadInput, amount, must_hold_a_farm, say, say_json, sorry, table

if TYPE_CHECKING:
    from chirr.desk.laying_words import TypeLaying
    from chirr.desk.shapes import Band


def laying(
    tray_type: Annotated[
        str | None, typer.Option("--tray-type", metavar="TYPE", help="Only this tray type; without it, all of them.")
    ] = None,
    adults: Annotated[
        float | None, typer.Option(metavar="N", help="Adults in the bin; without it, as in the breeding bins now.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="JSON, for other programs.")] = False,
) -> None:
    """Eggs in a tray against the days it is left in, the best number of days, and how many trays a bin deserves."""
    open_farm()
    must_hold_a_farm()
    from chirr.desk.laying import laying as ask
    from chirr.desk.laying import laying_json

    try:
        view = ask(tray_type=tray_type, adults=adults)
    except (LookupError, ValueError) as fault:
        raise BadInput(str(fault)) from fault
    if json:
        say_json(laying_json(view))
        return
    say(f"For a bin of {amount(view.adults)} adults ({view.adults_say}).")
    if view.best_says:
        say(view.best_says)
    say()
    for t in view.types:
        _tell(t)
    if not view.types:
        say("The farm has no tray type yet.")
    for remark in view.remarks:
        sorry(remark)


def _tell(t: TypeLaying) -> None:
    tried = [(f"{r.days:.0f}" + ("" if r.tried else " *"), _band(r.eggs)) for r in t.days]
    title = f"{t.tray_type}: {t.area_cm2:,.0f} cm2, {t.counted} counted, {t.habit_days:.1f} days in now"
    table(title, ("days in", "eggs in a tray"), tried, right=("days in",))
    if any(not r.tried for r in t.days):
        say(f"  * beyond the {t.tried_days:.0f} days that have been tried")
    for choice in t.best_days:
        say("  " + choice.says)
    say("  " + t.number_says + "\n")
    table(
        f"{t.tray_type} trays in one bin", ("trays", "eggs of all", "the last one adds", "for each minute", "litres"),
        [(str(n.trays), _band(n.eggs), _band(n.extra), amount(n.extra_per_minute), f"{n.substrate_l:.1f}")
         for n in t.numbers],
        right=("trays", "for each minute", "litres"),
    )  # fmt: skip


def _band(value: Band) -> str:
    return f"{amount(value.mid)} ({amount(value.low)} to {amount(value.high)})"
