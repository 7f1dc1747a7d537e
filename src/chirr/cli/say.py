"""How the command speaks: sentences, tables, bands, times and progress; plain text wherever nobody is looking."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from typing import Any

import typer

Told = Callable[[str, int, int | None], None]


class Sentence(Exception):  # noqa: N818 - it is what is said, not a failure of the program
    """Something to tell in one sentence, ending the command with `status`."""

    status = 1


class Trouble(Sentence):
    """Something is wrong here: no such farm, a port that is taken."""


class BadInput(Sentence):
    """What the user gave is wrong."""

    status = 2


def sorry(text: str) -> None:
    """A sentence on stderr."""
    typer.echo(text, err=True)


def say(text: str = "") -> None:
    """A line on stdout."""
    typer.echo(text)


def _plain(text: Any) -> str:
    """A sentence that still knows its pattern, as the text that it is."""
    if not isinstance(text, str):
        raise TypeError(f"{type(text).__name__} has no place in JSON")
    return str(text)


def say_json(value: Any) -> None:
    """A value as JSON on stdout, its keys in their own order."""
    import msgspec

    typer.echo(msgspec.json.format(msgspec.json.encode(value, enc_hook=_plain), indent=2).decode())


def table(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[str] = ()) -> None:
    """A table: ruled on a terminal, aligned plain text elsewhere. `right` names the columns set to the right."""
    if not rows:
        return
    if sys.stdout.isatty():
        from rich.console import Console
        from rich.table import Table

        ruled = Table(title=title, title_justify="left", title_style="bold")
        for column in columns:
            ruled.add_column(column, justify="right" if column in right else "left")
        for row in rows:
            ruled.add_row(*row)
        Console().print(ruled, markup=False)
        return
    widths = [max(len(row[i]) for row in (columns, *rows)) for i in range(len(columns))]
    say(title)
    for row in (columns, *rows):
        cells = [
            cell.rjust(width) if column in right else cell.ljust(width)
            for cell, width, column in zip(row, widths, columns, strict=True)
        ]
        say("  " + "  ".join(cells).rstrip())
    say()


def amount(value: float) -> str:
    """A figure with three digits that count, and none that pretend to."""
    if value != value:  # noqa: PLR0124 - not a number
        return "?"
    if value == 0:
        return "0"
    if abs(value) >= 1000:
        digits = len(str(int(abs(value)))) - 3
        return f"{round(value, -digits):,.0f}"
    if abs(value) >= 100:
        return f"{value:.0f}"
    return f"{value:.1f}" if abs(value) >= 10 else f"{value:.2f}"


def band(values: Sequence[float | None] | None, quantiles: Sequence[float]) -> str:
    """The middle and the 80 % band around it: '2,600 (2,100 to 3,200)'."""
    picked = _picked(values, quantiles)
    return "" if picked is None else f"{amount(picked[1])} ({amount(picked[0])} to {amount(picked[2])})"


def window(values: Sequence[str | None] | None, quantiles: Sequence[float]) -> str:
    """The middle day and the 80 % band around it, from ISO times; '...' where it lies beyond the days looked at."""
    if values is None or all(v is None for v in values):
        return ""
    low, middle, high = (_day(values[_at(quantiles, q)]) for q in (0.1, 0.5, 0.9))
    weekday = "" if middle == "..." else f"{datetime.fromisoformat(str(values[_at(quantiles, 0.5)])):%a} "
    return f"{weekday}{middle}" if low == high else f"{weekday}{middle} ({low} to {high})"


def _day(text: str | None) -> str:
    return "..." if text is None else datetime.fromisoformat(text).strftime("%d %b")


def _picked(values: Sequence[float | None] | None, quantiles: Sequence[float]) -> list[float] | None:
    if values is None:
        return None
    picked = [values[_at(quantiles, q)] for q in (0.1, 0.5, 0.9)]
    return None if None in picked else [float(v) for v in picked if v is not None]


def _at(quantiles: Sequence[float], wanted: float) -> int:
    return min(range(len(quantiles)), key=lambda i: abs(quantiles[i] - wanted))


def must_hold_a_farm() -> None:
    """Trouble, in a sentence, when the book that is open holds no farm."""
    from chirr.book import shelf

    if shelf.card() is None:
        raise Trouble(
            "This book holds no farm yet; bring one in with 'chirr import FOLDER', or set it up on its pages."
        )


@contextmanager
def progress() -> Iterator[Told]:
    """A bar on stderr for each thing that is being done; nothing at all when stderr is no terminal.

    It moves when it is told something, not by a thread of its own: work can be shared among copies of a process only
    while that has no other thread.
    """
    if not sys.stderr.isatty():
        yield lambda _what, _done, _total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.completed:,.0f}"), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True, auto_refresh=False) as bars:
        tasks: dict[str, Any] = {}

        def told(what: str, done: int, total: int | None) -> None:
            if what not in tasks:
                tasks[what] = bars.add_task(what, total=total)
            bars.update(tasks[what], completed=done, total=total, refresh=True)

        yield told
