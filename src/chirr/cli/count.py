"""Commands that count: on photographs, and by sample."""

from __future__ import annotations

from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from chirr.cli.say import BadInput, progress, say, say_json, sorry

if TYPE_CHECKING:
    from chirr.desk.counting import PhotoAnswer, SampleAnswer

app = typer.Typer(no_args_is_help=True, help="Count on photographs, or from samples.")
sample = typer.Typer(no_args_is_help=True, help="From a sample to the whole, with its error.")
app.add_typer(sample, name="sample")

Json = Annotated[bool, typer.Option("--json", help="JSON, for other programs.")]


@app.command("photo", short_help="Count eggs, pinheads or crickets on photographs.")
def photo(
    files: Annotated[list[str], typer.Argument(metavar="FILE...", help="JPEG, PNG, WebP or HEIC pictures.")],
    what: Annotated[str, typer.Option(metavar="WHAT", help="What is on them: eggs, pinheads or crickets.")] = "eggs",
    mm_per_px: Annotated[float | None, typer.Option(metavar="MM", help="Scale: millimetres to a pixel.")] = None,
    side_cm: Annotated[
        float | None, typer.Option(metavar="CM", help="Scale: the length that the picture shows from left to right.")
    ] = None,
    wall_cm: Annotated[
        float | None,
        typer.Option(metavar="CM", help="Scale: the clear wall's length; its two ends are looked for in the picture."),
    ] = None,
    marks: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Write the pictures with their marks here.")
    ] = None,
    json: Json = False,
) -> None:
    """Count on photographs: the number, the interval that should hold the true one, or why it cannot be told.

    Without a scale the printed strip is looked for in the picture. Where there is a farm's book, its corrected
    photographs draw the line between what is counted and what is doubted.
    """
    from chirr.desk import counting

    _check_options(what, mm_per_px, side_cm, wall_cm, marks)
    line = _farm_line(what)
    answers: list[dict[str, Any]] = []
    bad = 0
    with progress() as told:
        for i, file in enumerate(files):
            told("Counting", i, len(files))
            try:
                found = counting.count_file(
                    file, what=what, mm_per_px=mm_per_px, side_cm=side_cm, wall_cm=wall_cm, line=line, marks_in=marks
                )
            except counting.CannotCount as error:
                sorry(str(error))
                bad += 1
                answers.append({"file": file, "count": None, "interval": None, "unsure": True, "why": str(error)})
                continue
            answers.append(_as_json(found))
            if not json:
                _tell(found, what, wall_cm)
    if json:
        say_json(answers)
    if bad:
        raise typer.Exit(2)


def _farm_line(what: str) -> Any:
    """What the corrections of the farm say, where there is a farm."""
    from chirr.cli.farm import farm_path, open_farm

    if not farm_path().is_file():
        _without_a_farm()
        return None
    open_farm()
    from chirr.desk import photos

    return photos.line_of(what)


def _without_a_farm() -> None:
    """Sentences are said as they are written where no farm, and so no language, is opened."""
    from django.conf import settings

    if not settings.configured:
        settings.configure(USE_I18N=False)


def _check_options(
    what: str, mm_per_px: float | None, side_cm: float | None, wall_cm: float | None, marks: Path | None
) -> None:
    from chirr.desk.counting import WHATS

    if what not in WHATS:
        raise BadInput(f"--what is {what}; choose eggs, pinheads or crickets.")
    if sum(given is not None for given in (mm_per_px, side_cm, wall_cm)) > 1:
        raise BadInput("Give the scale once: --mm-per-px, --side-cm or --wall-cm.")
    for name, value, most in (
        ("--mm-per-px", mm_per_px, 5),
        ("--side-cm", side_cm, 1000),
        ("--wall-cm", wall_cm, 1000),
    ):
        if value is not None and not 0 < value <= most:
            raise BadInput(f"{name} is {value:g}; it must be above 0 and at most {most}.")
    if marks is not None and marks.exists() and not marks.is_dir():
        raise BadInput(f"--marks is {marks}, which is a file; name a folder.")


def _as_json(found: PhotoAnswer) -> dict[str, Any]:
    import msgspec

    return dict(msgspec.to_builtins(found))


