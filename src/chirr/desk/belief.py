"""What is believed of the farm, and what is ahead: the book's facts through the engine, kept until the facts change.

Feeding, watering, cleaning and notes tell nothing of how many there are, so they leave belief as it is. While a new
belief is being worked out for a page, the last one is shown; the command line always waits for the newest.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING
from zlib import crc32

import msgspec
import numpy as np
from django.db import connection
from django.db.models import Q, QuerySet

from chirr.book import ledger, shelf
from chirr.book.models import EntryRow, ReadingRow
from chirr.book.standing import Standing
from chirr.desk import clock
from chirr.desk.gather import MEMORY_DAYS, Gathered, gather
from chirr.desk.learning import StillLearning
from chirr.desk.learnt_file import keep_learnt, read_learnt
from chirr.desk.remarks import remarks
from chirr.desk.shapes import Band, Beliefs, ClutchBelief, LotBelief
from chirr.desk.spoken import say
from chirr.engine.biology.species import species
from chirr.engine.colony.ahead import Ahead, look_ahead
from chirr.engine.colony.belief import Belief, believe
from chirr.engine.colony.horizon import Horizon
from chirr.engine.colony.influence import Ground
from chirr.engine.colony.learnt import Learnt, learnt_of
from chirr.records import Days, FarmCard, SizeClass

if TYPE_CHECKING:
    from chirr.desk.retiring import BreedingLot
    from chirr.engine.colony.latents import FarmLevel

DRAWS, DAYS = 1000, 90
SILENT = ("feed", "water", "clean", "note", "pack", "ship")
HOUR = 3600

USUAL_CLASSES = (
    SizeClass(name="pinhead", from_mg=0),
    SizeClass(name="small", from_mg=12),
    SizeClass(name="half grown", from_mg=90),
    SizeClass(name="large", from_mg=230),
)
"""Size classes of a farm that has named none; bounds from the trade's usual sizes, common practice, no published
source."""


@dataclass(frozen=True, kw_only=True)
class Foresight:
    """Belief and ahead as of one moment, with the names behind the engine's numbers."""

    as_of: int
    days: int
    card: FarmCard
    standing: Standing
    gathered: Gathered
    belief: Belief
    ahead: Ahead
    classes: tuple[SizeClass, ...]
    sharpen: dict[str, str] = field(default_factory=dict)
    """The few lots of which a weighing today would narrow the forecast most, each with why."""
    told: int = 0
    """The number of the newest entry that is believed; 0 where that does not matter."""

    @property
    def horizon(self) -> Horizon:
        """What is looked ahead for."""
        return _horizon(self.days, self.classes)

    @cached_property
    def ground(self) -> Ground:
        """What the influence of facts on all its figures has in common."""
        return Ground(self.belief)

    @cached_property
    def farm_level(self) -> FarmLevel:
        """The farm's own numbers in joint draws."""
        from chirr.engine.planning.laying import farm_draws

        return farm_draws(self.belief, DRAWS, np.random.default_rng(19))

    @cached_property
    def learnt(self) -> Learnt:
        """Where its search ended."""
        return learnt_of(self.belief)

    @cached_property
    def beliefs(self) -> Beliefs:
        """What pages show of each thing, put together once; without remarks, which each reader gets in own words."""
        return Beliefs(
            as_of=self.as_of,
            clutches={b.clutch: b for b in (clutch_belief(self, i) for i in range(len(self.ahead.clutches)))},
            lots={b.lot: b for b in (lot_belief(self, i) for i in range(len(self.ahead.lots)))},
            sharpen=self.sharpen,
            retire={b.answer.lot: b.answer for b in self.breeding},
        )

    @cached_property
    def breeding(self) -> tuple[BreedingLot, ...]:
        """Breeding lots and when they have had their day, worked out once."""
        from chirr.desk.retiring import breeding_lots

        return breeding_lots(self)

    def times(self, hours: np.ndarray) -> np.ndarray:
        """Hours of the engine's grid as epoch seconds."""
        return np.asarray(self.gathered.start + hours * HOUR)


State = tuple[tuple[int, str], tuple[int, int], int, int]
"""See `_state`."""

_kept: dict[tuple[str, int, int], tuple[State, Foresight]] = {}
_busy: set[tuple[str, int, int]] = set()
_lock = threading.Lock()
_done = threading.Condition(_lock)
"""Told when what was worked out beside the pages is there."""
_work = threading.Lock()
_hush = threading.Event()

_PAUSE_S = 1.5
"""The whole farm is believed anew so long after an entry: the pages that show it first, and the entries that follow,
need the processor more."""

_PATIENCE_S = 1.5
"""So long a page waits for the first belief before it says that it is being worked out."""

