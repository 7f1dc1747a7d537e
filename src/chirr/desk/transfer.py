"""A farm into the book and out of it: folders and workbooks in, all or nothing; the same bytes out every time."""

from __future__ import annotations

import io
import tempfile
import time
import zipfile
from collections.abc import Callable
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec

from chirr.desk.examine import Before, Looked, Progress, look_over
from chirr.desk.rehearsal import in_zone, local
from chirr.files.columns import ENTRIES
from chirr.files.folder import OURS, NotWritten, write_folder
from chirr.files.rest import write_rest
from chirr.files.template import write_template
from chirr.files.workbook import write_workbook
from chirr.records import FarmFolder, Fault, Person

__all__ = [
    "BookCheck", "ImportReport", "NotWritten", "check_book", "check_folder", "export_folder", "export_workbook",
    "export_zip", "found_farm", "import_folder", "template_folder",
]  # fmt: skip

IMPLICIT_OWNER = Person(person="owner", role="owner")
"""Who acts when a first import lists no owner; it is not written down as one of the farm's people."""


class ImportReport(msgspec.Struct, kw_only=True):
    """What an import did, or why it did nothing.

    `faults` must be put right; `follow_ons` are rows that only rest on those; `doubts` look odd and may be right.
    With `skip_bad`, `left_out` rows were written to the files `rest` instead of the book.
    """

    source: Path
    farm: str = ""
    written: bool = False
    faults: list[Fault] = []
    follow_ons: list[Fault] = []
    doubts: list[Fault] = []
    remarks: list[str] = []
    new_entries: int = 0
    known_entries: int = 0
    new_readings: int = 0
    left_out: int = 0
    rest: list[Path] = []
    can_skip: bool = True


class BookCheck(msgspec.Struct, kw_only=True):
    """The book looked over: whether it stands as its entries replay, which entries do not fit, which look odd."""

    farm: str
    entries: int
    as_replayed: bool
    misfits: list[str]
    doubts: list[str]


def check_folder(path: Path, *, now: int | None = None, progress: Progress | None = None) -> ImportReport:
    """Look a folder or workbook over by itself, as for a first import; needs no book and writes nothing."""
    looked = look_over(path, Before(), now=_now(now), progress=progress)
    return _report(path, looked)


def import_folder(
    path: Path, *, actor: Person | None = None, skip_bad: bool = False, dry_run: bool = False,
    now: int | None = None, progress: Progress | None = None,
) -> ImportReport:  # fmt: skip
    """Bring a farm folder or workbook into the book.

    Nothing is written unless all is clean; with `skip_bad` the good rows are, and the others go to a folder beside
    the source, each with its fault. Entries that the book has already change nothing. Only an owner may import; a
    first import acts for the first owner that the folder lists.
    """
    from chirr.book import actions

    if actor is not None:
        actions.allow(actor, "owner")
    looked = look_over(path, _before(), now=_now(now), skip_bad=skip_bad, progress=progress)
    report = _report(path, looked)
    clean = not report.faults and not report.follow_ons
    if looked.new is None or dry_run or not (clean or (skip_bad and report.can_skip)):
        return report
    if not any(p.role == "owner" for p in looked.new.people):
        report.remarks.append("No owner is listed in people; make one with: chirr person NAME --role owner.")
    if not clean:
        report.rest = write_rest(looked.reading, looked.bad_entries, _rest_folder(path) / ENTRIES.file)
        report.left_out = len(looked.bad_entries) + sum(len(lines) for lines in looked.reading.bad_rows.values())
    report.new_entries = found_farm(looked.new, actor=actor, progress=progress)
    report.new_readings = len(looked.new.readings)
    report.written = True
    return report


