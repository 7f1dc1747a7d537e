"""The phone's pocket as JSON: the desk's figures put into words, lists that repeat given once."""

from __future__ import annotations

from datetime import date
from typing import Any

import msgspec
from django.utils.translation import gettext as _

from chirr.deeds import DEEDS
from chirr.desk.farm import Choices
from chirr.desk.pocket import Pocket
from chirr.desk.shapes import BinTile, ClutchBelief, LotBelief, RackRoom, RoundItem, RoundStop, StoryLine, SubstrateRow
from chirr.desk.spoken import again, day_words, say
from chirr.pages import display, phone_words
from chirr.pages.fields import GROUPS, deed_form
from chirr.pages.templatetags.chirr import band
from chirr.pages.views.racks import DEEDS_OF
from chirr.pages.views.round import GROUP_WORDS, UNDER_ELSE, fills, how
from chirr.says import word

SPENT = word(
    "Spent substrate can carry living eggs and germs: heat or freeze it before it leaves the farm, and ask what your"
    " place allows as fertiliser."
)
STAND_INS = Choices(
    rooms=("@rooms",), bins=("@bins",), lots={"@lots": "", "@breeders": ""}, breeders=("@breeders",),
    clutches={"@clutches": ""}, tray_types=("@tray_types",), substrates=("@substrates",), next_clutch="@next_clutch",
    next_lot="@next_lot",
)  # fmt: skip
"""In the place of the farm's things: each form names the list it offers, and the list is sent once."""


def as_json(p: Pocket, *, units: str, may_write: bool) -> dict[str, Any]:
    """The pocket as plain data for the phone; see docs/without-network.md."""
    from chirr.desk.round import whole_bin

    return {
        "as_of": p.as_of, "day": p.sheet.day, "as_of_says": display.moment(p.as_of), "may_write": may_write,
        "to_settle": p.to_settle, "minutes": round(p.sheet.minutes), "done_today": p.sheet.done_today,
        "stops": [_stop(s, whole_bin(s), p.choices) for s in p.sheet.stops],
        "rooms": [_room(r) for r in p.rooms],
        "bins": {t.bin: _bin(t, p.lines.get(t.bin, ())) for r in p.rooms for t in _tiles(r)},
        "lots": {name: _lot(b) for name, b in p.beliefs.lots.items()},
        "clutches": {n: _clutch(b, p.homes.get(n, ""), p.overdue.get(n)) for n, b in p.beliefs.clutches.items()},
        "substrates": {b.substrate: _substrate(b, trays) for b, trays in p.substrates},
        "sheets": {code: _sheet(day) for code, day in p.sheets.items()},
        "choices": msgspec.to_builtins(p.choices),
        "groups": [[str(words), list(deeds)] for words, deeds in GROUPS],
        "deeds": {name: _deed(name, units) for name in DEEDS if name != "correct"},
        "deeds_of": DEEDS_OF, "under_else": UNDER_ELSE, "group_words": {k: str(v) for k, v in GROUP_WORDS.items()},
        "words": phone_words.translated(),
    }  # fmt: skip


def _tiles(room: RackRoom) -> list[BinTile]:
    return [t for stack in room.stacks for level in stack.levels for t in level.bins]


def _stop(s: RoundStop, whole: tuple[str, ...], choices: Choices) -> dict[str, Any]:
    lot = next((lot for lot, bin_ in choices.lots.items() if bin_ == s.bin), None) if s.bin else None
    return {
        "key": s.key, "group": s.group, "room": s.room, "stack": s.stack, "level": s.level, "bin": s.bin,
        "lot": lot, "minutes": round(s.minutes, 1), "within": s.within_reach,
        "whole": list(whole), "items": [_item(i) for i in s.items],
    }  # fmt: skip


def _item(i: RoundItem) -> dict[str, Any]:
    done, none_yet = fills(i)
    short: dict[str, Any] = {
        "key": i.key, "what": i.what, "why": i.why, "urgency": i.urgency, "minutes": round(i.minutes, 2),
        "how": how(i, live=True), "fill": done,
    }  # fmt: skip
    return short | ({"none": none_yet} if none_yet else {})


def _room(r: RackRoom) -> dict[str, Any]:
    return {
        "room": r.room, "says": r.temperature_says, "racked": list(r.racked_clutches),
        "temperature": "" if r.temperature_c is None else display.temperature_c(r.temperature_c),
        "stacks": [
            [s.stack, [[level.level, [t.bin for t in level.bins]] for level in s.levels]] for s in r.stacks
        ],
    }  # fmt: skip


def _bin(t: BinTile, lines: tuple[StoryLine, ...]) -> dict[str, Any]:
    told: dict[str, Any] = {
        "room": t.room, "stack": t.stack, "level": t.level, "duty": t.duty, "state": t.state, "lot": t.lot,
        "says": t.says, "due": t.next_due, "woe": t.trouble, "trays": t.trays,
        "progress": None if t.progress is None else round(t.progress, 2),
        "lines": [[display.moment(x.at), x.person or "", x.says, x.standing] for x in lines],
    }  # fmt: skip
    return {key: value for key, value in told.items() if value not in (None, "", 0, [])}


def _lot(b: LotBelief) -> dict[str, Any]:
    facts = [[_("Alive"), band(b.alive)]]
    if not b.waiting:
        facts.append([_("Mass of one"), band(b.mean_mg, "mg")])
    if b.harvest_ready is not None:
        facts.append([_("Ready to harvest"), band(b.harvest_ready, "time")])
    return {"bin": b.bin, "facts": facts}


def _clutch(b: ClutchBelief, home: str, late: str | None) -> dict[str, Any]:
    facts = [[_("Eggs"), band(b.eggs)], [_("First pinheads"), late or band(b.first_pinheads, "time")]]
    return {"bin": b.bin, "home": home, "lot": b.lot, "facts": facts}


def _substrate(b: SubstrateRow, trays: tuple[str, ...]) -> dict[str, Any]:
    uses = " · ".join(say("use {cycle}: {n}", cycle=cycle, n=n) for cycle, n in b.trays_by_cycle)
    facts = [[_("First used"), display.day(b.first_at)], [_("Trays by use"), uses], [_("In use now"), str(b.in_use)]]
    return {"says": b.says, "facts": facts, "trays": list(trays), "caution": again(SPENT)}


def _sheet(day: str) -> str:
    return say("For the round of {day}.", day=day_words(date.fromisoformat(day), year=True))


def _deed(name: str, units: str) -> dict[str, Any]:
    ways = [deed_form(name, way, STAND_INS, units) for way in range(len(DEEDS[name].needs))]
    return {
        "says": str(ways[0].says), "cautions": [str(c) for c in ways[0].cautions],
        "ways": [
            {
                "words": str(next((w.words for w in form.ways if w.number == n), "")),
                "needed": [_field(f) for f in form.needed], "more": [_field(f) for f in form.more],
            }
            for n, form in enumerate(ways)
        ],
    }  # fmt: skip


def _field(f: Any) -> dict[str, Any]:
    given = {
        "name": f.name, "label": str(f.label), "kind": f.kind, "hint": str(f.hint), "required": f.required,
        "options": [[str(x) for x in o] if isinstance(o, tuple | list) else [str(o), str(o)] for o in f.options],
        "blank": None if f.blank is None else str(f.blank),
    }  # fmt: skip
    return {key: value for key, value in given.items() if value or key in ("name", "label", "kind")}