def _tell(found: PhotoAnswer, what: str, wall_cm: float | None) -> None:
    if found.unsure:
        say(f"{found.file}: not sure. {found.why}")
        return
    low, high = found.interval
    words = f"{found.file}: {found.count:,} {what} ({low:,} to {high:,})"
    if found.length_mm is not None:
        words += f", {found.length_mm[1]:g} mm long ({found.length_mm[0]:g} to {found.length_mm[2]:g})"
    if found.scale_from:
        words += ", scale from the " + ("printed strip" if found.scale_from == "strip" else "wall's own ends")
    if found.learnt_from:
        words += f"; learnt from {found.learnt_from} corrected photograph{'s' * (found.learnt_from > 1)}"
    say(words)
    if wall_cm is not None and not found.scale_from:
        say("  The wall's ends were not found, so there is no scale.")


@sample.command("weigh", short_help="Crickets in a bin, from samples counted and weighed.")
def weigh(
    samples: Annotated[list[str], typer.Argument(metavar="COUNT:GRAMS...", help="Each sample, such as 60:21.5.")],
    gross_g: Annotated[float, typer.Option(metavar="G", help="The bin with all in it.")],
    tare_g: Annotated[float, typer.Option(metavar="G", help="The bin without them.")] = 0.0,
    json: Json = False,
) -> None:
    """How many crickets a bin holds, from samples that were counted and weighed, and the weight of the bin."""
    from chirr.desk import counting

    pairs = [_pair(text, "60:21.5") for text in samples]
    _answer(lambda: counting.weighed([n for n, _ in pairs], [g for _, g in pairs], gross_g, tare_g), json=json)


@sample.command("cup", short_help="Crickets in so many cups, from cups that were counted.")
def cup(
    counts: Annotated[list[float], typer.Argument(metavar="COUNT...", help="The cups that were counted.")],
    filled: Annotated[float, typer.Option(metavar="CUPS", help="How many cups were filled.")],
    json: Json = False,
) -> None:
    """How many are in the cups that were filled, from some that were counted."""
    from chirr.desk import counting

    _answer(lambda: counting.by_cup(counts, filled), json=json)


@sample.command("square", short_help="Eggs or pinheads on a tray, from squares that were counted.")
def square(
    counts: Annotated[list[float], typer.Argument(metavar="COUNT...", help="What each square held.")],
    square_cm2: Annotated[float, typer.Option(metavar="CM2", help="Area of a square.")],
    tray_cm2: Annotated[float, typer.Option(metavar="CM2", help="Area of the tray.")],
    json: Json = False,
) -> None:
    """How many are on a whole tray, from squares laid on it."""
    from chirr.desk import counting

    _answer(lambda: counting.by_square(counts, square_cm2, tray_cm2), json=json)


@sample.command("dead", short_help="The share of dead among those looked at.")
def dead(
    dead: Annotated[int, typer.Argument(min=0, metavar="DEAD", help="How many were dead.")],
    looked_at: Annotated[int, typer.Argument(min=1, metavar="LOOKED_AT", help="Of how many.")],
    json: Json = False,
) -> None:
    """The share of dead, with the interval that holds the true share in nine cases of ten."""
    from chirr.desk import counting

    found = _asked(lambda: counting.dead_share(dead, looked_at))
    if json:
        say_json(found)
    else:
        low, high = found["interval"]
        say(f"{found['share']:.1%} dead ({low:.1%} to {high:.1%}).")


@sample.command("pack", short_help="How many to pack so that enough arrive alive.")
def pack(
    wanted: Annotated[int, typer.Argument(min=1, metavar="WANTED", help="How many must arrive alive.")],
    chance: Annotated[float, typer.Option(metavar="CHANCE", help="With what chance, such as 0.95.")] = 0.95,
    deaths: Annotated[
        float | None, typer.Option(metavar="SHARE", help="Share that dies on the way, such as 0.02.")
    ] = None,
    past: Annotated[
        list[str] | None, typer.Option(metavar="SENT:DEAD", help="A past consignment, such as 500:9; may be repeated.")
    ] = None,
    json: Json = False,
) -> None:
    """How many to pack so that at least so many arrive alive with a chosen chance."""
    from chirr.desk import counting

    if not 0 < chance < 1:
        raise BadInput(f"--chance is {chance:g}; it must lie between 0 and 1, such as 0.95.")
    if deaths is not None and not 0 <= deaths < 1:
        raise BadInput(f"--deaths is {deaths:g}; write a share such as 0.02.")
    pairs = [_pair(text, "500:9") for text in past or ()]
    found = _asked(lambda: counting.to_pack(wanted, chance, deaths=deaths, past=pairs))
    if json:
        say_json(found)
    else:
        say(
            f"Pack {found['pack']:,}, {found['extra']:,} more than wanted: "
            f"then {wanted:,} or more arrive alive in {found['chance']:.1%} of cases."
        )


