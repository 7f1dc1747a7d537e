"""What went out on paper: labels that were printed, and run sheets with the pen marks typed in from them."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec
from django.db import transaction
from django.db.models import Max

from chirr.book.actions import allow
from chirr.book.models import LabelRow, WalkSheetRow
from chirr.records import Person

MOST_MARKS = 2_000_000
"""Characters of the pen marks of one sheet."""


class KeptSheet(msgspec.Struct, frozen=True, kw_only=True):
    """A run sheet as it was printed; `sheet` and `marks` are JSON that only the desk reads."""

    code: str
    day: str
    made_at: int
    sheet: str
    marks: str = ""


def labels_printed(labels: Iterable[tuple[str, str]], *, at: int, address: str, actor: Person) -> None:
    """Keep that labels (kind, name) were printed with this address of the farm in their codes."""
    allow(actor, "owner", "hand")
    rows = [LabelRow(kind=kind, name=name, at=at, address=address) for kind, name in labels]
    LabelRow.objects.bulk_create(rows, batch_size=500)


def latest_labels() -> dict[tuple[str, str], int]:
    """When a label of each thing (kind, name) was last printed [epoch s]."""
    rows = LabelRow.objects.values_list("kind", "name").annotate(latest=Max("at"))
    return {(kind, name): at for kind, name, at in rows}


def last_address() -> str:
    """The address in the codes of the labels printed last; empty before the first."""
    return LabelRow.objects.order_by("-id").values_list("address", flat=True).first() or ""


def keep_sheet(sheet: KeptSheet, *, actor: Person) -> None:
    """Keep a run sheet under its code; it is never changed, and a code is never used twice."""
    allow(actor, "owner", "hand")
    WalkSheetRow.objects.create(code=sheet.code, day=sheet.day, made_at=sheet.made_at, sheet=sheet.sheet)


def keep_marks(code: str, marks: str, *, actor: Person) -> None:
    """Keep the pen marks typed in from a sheet, in place of those kept before. LookupError for an unknown code."""
    allow(actor, "owner", "hand")
    if len(marks) > MOST_MARKS:
        raise ValueError("This is more than the marks of one sheet can be.")
    with transaction.atomic():
        if not WalkSheetRow.objects.filter(code=code).update(marks=marks):
            raise LookupError(f"There is no run sheet {code}.")


def sheet(code: str) -> KeptSheet:
    """A kept run sheet by its code. LookupError when there is none."""
    row = WalkSheetRow.objects.filter(code=code).first()
    if row is None:
        raise LookupError(f"There is no run sheet {code}.")
    return _kept(row)


def sheets(most: int = 20) -> list[KeptSheet]:
    """The run sheets made last, newest first."""
    return [_kept(row) for row in WalkSheetRow.objects.order_by("-made_at", "-code")[:most]]


def sheet_days(most: int) -> dict[str, str]:
    """The day (ISO) that each run sheet is for, by its code, those made last."""
    return dict(WalkSheetRow.objects.order_by("-made_at", "-code").values_list("code", "day")[:most])


def _kept(row: WalkSheetRow) -> KeptSheet:
    return KeptSheet(code=row.code, day=row.day, made_at=row.made_at, sheet=row.sheet, marks=row.marks)
