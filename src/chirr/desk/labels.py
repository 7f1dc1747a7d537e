"""Labels for the things of the farm: which ones, what stands on them, and the sheet that comes of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date

import msgspec

from chirr.book import ledger, papers, shelf
from chirr.book.actions import allow
from chirr.book.standing import BinNow, Clutch, Lot, Standing, Substrate
from chirr.desk import clock, codes
from chirr.prints.labels import Label, print_labels
from chirr.prints.paper import PAGES_MM, STOCKS
from chirr.prints.typeset import CannotPrint, Printed
from chirr.records import FarmCard, Person

__all__ = (
    "KINDS", "KIND_WORDS", "PAGES_MM", "STOCKS", "CannotPrint", "Job", "Printed", "Wanted", "Which", "last_address",
    "make", "said", "wanted",
)  # fmt: skip

KINDS = ("bin", "tray", "clutch", "lot", "substrate")
"""tray: a clutch whose tray is still in its laying bin; clutch: one that is out and not yet emptied."""
KIND_WORDS = {
    "bin": "Bins", "tray": "Trays in their laying bins", "clutch": "Clutches that are out", "lot": "Lots",
    "substrate": "Substrate batches",
}  # fmt: skip
SPECIES_WORDS = {
    "acheta-domesticus": "house cricket", "gryllodes-sigillatus": "banded cricket",
    "gryllus-bimaculatus": "two-spotted cricket",
}  # fmt: skip


class Which(msgspec.Struct, frozen=True, kw_only=True):
    """Which things get a label. `names` alone looks among all kinds and also among what is over (ended lots).

    `since`: only what is new since then [epoch s]; a bin is new while it has no label. `unprinted`: only what has none.
    """

    kinds: tuple[str, ...] = KINDS
    room: str | None = None
    names: tuple[str, ...] = ()
    since: int | None = None
    unprinted: bool = False


class Wanted(msgspec.Struct, frozen=True, kw_only=True):
    """A thing that gets a label: what it is, where it stands, when it came to be (None for bins)."""

    kind: str
    name: str
    room: str | None
    at: int | None
    word: str
    shape: str
    facts: tuple[str, ...]
    pen: tuple[str, ...]

    @property
    def key(self) -> tuple[str, str]:
        return self.kind, self.name


class Job(msgspec.Struct, frozen=True, kw_only=True):
    """How labels are printed: stock by its short name, place of the first, the farm's address, a shift [mm]."""

    stock: str
    address: str
    first: int = 1
    nudge_mm: tuple[float, float] = (0.0, 0.0)


def last_address() -> str:
    """The farm's address in the labels printed last; empty before the first."""
    return papers.last_address()


def wanted(which: Which) -> list[Wanted]:
    """The things that get a label, in walking order. LookupError for a name that the farm does not have."""
    if which.names:
        return [_named(name, which.kinds) for name in dict.fromkeys(which.names)]
    printed = papers.latest_labels() if which.unprinted or which.since is not None else {}
    found = []
    for it in _all(ledger.live(), _card()):
        if it.kind not in which.kinds or (which.room is not None and it.room != which.room):
            continue
        if which.unprinted and it.key in printed:
            continue
        if which.since is not None and (it.key in printed if it.at is None else it.at < which.since):
            continue
        found.append(it)
    return found


def _named(name: str, kinds: tuple[str, ...]) -> Wanted:
    for it in _all(ledger.live(), _card(), over=True):
        if it.name == name and it.kind in kinds:
            return it
    raise LookupError(f"The farm has no bin, tray, clutch, lot or substrate batch called {name}.")


def make(which: Which, job: Job, *, actor: Person) -> Printed:
    """The labels as a PDF; they count as printed from now on.

    Raises CannotPrint, codes.NoAddress, LookupError, NotAllowed.
    """
    allow(actor, "owner", "hand")
    stock = STOCKS.get(job.stock)
    if stock is None:
        raise CannotPrint(f"There is no label stock {job.stock}; choose one of {', '.join(STOCKS)}.")
    base = codes.base_address(job.address)
    chosen = wanted(which)
    if not chosen:
        again = " that has no label yet; to print one again, choose all of them" if which.unprinted else ""
        raise CannotPrint(f"There is nothing of that kind here{again}.")
    labels = [
        Label(code=it.name, word=it.word, shape=it.shape, address=base + codes.path_of(_page(it.kind), it.name),
              facts=it.facts, pen=it.pen)
        for it in chosen
    ]  # fmt: skip
    now = clock.now()
    printed = print_labels(
        labels, stock, day=clock.local(now).date(), first=job.first, nudge_mm=job.nudge_mm, farm=_card().name
    )
    papers.labels_printed([it.key for it in chosen], at=now, address=base, actor=actor)
    return Printed(printed.pdf, (*printed.remarks, *codes.doubts(base)))


