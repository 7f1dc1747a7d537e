"""Counting by picture and by sample: opens what a phone or camera made, asks the engine, answers in plain records.

Needs no farm. The parts that read pictures are an extra (`chirr[vision]`), so they are imported where they are used.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from io import BytesIO
from math import degrees, isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from chirr.desk.spoken import say, say_n

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from chirr.engine.counting.learn import Line
    from chirr.engine.counting.sample import Estimate
    from chirr.engine.counting.scale import Seen

MOST_MEGAPIXELS = 60
MOST_BYTES = 80_000_000
SHOWN_PX = 2400
"""Marked and kept pictures are no longer than this."""
WHATS = ("eggs", "pinheads", "crickets")


class CannotCount(Exception):  # noqa: N818  it is what is said to the user
    """A picture or a sample that will not do, in one plain sentence."""


class Mark(msgspec.Struct, frozen=True, kw_only=True):
    """One thing found: centre, length and width in pixels of the upright picture, angle in degrees clockwise, doubt
    0 to 1."""

    x: float
    y: float
    length: float
    width: float
    angle: float
    doubt: float


class PhotoAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """What one picture shows. `interval` holds the true number in nine pictures of ten; `counted` are the marks
    behind `count`.

    `length_mm` is the 10th, 50th and 90th in a hundred of the lengths, `per_cm` the number along the wall, where the
    scale is known. Marks with less doubt than `cut` are counted; `learnt_from` corrected photographs moved it.
    `scale_from` says whether the scale is given (""), or was seen on the strip or at the wall's own ends, and `ends`
    where that length begins and ends [px].
    """

    file: str
    count: int
    interval: tuple[int, int]
    unsure: bool
    why: str
    cv: float
    pale: bool
    width_px: int
    height_px: int
    mm_per_px: float | None = None
    length_mm: tuple[float, float, float] | None = None
    per_cm: float | None = None
    marks: tuple[Mark, ...] = ()
    cut: float = 0.5
    learnt_from: int = 0
    scale_from: str = ""
    ends: tuple[tuple[float, float], tuple[float, float]] | None = None

    @property
    def counted(self) -> tuple[Mark, ...]:
        return tuple(mark for mark in self.marks if mark.doubt < self.cut)


class SampleAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """A number for the whole from samples: its nine in ten interval, relative error, and how many more samples for
    10 %."""

    count: float
    interval: tuple[float, float]
    cv: float
    samples: int
    more_for_ten_percent: int | None
    says: str


def upright(file: str | Path | bytes, name: str = "") -> NDArray[np.uint8]:
    """A picture file as red, green and blue, shape (height, width, 3), turned as the camera was held.

    Raises CannotCount, in one sentence, for anything that is not one still JPEG, PNG, WebP or HEIC picture of
    sensible size.
    """
    name = name or (Path(file).name if not isinstance(file, bytes) else say("the picture"))
    Image, ImageOps = _pillow()
    data = _bytes(file, name)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            image = Image.open(BytesIO(data), formats=_formats())
            _sensible(image, name)
            image.load()
            image = ImageOps.exif_transpose(_as_held(image, data))
    except (Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
        raise CannotCount(_too_large(name)) from error
    except Image.UnidentifiedImageError as error:
        raise CannotCount(
            say("{name} is not a picture that can be read; give a JPEG, PNG, WebP or HEIC file.", name=name)
        ) from error
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise CannotCount(
            say("{name} is damaged or cut short; take it from the phone or camera again.", name=name)
        ) from error
    return _as_rgb(image)


def _as_held(image: Any, data: bytes) -> Any:
    """A HEIC picture with the turn that only its EXIF tells. Most are turned by their own boxes (irot, imir) when they
    are read, and then EXIF says the same again, which is not to be followed."""
    turn = image.info.get("original_orientation")
    if turn and b"irot" not in data[:65536] and b"imir" not in data[:65536]:
        image.getexif()[0x0112] = turn
    return image


def _pillow() -> tuple[Any, Any]:
    try:
        import cv2  # noqa: F401
        from PIL import Image, ImageOps
    except ImportError as error:
        raise CannotCount(
            say("Counting on photographs is not installed here; add it with: pip install 'chirr[vision]'.")
        ) from error
    return Image, ImageOps


def _formats() -> tuple[str, ...]:
    """The kinds of file that are opened."""
    from PIL import JpegImagePlugin, PngImagePlugin, WebPImagePlugin  # noqa: F401  they register themselves

    try:
        import pillow_heif
    except ImportError:
        return ("JPEG", "PNG", "WEBP")
    pillow_heif.register_heif_opener()
    return ("JPEG", "PNG", "WEBP", "HEIF")


def _bytes(file: str | Path | bytes, name: str) -> bytes:
    if isinstance(file, bytes):
        data = file
    else:
        path = Path(file)
        if path.is_dir():
            raise CannotCount(say("{name} is a folder; give the pictures in it.", name=name))
        try:
            if path.stat().st_size > MOST_BYTES:
                raise CannotCount(_too_large(name))
            data = path.read_bytes()
        except FileNotFoundError as error:
            raise CannotCount(say("There is no file {file}.", file=file)) from error
        except OSError as error:
            raise CannotCount(say("{file} cannot be read ({strerror}).", file=file, strerror=error.strerror)) from error
    if not data:
        raise CannotCount(say("{name} is empty.", name=name))
    if len(data) > MOST_BYTES:
        raise CannotCount(_too_large(name))
    return data


def _too_large(name: str) -> str:
    return say(
        "{name} is too large to count on; give a plain photograph of up to {MOST_MEGAPIXELS} "
        "megapixels, not a panorama.",
        name=name,
        MOST_MEGAPIXELS=MOST_MEGAPIXELS,
    )


def _sensible(image: Any, name: str) -> None:
    if image.width * image.height > MOST_MEGAPIXELS * 1e6:
        raise CannotCount(_too_large(name))
    if min(image.size) < 24:
        raise CannotCount(
            say(
                "{name} is only {width} by {height} pixels, too small to see anything in.",
                name=name,
                width=image.width,
                height=image.height,
            )
        )
    if image.format in ("PNG", "WEBP") and getattr(image, "n_frames", 1) > 1:
        raise CannotCount(say("{name} is an animation; give one still picture.", name=name))


def _as_rgb(image: Any) -> NDArray[np.uint8]:
    import numpy as np

    if image.mode.startswith(("I", "F")):
        deep = np.asarray(image, dtype=np.float64)
        top = 65535.0 if deep.max() > 255 else 255.0
        return np.repeat((deep / top * 255).clip(0, 255).astype(np.uint8)[:, :, None], 3, axis=2)
    if "A" in image.getbands() or "transparency" in image.info:
        from PIL import Image

        clear = image.convert("RGBA")
        image = Image.alpha_composite(Image.new("RGBA", clear.size, "white"), clear)
    return np.asarray(image.convert("RGB"), dtype=np.uint8)


def count_picture(
    picture: NDArray[np.uint8],
    *,
    name: str,
    what: str = "eggs",
    mm_per_px: float | None = None,
    side_cm: float | None = None,
    wall_cm: float | None = None,
    line: Line | None = None,
) -> PhotoAnswer:
    """Count on a picture, shape (height, width, 3).

    `side_cm`: the length in life of what the picture's width shows; `wall_cm`: that of the clear wall, whose ends are
    looked for. Without either the printed strip is looked for; where it lies in the picture it comes first. `line`:
    where this farm's corrections draw the line between marks.
    """
    from chirr.engine.counting.marks import KINDS
    from chirr.engine.counting.photo import count_photo

    height, width = picture.shape[:2]
    seen = _length_seen(picture, wall_cm) if mm_per_px is None else None
    if seen is not None:
        mm_per_px = seen.mm_per_px
    elif side_cm is not None:
        mm_per_px = side_cm * 10 / width
    found = count_photo(picture, kind=KINDS[what], mm_per_px=mm_per_px)
    answer = PhotoAnswer(
        file=name, count=found.count, interval=(found.low, found.high), unsure=found.unsure, why=found.why,
        cv=round(found.cv, 4), pale=found.pale, width_px=width, height_px=height, mm_per_px=mm_per_px,
        marks=_marks(found.marks), scale_from=seen.what if seen else "", ends=_rounded(seen.ends) if seen else None,
    )  # fmt: skip
    return measured(redrawn(answer, line))


def _length_seen(picture: NDArray[np.uint8], wall_cm: float | None) -> Seen | None:
    from chirr.engine.counting import scale

    seen = scale.find_strip(picture)
    return scale.find_wall(picture, wall_cm * 10) if seen is None and wall_cm else seen


def _rounded(ends: tuple[Any, Any]) -> tuple[tuple[float, float], tuple[float, float]]:
    (ax, ay), (bx, by) = ends
    return (round(ax, 1), round(ay, 1)), (round(bx, 1), round(by, 1))


def redrawn(answer: PhotoAnswer, line: Line | None) -> PhotoAnswer:
    """The answer with a farm's own line between the marks that are counted and those that are doubted."""
    if line is None or line.pictures == 0 or answer.unsure:
        return answer
    import numpy as np

    from chirr.engine.counting.learn import redrawn as drawn

    doubt = np.array([mark.doubt for mark in answer.marks], dtype=np.float64)
    count, low, high = drawn(doubt, (answer.count, *answer.interval), line)
    cv = float(np.log((high + 0.5) / (low + 0.5)) / (2 * 1.645))
    return msgspec.structs.replace(
        answer, count=count, interval=(low, high), cv=round(cv, 4), cut=line.cut, learnt_from=line.pictures
    )