def found_farm(folder: FarmFolder, *, actor: Person | None = None, progress: Progress | None = None) -> int:
    """Bring a farm of plain records in, as of the first owner unless told otherwise; the number of new entries.

    Raises Refused where its entries contradict one another or the book.
    """
    from chirr.book import actions, shelf

    owners = [p for p in (*shelf.people(), *folder.people) if p.role == "owner"]
    actor = actor or (owners[0] if owners else IMPLICIT_OWNER)
    return actions.found(
        folder, actor=actor, progress=_counting("Writing", progress, len(folder.entries) + len(folder.readings))
    )


def export_folder(path: Path, *, replace: bool = False, progress: Progress | None = None) -> None:
    """Write the farm as a folder. Raises NotWritten with the reason, LookupError when the book holds no farm."""
    from chirr.book import shelf

    told = None if progress is None else (lambda file, rows: progress(f"Writing {file}", rows, None))
    write_folder(shelf.whole(), path, replace=replace, progress=told)


def export_workbook(path: Path, *, replace: bool = False, progress: Progress | None = None) -> None:
    """Write the farm as an .xlsx workbook. Raises NotWritten with the reason, LookupError when there is no farm."""
    from chirr.book import shelf

    told = None if progress is None else (lambda sheet, rows: progress(f"Writing {sheet}", rows, None))
    write_workbook(shelf.whole(), path, replace=replace, progress=told)


def export_zip() -> bytes:
    """The farm folder as one zip file, the same bytes for the same farm."""
    out = io.BytesIO()
    with tempfile.TemporaryDirectory() as scratch, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        export_folder(Path(scratch) / "farm")
        for file in sorted(OURS):
            info = zipfile.ZipInfo(f"farm/{file}", date_time=(1980, 1, 1, 0, 0, 0))
            info.compress_type, info.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            archive.writestr(info, (Path(scratch) / "farm" / file).read_bytes())
    return out.getvalue()


def template_folder(path: Path) -> None:
    """Write an empty, commented farm folder to start from. Raises NotWritten with the reason."""
    write_template(path)


def check_book() -> BookCheck:
    """Look the book over: does it stand as its entries replay, and what in it does not fit."""
    from chirr.book import ledger, shelf
    from chirr.book.standing import encode

    card = shelf.card()
    if card is None:
        raise LookupError("This book holds no farm yet.")
    zone = ZoneInfo(card.timezone)
    live, again = ledger.live(), ledger.replayed()
    of = {e.id: e for e in ledger.entries()} if live.misfits or live.doubts else {}

    def told(entry: str, text: str) -> str:
        e = of[entry]
        return f"{local(e.at, zone)} {e.deed}: {in_zone(text, zone)}"

    return BookCheck(
        farm=card.name,
        entries=again.entries,
        as_replayed=encode(live) == encode(again),
        misfits=[told(entry, str(misfit)) for entry, misfit in live.misfits.items()],
        doubts=[told(entry, text) for entry, text in live.doubts.items()],
    )


def _now(now: int | None) -> int:
    return int(time.time()) if now is None else now


def _before() -> Before:
    from chirr.book import ledger, shelf

    if shelf.card() is None:
        return Before()
    return Before(farm=shelf.whole(), misfits=frozenset(ledger.live().misfits))


def _report(path: Path, looked: Looked) -> ImportReport:
    return ImportReport(
        source=path,
        farm=looked.reading.folder.farm.name if looked.reading.folder else "",
        faults=looked.faults,
        follow_ons=looked.follow_ons,
        doubts=looked.doubts,
        remarks=looked.remarks,
        known_entries=looked.known,
        can_skip=looked.can_skip,
    )


def _rest_folder(path: Path) -> Path:
    """A folder beside the source that does not exist yet."""
    base = path.resolve()
    stem = base.name if base.is_dir() else base.stem
    n, rest = 1, base.with_name(f"{stem}-rest")
    while rest.exists():
        n += 1
        rest = base.with_name(f"{stem}-rest-{n}")
    return rest


def _counting(what: str, progress: Progress | None, total: int) -> Callable[[int], None] | None:
    if progress is None:
        return None
    done = 0

    def count(n: int) -> None:
        nonlocal done
        done += n
        progress(what, done, total)

    return count
