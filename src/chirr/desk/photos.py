"""Counted photographs: kept beside the book with their marks and corrections, and turned into a number for it.

The folder is named after the book, `<book>-photos`, with two files for each photograph: the picture, freshly written so
that nothing the phone hid in it (place, owner, time) is kept, and what was found on it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec
from django.conf import settings
from uuid_utils.compat import uuid7

from chirr.book import ledger, shelf
from chirr.desk import counting
from chirr.desk.counting import PhotoAnswer
from chirr.desk.spoken import say
from chirr.records import TrayType

if TYPE_CHECKING:
    from chirr.engine.counting.learn import Corrected, Line

SEEN_CV = 0.05


class KeptPhoto(msgspec.Struct, frozen=True, kw_only=True):
    """A counted photograph: of what, what was found, and what a person changed.

    `off` and `on` are numbers of marks that a person took away or confirmed; `added` are places that had none;
    `ends` the two ends of a known length `side_cm` (pixels); `gone_over`: a person looked at the marks and stood by
    what they left.
    """

    id: str
    at: int
    person: str
    what: str
    answer: PhotoAnswer
    clutch: str | None = None
    lot: str | None = None
    side_cm: float | None = None
    off: tuple[int, ...] = ()
    on: tuple[int, ...] = ()
    added: tuple[tuple[float, float], ...] = ()
    ends: tuple[tuple[float, float], tuple[float, float]] | None = None
    gone_over: bool = False

    @property
    def places(self) -> list[tuple[float, float]]:
        """Where everything is that counts now, after the person's corrections."""
        kept = [
            (mark.x, mark.y)
            for i, mark in enumerate(self.answer.marks)
            if i in self.on or (mark.doubt < self.answer.cut and i not in self.off)
        ]
        return [*kept, *self.added]

    @property
    def count(self) -> int:
        return len(self.places)

    @property
    def corrected(self) -> bool:
        return bool(self.off or self.on or self.added)

    @property
    def cv(self) -> float:
        """Relative error: the finder's, or a small one once a person has gone over the marks."""
        return SEEN_CV if self.corrected else max(self.answer.cv, 0.02)

    @property
    def per_cm(self) -> float | None:
        """Number along a centimetre of wall: between the two ends tapped, else over the picture's width."""
        if self.side_cm is None:
            return None
        if self.ends is None:
            return self.count / self.side_cm
        (ax, ay), (bx, by) = self.ends
        squared = (bx - ax) ** 2 + (by - ay) ** 2
        if squared < 1:
            return None
        along = [((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / squared for x, y in self.places]
        return sum(0 <= share <= 1 for share in along) / self.side_cm


def folder() -> Path:
    """Where photographs are kept: beside the book."""
    book = Path(str(settings.DATABASES["default"]["NAME"]))
    return book.with_name(f"{book.stem}-photos")


def keep(
    data: bytes,
    *,
    name: str,
    what: str,
    at: int,
    person: str,
    clutch: str | None,
    lot: str | None,
    side_cm: float | None,
) -> KeptPhoto:
    """Count on a photograph and keep it. Raises counting.CannotCount, with nothing kept."""
    picture = counting.upright(data, name)
    tray = tray_type_of(clutch)
    own_cm = tray.clear_side_cm if tray and what == "eggs" else None
    wall_cm = own_cm if side_cm is None or side_cm == own_cm else None  # another length was measured, not the wall's
    answer = counting.count_picture(picture, name=name, what=what, side_cm=side_cm, wall_cm=wall_cm, line=line_of(what))
    kept = KeptPhoto(
        id=str(uuid7()), at=at, person=person, what=what, answer=answer, clutch=clutch, lot=lot, side_cm=side_cm
    )
    if answer.ends and answer.mm_per_px:
        (ax, ay), (bx, by) = answer.ends
        long_cm = math.hypot(bx - ax, by - ay) * answer.mm_per_px / 10
        kept = msgspec.structs.replace(kept, ends=answer.ends, side_cm=round(long_cm, 2))
    folder().mkdir(exist_ok=True)
    counting.write_plain(picture, picture_path(kept.id))
    save(kept)
    return kept


def picture_path(photo_id: str) -> Path:
    """The picture's file. LookupError for what is not the name of a photograph."""
    if not re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", photo_id):
        raise LookupError(say("There is no such photograph."))
    return folder() / f"{photo_id}.jpg"


def picture_bytes(photo_id: str) -> bytes:
    """The picture as it is kept, a JPEG. LookupError when there is none."""
    try:
        return picture_path(photo_id).read_bytes()
    except FileNotFoundError as error:
        raise LookupError(say("There is no such photograph.")) from error


def save(kept: KeptPhoto) -> None:
    """Write what is known of a photograph, whole or not at all."""
    path = picture_path(kept.id).with_suffix(".json")
    fresh = path.with_suffix(".json.new")
    fresh.write_bytes(msgspec.json.encode(kept))
    fresh.replace(path)


def load(photo_id: str) -> KeptPhoto:
    """A kept photograph. LookupError when there is none."""
    path = picture_path(photo_id).with_suffix(".json")
    try:
        return msgspec.json.decode(path.read_bytes(), type=KeptPhoto)
    except (FileNotFoundError, msgspec.MsgspecError) as error:
        raise LookupError(say("There is no such photograph.")) from error


def all_kept() -> Iterator[KeptPhoto]:
    """Every kept photograph that can be read, oldest first."""
    for path in sorted(folder().glob("*.json")) if folder().is_dir() else ():
        try:
            yield load(path.stem)
        except LookupError:
            continue


def line_of(what: str) -> Line:
    """Where the corrections of this farm draw the line between marks of a kind that are counted and doubted."""
    from chirr.engine.counting.learn import learn_line

    return learn_line([as_corrected(kept) for kept in all_kept() if kept.what == what and _teaches(kept)])


def _teaches(kept: KeptPhoto) -> bool:
    return (kept.gone_over or kept.corrected) and not kept.answer.unsure


def as_corrected(kept: KeptPhoto) -> Corrected:
    """What a person's corrections say about the marks of a photograph."""
    import numpy as np

    from chirr.engine.counting.learn import Corrected

    marks = kept.answer.marks
    right = [i in kept.on or (m.doubt < kept.answer.cut and i not in kept.off) for i, m in enumerate(marks)]
    return Corrected(
        doubt=np.array([m.doubt for m in marks], dtype=np.float64), right=np.array(right, dtype=bool),
        added=len(kept.added),
    )  # fmt: skip


def corrected(kept: KeptPhoto, values: Mapping[str, str], side_cm: float | None) -> KeptPhoto:
    """The photograph with a person's corrections, as its form sends them; what does not parse is left out.

    `side_cm`: the known length, None to leave it as it was.
    """
    marks = range(len(kept.answer.marks))
    ends = _points(values.get("ends", ""), kept)
    return msgspec.structs.replace(
        kept,
        off=tuple(i for i in _numbers(values.get("off", "")) if i in marks),
        on=tuple(i for i in _numbers(values.get("on", "")) if i in marks),
        added=tuple(_points(values.get("added", ""), kept)),
        ends=(ends[0], ends[1]) if len(ends) == 2 else kept.ends,
        side_cm=kept.side_cm if side_cm is None else side_cm,
    )


def _numbers(text: str) -> list[int]:
    return sorted({int(part) for part in text.split() if part.isdigit() and len(part) < 7})


def _points(text: str, kept: KeptPhoto) -> list[tuple[float, float]]:
    found = []
    for part in text.split()[:5000]:
        match = re.fullmatch(r"(\d{1,6}(?:\.\d+)?),(\d{1,6}(?:\.\d+)?)", part)
        if match and float(match[1]) <= kept.answer.width_px and float(match[2]) <= kept.answer.height_px:
            found.append((float(match[1]), float(match[2])))
    return found


def tray_type_of(clutch: str | None) -> TrayType | None:
    """The size of tray that a clutch lies in, where the book knows it."""
    known = ledger.live().clutches.get(clutch or "")
    return next((t for t in shelf.tray_types() if known and t.tray_type == known.tray_type), None)
