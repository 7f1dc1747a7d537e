"""Commands that ask the farm a question: round, ahead."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, Annotated, Any
from zoneinfo import ZoneInfo

import typer

from chirr.cli.farm import open_farm
from chirr.cli.say import BadInput, Trouble, band, progress, say, say_json, sorry, table, window

if TYPE_CHECKING:
    from chirr.desk.shapes import RoundSheet, RoundStop

URGENT = {"overdue": "OVERDUE: ", "open": "open: ", "soon": "soon: ", "optional": "if time: "}
STOCK_DAYS = (0, 7, 14, 28, 56, 89)


def round_(
    day: Annotated[
        str | None, typer.Option(metavar="DAY", help="Which day, such as 2031-05-06; without it, today.")
    ] = None,
    hands: Annotated[int, typer.Option(min=1, max=200, help="How many people do the round.")] = 1,
    minutes: Annotated[float, typer.Option(min=1, max=1440, help="Minutes that each of them has.")] = 240,
    json: Annotated[bool, typer.Option("--json", help="JSON, for other programs.")] = False,
) -> None:
    """What is due on a day, in walking order, with the reason and the minutes of each thing."""
    wanted = _day(day)
    open_farm()
    zone = _farm_zone()
    from chirr.desk.round import round_sheet

    with progress() as told:
        told("Looking over the farm", 0, None)
        sheet = round_sheet(wanted, hands=hands, minutes_each=minutes)
    if json:
        say_json(round_json(sheet, zone))
    else:
        _tell_round(sheet)


def ahead(
    at: Annotated[
        str | None, typer.Option(metavar="TIME", help="Believe only entries up to this time, such as 2031-05-06T08:00.")
    ] = None,
    days: Annotated[int, typer.Option(min=1, max=730, help="How many days to look ahead.")] = 90,
    draws: Annotated[int, typer.Option(min=50, max=100_000, help="How many ways it may go are drawn.")] = 1000,
    json: Annotated[bool, typer.Option("--json", help="JSON, for other programs.")] = False,
) -> None:
    """The weeks ahead: hatches, harvests and stock, each with its band."""
    open_farm()
    zone = _farm_zone()
    when = _time(at, zone)
    from chirr.desk.ahead import ahead_json

    with progress() as told:
        told("Looking ahead", 0, None)
        answer = ahead_json(when, days=days, draws=draws)
    if json:
        say_json(answer)
    else:
        _tell_ahead(answer)


def round_json(sheet: RoundSheet, zone: ZoneInfo) -> dict[str, Any]:
    """The round as `chirr round --json` gives it: the shapes of the desk, times as ISO with offset."""
    import msgspec

    return {**msgspec.to_builtins(sheet), "as_of": datetime.fromtimestamp(sheet.as_of, zone).isoformat()}


def _farm_zone() -> ZoneInfo:
    from chirr.book import shelf

    card = shelf.card()
    if card is None:
        raise Trouble(
            "This book holds no farm yet; bring one in with 'chirr import FOLDER', or set it up on its pages."
        )
    return ZoneInfo(card.timezone)


def _day(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise BadInput(f"--day is {text}; write a day such as 2031-05-06.") from error


def _time(text: str | None, zone: ZoneInfo) -> int | None:
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise BadInput(f"--at is {text}; write a time such as 2031-05-06T08:00 or 2031-05-06T08:00-05:00.") from error
    return int((moment if moment.tzinfo else moment.replace(tzinfo=zone)).timestamp())


def _tell_round(sheet: RoundSheet) -> None:
    day = date.fromisoformat(sheet.day)
    total, walking = amount_of_minutes(sheet.minutes), amount_of_minutes(sheet.walking_minutes)
    say(f"Round of {day:%A %d %B %Y}: {total}, {walking} of it walking.")
    if sheet.done_today:
        say(f"{sheet.done_today} entries written today already.")
    for group in dict.fromkeys(stop.group for stop in sheet.stops):
        rows = [row for stop in sheet.stops if stop.group == group for row in _stop_rows(stop)]
        table(f"\n{group.capitalize()}", ("place", "bin", "do", "why", "min"), rows, right=("min",))
    if not sheet.stops:
        say("Nothing is due.")
    people = "one person" if sheet.hands == 1 else f"{sheet.hands} people"
    if sheet.left_over:
        say(
            f"In {amount_of_minutes(sheet.minutes_each)} {people} do not get to {sheet.left_over} items, marked with *."
        )
    elif sheet.stops:
        say(f"In {amount_of_minutes(sheet.minutes_each)} {people} can finish all of it.")
    for remark in sheet.remarks:
        sorry(remark)


def _stop_rows(stop: RoundStop) -> list[tuple[str, ...]]:
    star = "" if stop.within_reach else "*"
    rows: list[tuple[str, ...]] = []
    for i, item in enumerate(stop.items):
        place = f"{star}{stop.room}/{stop.stack}/{stop.level}" if i == 0 else ""
        spent = f"{item.minutes:.1f}" if item.minutes else ""
        rows.append(
            (place, (stop.bin or "rack") if i == 0 else "", item.what, URGENT.get(item.urgency, "") + item.why, spent)
        )
    return rows


def amount_of_minutes(minutes: float) -> str:
    """Minutes as people say them: '45 min', '2 h 05 min'."""
    whole = round(minutes)
    return f"{whole} min" if whole < 120 else f"{whole // 60} h {whole % 60:02d} min"


def _hatch(clutch: dict[str, Any], q: list[float]) -> tuple[str, str]:
    """Days of the first pinheads and of half of them, in words; what is overdue may have failed, so no day is named."""
    if clutch["overdue"]:
        by = date.fromisoformat(clutch["expected_by"])
        return f"overdue: expected by {by:%a %d %b}, may have failed", ""
    return window(clutch["first_pinheads"], q), window(clutch["half_hatched"], q)


def _tell_ahead(answer: dict[str, Any]) -> None:
    q = answer["quantiles"]
    as_of = datetime.fromisoformat(answer["as_of"])
    say(f"As the book stood on {as_of:%Y-%m-%d %H:%M}; {answer['species']}, {answer['draws']:,} draws.")
    say("Every figure is the middle one, with the band that eight of ten chances lie in.\n")
    table(
        "Clutches",
        ("clutch", "bin", "eggs", "first pinheads", "half hatched", "pinheads"),
        [
            (c["clutch"], c["bin"] or "", band(c["eggs"], q), *_hatch(c, q), band(c["pinheads"], q))
            for c in answer["clutches"]
        ],
    )  # fmt: skip
    table(
        "Lots",
        ("lot", "bin", "duty", "alive", "mean mg", "ready", "kg when ready"),
        [
            (x["lot"], x["bin"] or "", x["duty"] or "", band(x["alive"], q), band(x["mean_mg"], q),
             window(x["harvest_ready"], q), band(x["kg_at_ready"], q))
            for x in answer["lots"]
        ],
    )  # fmt: skip
    dates = list(dict.fromkeys(s["date"] for s in answer["stock"]))
    shown = {dates[i] for i in STOCK_DAYS if i < len(dates)} | set(dates[-1:])
    table(
        "Stock", ("date", "size class", "crickets", "kg"),
        [(s["date"], s["size_class"], band(s["crickets"], q), band(s["kg"], q)) for s in answer["stock"]
         if s["date"] in shown and any(s["crickets"])],
    )  # fmt: skip
    for remark in answer.get("remarks", ()):
        sorry(remark)
