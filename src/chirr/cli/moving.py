"""Commands that bring a farm in, take it out and look it over: new, import, export, check, template."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chirr.cli.farm import farm_path, open_farm, remove_book
from chirr.cli.say import BadInput, Trouble, progress, say, sorry

if TYPE_CHECKING:
    from chirr.desk.transfer import ImportReport

DOUBTS_SHOWN = 10


def new(
    path: Annotated[Path, typer.Argument(metavar="PATH", help="Where the book is to be, such as north-farm.chirr.")],
) -> None:
    """Begin an empty book for a farm."""
    path = path.expanduser().absolute()
    if path.exists():
        raise BadInput(f"There is something at {path} already; give a new name.")
    os.environ["CHIRR_FARM"] = str(path)
    open_farm(create=True)
    say(f"An empty book is at {path}.")
    say("Next, bring a farm folder in:         chirr --farm PATH import FOLDER")
    say("or set the farm up on its pages, here: chirr --farm PATH serve")
    say("or from a phone on its network:        chirr --farm PATH serve --lan")


def import_(
    source: Annotated[
        Path, typer.Argument(metavar="FOLDER_OR_XLSX", help="A farm folder, or a workbook with the same sheets.")
    ],
    skip_bad: Annotated[
        bool, typer.Option("--skip-bad", help="Write the good rows, and the others with their faults to FOLDER-rest.")
    ] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Look everything over and write nothing.")] = False,
) -> None:
    """Bring a farm folder or workbook into the book, whole or not at all.

    Everything is checked first and every fault is listed with its file, line and column. Rows that the book has
    already change nothing. Where there is no book yet, one is begun.
    """
    source = _source(source)
    begun = not farm_path().exists()
    path = open_farm(create=True)
    from chirr.desk.transfer import import_folder

    written = False
    try:
        with progress() as told:
            report = import_folder(source, skip_bad=skip_bad, dry_run=dry_run, progress=told)
        written = report.written
    finally:
        if begun and not written:
            remove_book(path)
    _tell(report)
    if not report.written and (report.faults or report.follow_ons):
        _nothing_written(report, skip_bad)
    if not report.written:
        say(f"{report.farm}: all is clean; nothing was written, as asked.")
        return
    known = f", {report.known_entries:,} known already" if report.known_entries else ""
    say(f"{report.farm}: {report.new_entries:,} entries{known} and {report.new_readings:,} readings are in {path}.")
    if report.left_out:
        sorry(f"{report.left_out:,} rows were left out and are in {report.rest[0].parent}, each with its fault.")


def check(
    folder: Annotated[
        Path | None, typer.Argument(metavar="[FOLDER_OR_XLSX]", help="A farm folder or workbook; without it, the book.")
    ] = None,
) -> None:
    """Look a farm folder over without importing it, or look the book over.

    Of the book it is asked whether it stands as its entries replay, which entries do not fit, and which look odd.
    """
    if folder is not None:
        _check_folder(_source(folder))
        return
    open_farm()
    from chirr.desk.transfer import check_book

    try:
        book = check_book()
    except LookupError as error:
        raise Trouble(str(error)) from error
    for text in book.misfits:
        sorry(f"Does not fit: {text}")
    for text in book.doubts:
        sorry(f"Looks odd: {text}")
    say(
        f"{book.farm}: {book.entries:,} entries, {len(book.misfits)} that do not fit, {len(book.doubts)} that look odd."
    )
    if not book.as_replayed:
        raise Trouble("The farm as it stands differs from what its entries replay to; please report this.")
    say("Replayed from the first entry, the farm stands as it does now.")
    if book.misfits:
        raise typer.Exit(1)


def export(
    folder: Annotated[Path | None, typer.Argument(metavar="[FOLDER]", help="Where to write the farm folder.")] = None,
    xlsx: Annotated[Path | None, typer.Option(metavar="FILE", help="Write a workbook, too or instead.")] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write even where other files are; these are kept.")
    ] = False,
) -> None:
    """Write the whole farm as a folder of plain files, or as a workbook; importing it gives back the same farm."""
    if folder is None and xlsx is None:
        raise BadInput("Name a FOLDER to write to, or a workbook with --xlsx FILE.")
    open_farm()
    from chirr.desk.transfer import NotWritten, export_folder, export_workbook

    try:
        with progress() as told:
            if folder is not None:
                export_folder(folder, replace=replace, progress=told)
            if xlsx is not None:
                export_workbook(xlsx, replace=replace, progress=told)
    except NotWritten as error:
        raise BadInput(str(error)) from error
    except LookupError as error:
        raise Trouble(str(error)) from error
    for written in (folder, xlsx):
        if written is not None:
            say(f"The farm is in {written}.")


def template(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="A new folder to write the empty files to.")],
) -> None:
    """Write an empty farm folder to start from, every file and column explained."""
    from chirr.desk.transfer import NotWritten, template_folder

    try:
        template_folder(folder)
    except NotWritten as error:
        raise BadInput(str(error)) from error
    say(f"An empty farm folder is in {folder}. Begin with its README.txt; when it is filled: chirr import {folder}")


def _source(path: Path) -> Path:
    path = path.expanduser()
    if not path.exists():
        raise BadInput(f"There is no folder or workbook {path}; check the name.")
    if path.is_file() and path.suffix.lower() != ".xlsx":
        raise BadInput(
            f"{path} is neither a folder nor an .xlsx workbook; give the folder in which the farm's files are."
        )
    return path


def _check_folder(source: Path) -> None:
    from chirr.desk.transfer import check_folder

    with progress() as told:
        report = check_folder(source, progress=told)
    _tell(report)
    if report.faults or report.follow_ons:
        raise BadInput(f"{_count(report)} in {source}.")
    say(f"{report.farm}: all is clean.")


def _tell(report: ImportReport) -> None:
    for fault in report.faults:
        sorry(str(fault))
    if report.follow_ons:
        lines = _lines(sorted({f.line for f in report.follow_ons if f.line}))
        sorry(f"{len(report.follow_ons):,} more rows rest on rows with faults and wait for them: lines {lines}.")
    doubts = [] if report.faults else report.doubts  # with faults about, much may only look odd for their sake
    for doubt in doubts[:DOUBTS_SHOWN]:
        sorry(f"Looks odd: {doubt}")
    if len(doubts) > DOUBTS_SHOWN:
        sorry(f"... and {len(doubts) - DOUBTS_SHOWN:,} more that look odd; 'chirr check' lists them.")
    for remark in report.remarks:
        sorry(remark)


def _nothing_written(report: ImportReport, skip_bad: bool) -> None:
    if skip_bad:
        raise BadInput(
            f"Nothing was written: {_count(report)}, and leaving rows out does not heal what is wrong above."
        )
    advice = ", or import the good rows with --skip-bad" if report.can_skip else ""
    raise BadInput(f"Nothing was written: {_count(report)}. Put right what is listed above{advice}.")


def _count(report: ImportReport) -> str:
    n = len(report.faults)
    return f"{n:,} fault{'' if n == 1 else 's'}"


def _lines(lines: list[int]) -> str:
    """Line numbers, runs of them joined: '3, 7-9'."""
    runs: list[list[int]] = []
    for line in lines:
        if runs and line == runs[-1][1] + 1:
            runs[-1][1] = line
        else:
            runs.append([line, line])
    shown = [str(a) if a == b else f"{a}-{b}" for a, b in runs]
    return ", ".join(shown[:40]) + (" and more" if len(shown) > 40 else "")