_serving = threading.Event()
"""Set where pages are served, to several people at once; everybody else waits for the first belief."""


def swap_days_of(days: Days) -> float:
    """Mean days between two swaps."""
    return float(days) if isinstance(days, int) else 7.0 / max(len(days), 1)


def foresee(at: int | None = None, *, days: int = DAYS, draws: int = DRAWS) -> Foresight:
    """Belief and ahead as of `at` (only entries up to it are believed), worked out afresh.

    Raises
    ------
    LookupError
        If the book holds no farm.
    """
    card = shelf.card()
    if card is None:
        raise LookupError(say("This book holds no farm yet; set one up or import a folder."))
    latest, (_, newest) = ledger.last_at(), ledger.newest()
    as_of = clock.now() if at is None else at
    standing = ledger.live() if latest is None or as_of >= latest else ledger.standing_at(as_of)
    animal = species(card.species)
    gathered = gather(
        standing,
        at=as_of,
        rooms=shelf.rooms(),
        tray_types=shelf.tray_types(),
        species=animal,
        readings=shelf.temperatures(as_of - (MEMORY_DAYS + 60) * 86400, as_of),
        days=days,
        swap_days=swap_days_of(card.swap_days),
    )
    belief = believe(
        gathered.history, gathered.clocks, gathered.clutch_temp_c, animal, learnt=read_learnt() if at is None else None
    )
    if at is None:
        keep_learnt(learnt_of(belief), newest)
    return look_from(
        belief, gathered, standing, card, as_of=as_of, days=days, draws=draws,
        living=which(gathered.lots, lambda name: standing.lots[name].alive),
        open_clutches=which(gathered.clutches, lambda name: standing.clutches[name].emptied_at is None),
    )  # fmt: skip


def look_from(
    belief: Belief,
    gathered: Gathered,
    standing: Standing,
    card: FarmCard,
    *,
    as_of: int,
    days: int,
    draws: int,
    living: np.ndarray,
    open_clutches: np.ndarray,
) -> Foresight:
    """Look ahead from a belief, at some of its lots and clutches, given by number."""
    classes = card.size_classes or USUAL_CLASSES
    ahead = look_ahead(
        belief,
        gathered.clocks,
        _horizon(days, classes),
        place_room=gathered.place_room,
        draws=draws,
        rng=np.random.default_rng(20_30),
        living=living,
        open_clutches=open_clutches,
    )
    return Foresight(
        as_of=as_of, days=days, card=card, standing=standing, gathered=gathered, belief=belief, ahead=ahead,
        classes=classes,
    )  # fmt: skip


def _horizon(days: int, classes: tuple[SizeClass, ...]) -> Horizon:
    from_mg = tuple(c.from_mg for c in classes)
    return Horizon(days=days, from_mg=from_mg, target_mg=max(from_mg[-1], 1.0))


def which(names: list[str], true: Callable[[str], bool]) -> np.ndarray:
    """Numbers of the names of which something is true."""
    return np.array([i for i, name in enumerate(names) if true(name)], dtype=np.int64)


def foresight(*, fresh: bool = False, days: int = DAYS, draws: int = DRAWS) -> Foresight:
    """Belief and ahead as of now, from memory where the facts have not changed.

    Without `fresh` an outdated one may be returned while a new one is worked out beside it.

    Raises
    ------
    LookupError
        If the book holds no farm.
    StillLearning
        Where pages are served, while there is none at all yet.
    """
    key = (str(connection.settings_dict["NAME"]), days, draws)
    state = _state()
    with _lock:
        kept = _kept.get(key)
    if kept is not None and kept[0] == state:
        return kept[1]
    if kept is not None and not ledger.still_has(*kept[0][0]):  # the book was replaced by a copy
        kept = None
        with _lock:
            _kept.pop(key, None)
    if fresh or (kept is None and not _serving.is_set()):
        return _work_out(key, state, days, draws)
    _start(key, days, draws)
    return _first(key, state, days, draws) if kept is None else kept[1]


def serve_pages() -> None:
    """Say that this program serves pages from now on, and begin with the first belief before anybody asks for it."""
    _serving.set()
    if shelf.card() is not None:
        _start((str(connection.settings_dict["NAME"]), DAYS, DRAWS), DAYS, DRAWS)


def _start(key: tuple[str, int, int], days: int, draws: int) -> None:
    """Have a new belief worked out beside the pages, unless it is already."""
    with _lock:
        if key not in _busy:
            _busy.add(key)
            threading.Thread(target=_beside, args=(key, days, draws), daemon=True).start()