@sample.command("wall", short_help="Eggs in a tray, from those seen along its clear wall.")
def wall(
    seen: Annotated[float, typer.Argument(min=0, metavar="EGGS", help="Eggs seen along the whole wall.")],
    tray_type: Annotated[str | None, typer.Option(metavar="TYPE", help="A tray type of the farm.")] = None,
    clutch: Annotated[
        str | None, typer.Option(metavar="NAME", help="A clutch of the farm: its tray, and the age of its eggs.")
    ] = None,
    length_cm: Annotated[float | None, typer.Option(metavar="CM", help="Length of the tray.")] = None,
    width_cm: Annotated[float | None, typer.Option(metavar="CM", help="Width of the tray.")] = None,
    side_cm: Annotated[float | None, typer.Option(metavar="CM", help="Length of the clear wall.")] = None,
    age_days: Annotated[float | None, typer.Option(metavar="DAYS", help="Age of the eggs: they swell.")] = None,
    seen_cv: Annotated[float, typer.Option(metavar="CV", help="Relative error of the count at the wall.")] = 0.1,
    json: Json = False,
) -> None:
    """Eggs in a tray, from those along its wall: by what the farm's own trays counted both ways have shown, or by
    geometry alone where the tray is only measured."""
    if tray_type or clutch:
        from chirr.cli.farm import open_farm

        open_farm()
        found = _asked(lambda: _by_the_farm(seen, seen_cv, tray_type, clutch, age_days))
    elif length_cm is None or width_cm is None or side_cm is None:
        raise BadInput("Name the tray with --tray-type or --clutch, or give --length-cm, --width-cm and --side-cm.")
    else:
        found = _asked(lambda: _by_geometry(seen, seen_cv, length_cm, width_cm, side_cm, age_days))
    if json:
        say_json(found)
        return
    low, high = found["interval"]
    trays = found["trays_behind_it"]
    how = f"learnt from {trays} tray{'s' * (trays > 1)} counted both ways" if trays else "by geometry alone"
    say(f"About {found['count']:,} eggs in the tray ({low:,} to {high:,}), {how}.")


def _by_geometry(
    seen: float, seen_cv: float, length_cm: float, width_cm: float, side_cm: float, age_days: float | None
) -> dict[str, Any]:
    from chirr.desk import counting

    return counting.tray_from_wall(
        seen, seen_cv, length_cm=length_cm, width_cm=width_cm, side_cm=side_cm,
        age_days=2.0 if age_days is None else age_days,
    )  # fmt: skip


def _by_the_farm(
    seen: float, seen_cv: float, tray_type: str | None, clutch: str | None, age_days: float | None
) -> dict[str, Any]:
    from chirr.desk import clock, from_wall

    tray = from_wall.named(tray_type) if tray_type else from_wall.of_clutch(clutch or "")
    age = from_wall.age_days(clutch, clock.now()) if age_days is None else age_days
    found = from_wall.tray_from_wall(seen, seen_cv, tray, age)
    return {
        "count": found.count, "interval": list(found.interval), "cv": found.cv, "factor": found.factor,
        "trays_behind_it": found.trays,
    }  # fmt: skip


def _pair(text: str, like: str) -> tuple[float, float]:
    try:
        first, second = (float(part) for part in text.split(":"))
        if not (isfinite(first) and isfinite(second)):
            raise ValueError(text)
    except ValueError as error:
        raise BadInput(f"{text} does not fit here; write two numbers with a colon between, such as {like}.") from error
    return first, second


def _asked(ask: Any) -> Any:
    from chirr.desk.counting import CannotCount

    _without_a_farm()
    try:
        return ask()
    except CannotCount as error:
        raise BadInput(str(error)) from error


def _answer(ask: Any, *, json: bool) -> None:
    found: SampleAnswer = _asked(ask)
    if json:
        import msgspec

        say_json(msgspec.to_builtins(found))
    else:
        say(found.says)
