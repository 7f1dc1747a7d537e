"""The farm's own words: what the book keeps as a code and the pages show as a word."""

from __future__ import annotations

from chirr.desk.spoken import say


def mark(_kind: str, word: str) -> str:
    """Mark a word of a kind for translation; `spoken.term` says it."""
    return word


DEEDS = (
    mark("deed", "stock"), mark("deed", "lay"), mark("deed", "pull"), mark("deed", "hatch"), mark("deed", "empty"),
    mark("deed", "feed"), mark("deed", "water"), mark("deed", "clean"), mark("deed", "count"), mark("deed", "weigh"),
    mark("deed", "deaths"), mark("deed", "move"), mark("deed", "split"), mark("deed", "join"), mark("deed", "take"),
    mark("deed", "harvest"), mark("deed", "retire"), mark("deed", "pack"), mark("deed", "ship"), mark("deed", "note"),
    mark("deed", "correct"),
)  # fmt: skip
DUTIES = (mark("duty", "breeding"), mark("duty", "nursery"), mark("duty", "grow-out"))
STATES = (
    mark("state", "empty"), mark("state", "to clean"), mark("state", "to-clean"), mark("state", "breeding"),
    mark("state", "nursery"), mark("state", "grow-out"), mark("state", "hatching"), mark("state", "growing"),
    mark("state", "ready"), mark("state", "trouble"),
)  # fmt: skip
ROLES = (mark("role", "owner"), mark("role", "hand"), mark("role", "reader"))
URGENCIES = (
    mark("urgency", "due"), mark("urgency", "open"), mark("urgency", "overdue"), mark("urgency", "soon"),
    mark("urgency", "optional"),
)  # fmt: skip
STANDINGS = (mark("standing", "replaced"), mark("standing", "withdrawn"))
STAGES = (mark("stage", "pinhead"), mark("stage", "nymph"), mark("stage", "adult"))
UNITS = (
    mark("unit", "crickets"), mark("unit", "pinheads"), mark("unit", "eggs"), mark("unit", "kg"), mark("unit", "g"),
    mark("unit", "l"), mark("unit", "lb"), mark("unit", "oz"), mark("unit", "gal"), mark("unit", "mg"),
)  # fmt: skip
COLUMNS = (
    mark("column", "bin"), mark("column", "lot"), mark("column", "clutch"), mark("column", "tray_type"),
    mark("column", "substrate"), mark("column", "cycle"), mark("column", "to_bin"), mark("column", "to_lot"),
    mark("column", "to_place"), mark("column", "from_lots"), mark("column", "stage"), mark("column", "age_days"),
    mark("column", "quantity"), mark("column", "unit"), mark("column", "cv"), mark("column", "sample"),
    mark("column", "minutes"), mark("column", "note"), mark("column", "replaces"), mark("column", "person"),
    mark("column", "id"), mark("column", "at"), mark("column", "received"),
)  # fmt: skip
OUTCOMES = (
    mark("outcome", "eggs"), mark("outcome", "pinheads"), mark("outcome", "survivors"), mark("outcome", "kg"),
    mark("outcome", "kg_per_clutch"), mark("outcome", "minutes"), mark("outcome", "eggs a clutch"),
    mark("outcome", "pinheads a clutch"), mark("outcome", "crickets harvested for each clutch"),
    mark("outcome", "kg a lot"), mark("outcome", "kg harvested for each clutch"), mark("outcome", "minutes a tray"),
)  # fmt: skip
CALENDAR = (
    mark("weekday", "Mon"), mark("weekday", "Tue"), mark("weekday", "Wed"), mark("weekday", "Thu"),
    mark("weekday", "Fri"), mark("weekday", "Sat"), mark("weekday", "Sun"),
    mark("full weekday", "Monday"), mark("full weekday", "Tuesday"), mark("full weekday", "Wednesday"),
    mark("full weekday", "Thursday"), mark("full weekday", "Friday"), mark("full weekday", "Saturday"),
    mark("full weekday", "Sunday"),
    mark("month", "Jan"), mark("month", "Feb"), mark("month", "Mar"), mark("month", "Apr"), mark("month", "May"),
    mark("month", "Jun"), mark("month", "Jul"), mark("month", "Aug"), mark("month", "Sep"), mark("month", "Oct"),
    mark("month", "Nov"), mark("month", "Dec"),
    mark("full month", "January"), mark("full month", "February"), mark("full month", "March"),
    mark("full month", "April"), mark("full month", "May"), mark("full month", "June"), mark("full month", "July"),
    mark("full month", "August"), mark("full month", "September"), mark("full month", "October"),
    mark("full month", "November"), mark("full month", "December"),
)  # fmt: skip


def named(kind: str, name: str) -> str:
    """A thing with its name, as in 'bin N1-1'."""
    if kind == "bin":
        return say("bin {name}", name=name)
    if kind == "lot":
        return say("lot {name}", name=name)
    return say("clutch {name}", name=name) if kind == "clutch" else name