def measured(answer: PhotoAnswer) -> PhotoAnswer:
    """The answer with lengths and number along the wall, where the scale is known."""
    if answer.mm_per_px is None:
        return answer
    import numpy as np

    lengths = [mark.length * answer.mm_per_px for mark in answer.counted]
    low, middle, high = np.percentile(lengths, (10, 50, 90)) if lengths else (0.0, 0.0, 0.0)
    return msgspec.structs.replace(
        answer,
        length_mm=(round(float(low), 2), round(float(middle), 2), round(float(high), 2)) if lengths else None,
        per_cm=round(answer.count / (answer.width_px * answer.mm_per_px / 10), 3),
    )


def _marks(marks: Any) -> tuple[Mark, ...]:
    names = ("x_px", "y_px", "length_px", "width_px", "angle_rad", "doubt")
    rows = zip(*(getattr(marks, name).tolist() for name in names), strict=True)
    return tuple(
        Mark(
            x=round(x, 1),
            y=round(y, 1),
            length=round(length, 1),
            width=round(width, 1),
            angle=round(degrees(angle), 1),
            doubt=round(doubt, 3),
        )
        for x, y, length, width, angle, doubt in rows
    )


def count_file(
    path: str | Path,
    *,
    what: str = "eggs",
    mm_per_px: float | None = None,
    side_cm: float | None = None,
    wall_cm: float | None = None,
    line: Line | None = None,
    marks_in: Path | None = None,
) -> PhotoAnswer:
    """Count on a picture file; with `marks_in`, also write the marked picture into that folder. Raises
    CannotCount."""  # fmt: skip
    picture = upright(path)
    answer = count_picture(
        picture, name=str(path), what=what, mm_per_px=mm_per_px, side_cm=side_cm, wall_cm=wall_cm, line=line
    )
    if marks_in is not None:
        write_marked(picture, answer, marks_in / f"{Path(path).name}.marks.jpg")
    return answer


