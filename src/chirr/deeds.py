"""The deeds: what an entry may say was done, and which columns each one needs.

Plain data, read by the forms, the file checks and the book alike, so a new deed is added here and in
`book/replay.py`, where its effect stands.
"""

from __future__ import annotations

import msgspec

from chirr.says import word


class Deed(msgspec.Struct, frozen=True, kw_only=True):
    """One kind of entry.

    `needs` lists the ways in which it is complete: at least one of these sets of columns must be filled.
    `may` are further columns that mean something; `units` the units that `quantity` may have (with "" where the
    unit may be left out); `says` the deed in plain words.
    """

    name: str
    says: str
    needs: tuple[tuple[str, ...], ...]
    may: tuple[str, ...] = ()
    units: tuple[str, ...] = ()


def _deed(name: str, says: str, *needs: str, may: str = "", units: tuple[str, ...] = ()) -> Deed:
    return Deed(
        name=name, says=says, needs=tuple(tuple(way.split()) for way in needs), may=tuple(may.split()), units=units
    )


_ALL = (
    _deed(
        "stock", word("crickets bought in or already here are put into a bin"), "bin lot quantity unit stage age_days",
        may="cv", units=("crickets",),
    ),
    _deed(
        "lay", word("a laying tray goes into a breeding bin"), "bin lot clutch tray_type", may="substrate cycle",
    ),
    _deed(
        "pull", word("the tray comes out, to hatch in a bin or to wait on a rack"),
        "clutch to_bin to_lot", "clutch to_place", may="bin",
    ),
    _deed("hatch", word("the first pinheads of a clutch are seen"), "clutch", may="bin"),
    _deed("empty", word("the spent substrate of a tray comes out"), "clutch", may="bin"),
    _deed("feed", word("a bin is fed"), "bin", may="lot quantity unit", units=("", "g", "kg", "l")),
    _deed("water", word("a bin is watered"), "bin", may="lot quantity unit", units=("", "g", "kg", "l")),
    _deed("clean", word("a bin is cleaned"), "bin"),
    _deed(
        "count", word("eggs, pinheads or crickets are counted"), "lot quantity unit", "clutch quantity unit",
        may="bin cv sample", units=("eggs", "pinheads", "crickets"),
    ),
    _deed("weigh", word("a sample of a lot is weighed"), "lot sample quantity unit", may="bin cv", units=("g",)),
    _deed("deaths", word("dead crickets are taken out"), "lot quantity", may="bin unit cv", units=("", "crickets")),
    _deed(
        "move", word("a lot is tipped into another bin, a bin is carried, or a tray is moved"),
        "lot to_bin", "bin to_place", "clutch to_bin to_lot", "clutch to_place", may="bin",
    ),
    _deed(
        "split", word("part of a lot becomes a lot of its own"), "lot to_lot to_bin quantity",
        may="bin unit cv", units=("", "crickets", "pinheads"),
    ),
    _deed("join", word("several lots become one"), "from_lots to_lot to_bin"),
    _deed(
        "take", word("a part of a lot leaves: sold live, given away"), "lot quantity unit",
        may="bin cv", units=("crickets", "kg"),
    ),
    _deed("harvest", word("all that is left of a lot comes out, and the lot ends"), "lot quantity unit", may="bin",
          units=("kg",)),
    _deed("retire", word("a lot of breeders is given up, and the lot ends"), "lot", may="bin quantity unit",
          units=("", "kg", "crickets")),
    _deed("pack", word("goods are packed"), "lot quantity unit", may="bin", units=("crickets", "kg", "g")),
    _deed("ship", word("goods leave the farm"), "lot quantity unit", may="bin", units=("crickets", "kg", "g")),
    _deed("note", word("something is written down"), "note", may="bin lot clutch"),
    _deed("correct", word("an earlier entry never happened"), "replaces note"),
)  # fmt: skip

DEEDS: dict[str, Deed] = {deed.name: deed for deed in _ALL}


def missing_columns(deed: Deed, filled: set[str]) -> tuple[str, ...]:
    """Columns still needed by the way of filling `deed` that is nearest to complete; empty when it is complete."""
    return min((tuple(c for c in way if c not in filled) for way in deed.needs), key=len)
