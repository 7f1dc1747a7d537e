"""The `chirr` command: every heavy part is imported by the command that uses it."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from chirr.cli import asking, breeders, count, grade, harvest, labels, laying, moving, serving, time, trial_farm
from chirr.cli.say import Sentence, sorry

app = typer.Typer(
    name="chirr",
    help="The working tool of a commercial cricket farm: today's round, and the weeks ahead with their odds.",
    epilog="Exit status: 0 all is well, 1 something is wrong here (no such farm, say), 2 what you gave is wrong.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

app.command("demo", short_help="A made-up farm, and its pages on this machine.")(serving.demo)
app.command("new", short_help="Begin an empty book.")(moving.new)
app.command("import", short_help="Bring a farm folder or workbook into the book.")(moving.import_)
app.command("export", short_help="Write the farm as a folder or workbook.")(moving.export)
app.command("check", short_help="Look a folder or the book over for faults.")(moving.check)
app.command("template", short_help="Write an empty farm folder to start from.")(moving.template)
app.command("round", short_help="What is due today, in walking order.")(asking.round_)
app.command("ahead", short_help="The weeks ahead, with their odds.")(asking.ahead)
app.command("laying", short_help="How long to leave a tray in, and how many to give a bin.")(laying.laying)
app.command("breeders", short_help="When breeders have had their day, and what follows them.")(breeders.breeders)
app.command("harvest", short_help="When to harvest each growing lot.")(harvest.harvest)
app.command("time", short_help="How long each deed takes, and where the hours of the week go.")(time.time_)
app.add_typer(trial_farm.app, name="trial", short_help="Which way is better? Plan, watch and judge a trial.")
app.command("grade", short_help="How good the forecasts have been.")(grade.grade)
count.app.command("strip", short_help="Scale strips to print, as a PDF.")(labels.strip)
app.add_typer(count.app, name="count", short_help="Count on photographs, or from samples.")
app.command("labels", short_help="Labels with a code to scan, as a PDF.")(labels.labels)
app.command("sheet", short_help="The run sheet of a day, as a PDF.")(labels.sheet)
app.command("serve", short_help="Serve the pages.")(serving.serve)
app.command("person", short_help="Give somebody a sign-in.")(serving.person)


def _version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"chirr {version('chirr')}")
        raise typer.Exit


@app.callback()
def options(
    farm: Annotated[
        Path | None,
        typer.Option(
            metavar="PATH",
            envvar="CHIRR_FARM",
            help="The farm's book, one file. Without it: farm.chirr in this folder.",
        ),
    ] = None,
    _: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Say which Chirr this is.")
    ] = False,
) -> None:
    """Keep the name of the book where the settings look for it."""
    os.environ["CHIRR_FARM"] = str((farm or Path("farm.chirr")).expanduser().absolute())


def farm_first(arguments: list[str]) -> list[str]:
    """The arguments with --farm PATH before the command, so that it may be written anywhere."""
    front: list[str] = []
    rest = list(arguments)
    end = rest.index("--") if "--" in rest else len(rest)
    for i in range(end - 1, -1, -1):
        if rest[i].startswith("--farm="):
            front = [rest.pop(i)]
        elif rest[i] == "--farm" and i + 1 < len(rest):
            front = [rest.pop(i), rest.pop(i)]
    return front + rest


def main() -> None:
    """Run the command; anything wrong is told in one sentence on stderr, with the exit status that fits."""
    try:
        app(farm_first(sys.argv[1:]), prog_name="chirr")
    except Sentence as told:
        sorry(str(told))
        sys.exit(told.status)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
    except Exception as error:  # the last resort: a sentence first, the details for those who ask
        if os.environ.get("CHIRR_TRACE"):
            raise
        sorry(
            f"Chirr itself failed here ({type(error).__name__}: {error}). Nothing half-done was kept; "
            "to see where, run the same command with CHIRR_TRACE=1 before it."
        )
        sys.exit(1)