def _first(key: tuple[str, int, int], state: State, days: int, draws: int) -> Foresight:
    """The first belief, if it comes soon; one that failed beside the pages is tried here, so that it is told why."""
    with _done:
        _done.wait_for(lambda: key in _kept or key not in _busy, _PATIENCE_S)
        kept = _kept.get(key)
        if kept is None and key in _busy:
            raise StillLearning
    return kept[1] if kept is not None else _work_out(key, state, days, draws)


def _beside(key: tuple[str, int, int], days: int, draws: int) -> None:
    try:
        if key in _kept:
            _hush.wait(_PAUSE_S)
        _work_out(key, _state(), days, draws)
    finally:
        with _done:
            _busy.discard(key)
            _done.notify_all()
        connection.close()


def _work_out(key: tuple[str, int, int], state: State, days: int, draws: int) -> Foresight:
    with _work:
        with _lock:
            kept = _kept.get(key)
        if kept is not None and kept[0] == state:
            return kept[1]
        from chirr.desk.why import worth_weighing

        new = replace(foresee(days=days, draws=draws), told=state[0][0])
        new = replace(new, sharpen=worth_weighing(new))
        new.breeding  # noqa: B018 - worked out here, so that no page waits for it
        with _lock:
            _kept[key] = (state, new)
        return new


def _state() -> State:
    """What belief depends on: the newest entry that tells something, the newest reading, the hour, the farm itself."""
    told = telling().order_by("-seq").values_list("seq", "id").first() or (0, "")
    read = ReadingRow.objects.order_by("-pk").values_list("pk", "at").first() or (0, 0)
    farm = msgspec.json.encode((shelf.card(), shelf.rooms(), shelf.tray_types(), ledger.bin_rows()))
    return told, read, clock.now() // HOUR, crc32(farm)


def telling() -> QuerySet[EntryRow]:
    """Entries that tell something of how many there are or when: none of the silent deeds, but what stands for another
    entry or takes it back."""
    return EntryRow.objects.filter(~Q(deed__in=SILENT) | Q(replaces__isnull=False))


def is_kept(f: Foresight) -> bool:
    """Whether a foresight is the newest there is."""
    return any(kept is f for _, kept in _kept.values())


def is_behind(f: Foresight) -> bool:
    """Whether entries that tell something have come since."""
    return f.told > 0 and telling().filter(seq__gt=f.told).exists()


def forget() -> None:
    """Drop what is kept, so that the next page waits for what comes of a changed card, room or tray type."""
    with _lock:
        _kept.clear()


def band(values: np.ndarray) -> Band:
    """Quantiles as a band."""
    return Band(q=tuple(float(v) for v in values))


def beliefs(as_of: int | None = None) -> Beliefs:
    """Belief in every open clutch and living lot, for the round, the racks and the trays.

    Without `as_of`, what the newest entries touch is believed anew at once, also where the whole is not yet.
    """
    from chirr.desk.just_entered import up_to_date  # asks for a foresight, so not at the top

    f = foresight() if as_of is None else foresee(as_of)
    return msgspec.structs.replace(f.beliefs if as_of is not None else up_to_date(f), remarks=remarks(f))


def clutch_belief(f: Foresight, i: int) -> ClutchBelief:
    """One clutch of a foresight."""
    c = f.ahead.clutches[i]
    clutch = f.standing.clutches[f.gathered.clutches[c.clutch]]
    return ClutchBelief(
        clutch=clutch.name,
        eggs=band(c.eggs),
        pinheads=band(c.pinheads),
        bin=clutch.here.bin,
        lot=clutch.to_lot,
        first_pinheads=band(f.times(c.first_pinheads_h)),
        half_hatched=band(f.times(c.half_hatched_h)),
        expected_first=band(f.times(c.expected_first_h)),
    )


def lot_belief(f: Foresight, i: int) -> LotBelief:
    """One lot of a foresight."""
    a = f.ahead.lots[i]
    lot = f.standing.lots[f.gathered.lots[a.lot]]
    surface = float(f.belief.schedule.last_surface_cm2[a.lot])
    bin_ = f.standing.bins.get(lot.bin or "")
    grows = bool(np.isfinite(a.ready_h).all()) and not (bin_ is not None and bin_.duty == "breeding")
    mid = float(a.mean_mg[0][3])
    fitting = [c.name for c in f.classes if c.from_mg <= mid]
    return LotBelief(
        lot=lot.name,
        bin=lot.bin,
        alive=band(a.alive[0]),
        mean_mg=band(a.mean_mg[0]),
        per_cm2=band(a.alive[0] / surface),
        progress=max(min(a.x, 1.0), 0.0),
        adult_days=a.adult_days,
        waiting=a.waiting,
        size_class=fitting[-1] if fitting else f.classes[0].name,
        harvest_ready=band(f.times(a.ready_h)) if grows else None,
        kg_at_ready=band(a.kg_at_ready) if grows else None,
    )