def write_marked(picture: NDArray[np.uint8], answer: PhotoAnswer, path: Path) -> None:
    """The picture with a ring round everything found, green where it is counted, orange and dashed where it is
    doubted."""
    import cv2
    import numpy as np

    scale = min(1.0, SHOWN_PX / max(picture.shape[:2]))
    shown = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)[:, :, ::-1].copy()
    for mark in answer.marks:
        axes = (round(mark.length * scale / 2) + 2, round(mark.width * scale / 2) + 2)
        centre = (round(mark.x * scale), round(mark.y * scale))
        if mark.doubt < answer.cut:
            cv2.ellipse(shown, centre, axes, mark.angle, 0, 360, (60, 230, 60), 1, cv2.LINE_AA)
        else:
            for start in range(0, 360, 60):
                cv2.ellipse(shown, centre, axes, mark.angle, start, start + 30, (0, 140, 255), 1, cv2.LINE_AA)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(np.asarray(cv2.imencode(".jpg", shown, [cv2.IMWRITE_JPEG_QUALITY, 88])[1]).tobytes())


def write_plain(picture: NDArray[np.uint8], path: Path) -> None:
    """The picture as a JPEG of at most SHOWN_PX, with nothing else in the file."""
    import cv2
    import numpy as np

    scale = min(1.0, SHOWN_PX / max(picture.shape[:2]))
    shown = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else picture
    coded = cv2.imencode(".jpg", shown[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 85])[1]
    path.write_bytes(np.asarray(coded).tobytes())


# --- samples -----------------------------------------------------------------------------------------------------


def weighed(counts: Sequence[float], masses_g: Sequence[float], gross_g: float, tare_g: float) -> SampleAnswer:
    """How many are in a bin, from samples counted and weighed. Raises CannotCount."""
    from chirr.engine.counting import sample

    _real(*counts, *masses_g, gross_g, tare_g)
    return _sampled(lambda: sample.weigh_and_count(counts, masses_g, gross_g, tare_g))