def _card() -> FarmCard:
    card = shelf.card()
    if card is None:
        raise LookupError("There is no farm yet.")
    return card


def _page(kind: str) -> str:
    return "clutch" if kind == "tray" else kind


# --- what stands on them -----------------------------------------------------------------------------------------


def _all(s: Standing, card: FarmCard, *, over: bool = False) -> Iterator[Wanted]:
    """Everything that a label can be printed for, in walking order; with `over` also what is over."""
    zone = clock.zone()

    def day(at: float) -> str:
        return said(clock.local(at, zone).date())

    rooms = {room.room: n for n, room in enumerate(shelf.rooms())}
    last = len(rooms)
    for b in sorted(s.bins.values(), key=lambda b: (rooms.get(b.room, last), b.stack, b.level, b.name)):
        yield _bin(b)
    clutches = s.clutches.values() if over else s.open_clutches()
    for c in clutches:
        yield _tray(c, card, day) if c.pulled_at is None else _clutch(c, card, day)
    for lot in s.lots.values() if over else s.live_lots():
        yield _lot(lot, s, day)
    for batch in sorted(s.substrates.values(), key=lambda b: (b.first_at, b.name)):
        if over or not _spent(batch, s, card):
            yield _substrate(batch, card, day)


def said(day: date) -> str:
    """A day as it stands on paper.

    >>> said(date(2027, 5, 3))
    'Mon 3 May 2027'
    """
    return f"{day:%a} {day.day} {day:%b %Y}"


def _bin(b: BinNow) -> Wanted:
    return Wanted(
        kind="bin", name=b.name, room=b.room, at=None, word=f"{b.duty} bin", shape=b.duty,
        facts=(f"{b.room} · stack {b.stack} · level {b.level}",), pen=("lot", "since", "note"),
    )  # fmt: skip


def _tray(c: Clutch, card: FarmCard, day: Callable[[float], str]) -> Wanted:
    return Wanted(
        kind="tray", name=c.name, room=c.here.room, at=c.laid_at, word="laying tray", shape="tray",
        facts=(f"in {c.bin} since {day(c.laid_at)}", _made_of(c, card)), pen=("out on", "by"),
    )  # fmt: skip


def _clutch(c: Clutch, card: FarmCard, day: Callable[[float], str]) -> Wanted:
    here = c.here
    where = f"bin {here.bin}" if here.bin else f"rack {here.room} {here.stack}/{here.level}"
    goes = f" for lot {c.to_lot}" if c.to_lot else ""
    return Wanted(
        kind="clutch", name=c.name, room=here.room, at=c.pulled_at, word="clutch", shape="clutch",
        facts=(f"laid in {c.bin} {day(c.laid_at)}, out {day(c.pulled_at or c.laid_at)}", f"{where}{goes}",
               _made_of(c, card)),
        pen=("first pinheads", "emptied"),
    )  # fmt: skip


def _made_of(c: Clutch, card: FarmCard) -> str:
    batch = [c.substrate + (f" use {c.cycle}" if c.cycle else "")] if c.substrate else []
    return " · ".join([c.tray_type, *batch, SPECIES_WORDS.get(card.species, card.species)])


def _lot(lot: Lot, s: Standing, day: Callable[[float], str]) -> Wanted:
    home = s.bins.get(lot.bin or "")
    sources = lot.clutches or lot.parents
    more = f" and {len(sources) - 2} more" if len(sources) > 2 else ""
    came = f"from {', '.join(sources[:2])}{more}" if sources else "bought in"
    return Wanted(
        kind="lot", name=lot.name, room=home.room if home else None, at=lot.named_at,
        word=f"lot, {home.duty}" if home else "lot", shape=home.duty if home else "lot",
        facts=(came, f"since {day(lot.began_at or lot.named_at)}"), pen=("moved to", "count", "note"),
    )  # fmt: skip


def _substrate(batch: Substrate, card: FarmCard, day: Callable[[float], str]) -> Wanted:
    uses = card.substrate_cycles
    return Wanted(
        kind="substrate", name=batch.name, room=None, at=batch.first_at, word="substrate", shape="substrate",
        facts=(f"first used {day(batch.first_at)}", f"at most {uses} use{'s' if uses > 1 else ''}"),
        pen=("mixed by", "litres"),
    )  # fmt: skip


def _spent(batch: Substrate, s: Standing, card: FarmCard) -> bool:
    """Whether a batch has had its uses and no tray of it is left."""
    inside = any(s.clutches[c].emptied_at is None for names in batch.cycles.values() for c in names)
    return not inside and max(batch.cycles, default=0) >= card.substrate_cycles