def by_cup(counts: Sequence[float], filled: float) -> SampleAnswer:
    """How many are in so many filled cups, from cups that were counted. Raises CannotCount."""
    from chirr.engine.counting import sample

    _real(*counts, filled)
    return _sampled(lambda: sample.cups(counts, filled), lambda _: sample.more_cups(counts, filled))


def by_square(counts: Sequence[float], square_cm2: float, tray_cm2: float) -> SampleAnswer:
    """How many are on a tray, from squares counted on it. Raises CannotCount."""
    from chirr.engine.counting import sample

    _real(*counts, square_cm2, tray_cm2)
    return _sampled(lambda: sample.squares(counts, square_cm2, tray_cm2))


def _real(*numbers: float) -> None:
    """Raise CannotCount unless each is a number that something can have."""
    odd = next((x for x in numbers if not isfinite(x)), None)
    if odd is not None:
        raise CannotCount(say("{value} is not a number that can be counted or weighed; write figures.", value=odd))


def _sampled(ask: Any, plan: Any = None) -> SampleAnswer:
    from chirr.engine.counting import sample

    try:
        found: Estimate = ask()
        more = (plan or sample.more_samples)(found) if found.total > 0 else None
    except sample.CannotTell as error:
        raise CannotCount(str(error)) from error
    low, high = round(found.low), round(found.high)
    says = say("About {n:,.0f}; between {low:,} and {high:,} in nine cases of ten.", n=found.total, low=low, high=high)
    if more is not None:
        says += " " + (
            say_n(
                "To know it to 10 %, take {n:,} more sample like these.",
                "To know it to 10 %, take {n:,} more samples like these.",
                more,
            )
            if more
            else say("That is within 10 % already.")
        )
    cv = round(found.cv, 4) if found.total > 0 else 0.0
    return SampleAnswer(
        count=round(found.total, 1),
        interval=(low, high),
        cv=cv,
        samples=found.samples,
        more_for_ten_percent=more,
        says=says,
    )


def dead_share(dead: int, looked_at: int) -> dict[str, Any]:
    """Share of dead among those looked at, with its exact interval. Raises CannotCount."""
    from chirr.engine.counting import sample

    try:
        low, high = sample.share_interval(dead, looked_at, 0.9)
    except sample.CannotTell as error:
        raise CannotCount(str(error)) from error
    return {"share": dead / looked_at, "interval": [low, high]}


def looks_for_share() -> int:
    """How many of many to look at to know a share to 5 % either way with a chance of 95 %."""
    from math import ceil

    from chirr.engine.counting import sample

    return ceil(sample.looks_for_share())


def to_pack(
    wanted: int, chance: float, *, deaths: float | None = None, past: Sequence[tuple[float, float]] = ()
) -> dict[str, Any]:
    """How many to pack so that `wanted` arrive alive; deaths as a share, or from past consignments (sent, dead)."""
    from chirr.engine.counting import packs
    from chirr.engine.counting.sample import CannotTell

    try:
        if past:
            transit = packs.transit_from_past([sent for sent, _ in past], [dead for _, dead in past])
        elif deaths is not None:
            transit = packs.Transit(share=deaths)
        else:
            raise CannotCount(say("Say what share dies on the way, or give past consignments as sent and dead."))
        packed = packs.to_pack(wanted, chance, transit)
    except CannotTell as error:
        raise CannotCount(str(error)) from error
    return {
        "pack": packed,
        "wanted": wanted,
        "extra": packed - wanted,
        "chance": packs.chance_enough(packed, wanted, transit),
        "deaths_share": transit.share,
        "deaths_sd": transit.sd,
    }


def tray_from_wall(
    seen: float, seen_cv: float, *, length_cm: float, width_cm: float, side_cm: float, age_days: float = 2.0
) -> dict[str, Any]:
    """Eggs in a tray from those seen along its clear wall, before the farm has counted any tray both ways."""
    from chirr.engine.counting import wall
    from chirr.engine.counting.sample import CannotTell

    try:
        factor = wall.geometric_factor(length_cm, width_cm, side_cm, age_days)
        eggs = wall.tray_eggs(seen, seen_cv, factor)
    except CannotTell as error:
        raise CannotCount(str(error)) from error
    return {
        "count": round(eggs.middle), "interval": [round(eggs.low), round(eggs.high)], "cv": eggs.cv,
        "factor": factor.middle, "trays_behind_it": factor.trays,
    }  # fmt: skip
