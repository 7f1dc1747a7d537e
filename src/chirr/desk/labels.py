"""Labels for the things of the farm: which ones, what stands on them, and the sheet that comes of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import msgspec

from chirr.book import ledger, papers, shelf
from chirr.book.actions import allow
from chirr.book.standing import BinNow, Clutch, Lot, Standing, Substrate
from chirr.desk import clock, codes
from chirr.desk.farm import next_name
from chirr.desk.spoken import again, day_words, language, say, say_n
from chirr.prints.labels import MOST, TITLE, Label, print_labels
from chirr.prints.paper import PAGES_MM, STOCKS
from chirr.prints.typeset import CannotPrint, Printed
from chirr.records import FarmCard, Person
from chirr.says import word

__all__ = (
    "KINDS", "KIND_WORDS", "PAGES_MM", "STOCKS", "CannotPrint", "Job", "Printed", "Wanted", "Which", "last_address",
    "make", "wanted",
)  # fmt: skip

KINDS = ("bin", "tray", "clutch", "lot", "substrate")
"""tray: a clutch whose tray is still in its laying bin; clutch: one that is out and not yet emptied."""
KIND_WORDS = {
    "bin": word("Bins"), "tray": word("Trays in their laying bins"), "clutch": word("Clutches that are out"),
    "lot": word("Lots"), "substrate": word("Substrate batches"),
}  # fmt: skip
SPECIES_WORDS = {
    "acheta-domesticus": word("house cricket"), "gryllodes-sigillatus": word("banded cricket"),
    "gryllus-bimaculatus": word("two-spotted cricket"),
}  # fmt: skip
BIN_WORDS = {
    "breeding": word("breeding bin"), "nursery": word("nursery bin"), "grow-out": word("grow-out bin"),
}  # fmt: skip
LOT_WORDS = {
    "breeding": word("lot, breeding"), "nursery": word("lot, nursery"), "grow-out": word("lot, grow-out"),
}  # fmt: skip


class Which(msgspec.Struct, frozen=True, kw_only=True):
    """Which things get a label. `names` alone looks among all kinds and also among what is over (ended lots).

    `since`: only what is new since then [epoch s]; a bin is new while it has no label. `unprinted`: only what has none.
    `to_come`: nothing but so many trays that are still to be laid, under the names that they will be given.
    """

    kinds: tuple[str, ...] = KINDS
    room: str | None = None
    names: tuple[str, ...] = ()
    since: int | None = None
    unprinted: bool = False
    to_come: int = 0


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
    if which.to_come:
        return _to_come(min(which.to_come, MOST))
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
    raise LookupError(say("The farm has no bin, tray, clutch, lot or substrate batch called {name}.", name=name))


def _to_come(many: int) -> list[Wanted]:
    """The next trays: their labels can hang at the bins before the trays are filled."""
    standing, card = ledger.live(), _card()
    latest = max(standing.clutches.values(), key=lambda c: (c.laid_at, c.name), default=None)
    taken = set(standing.clutches)
    name, found = latest.name if latest else "C0", []
    for _ in range(many):
        name = next_name(name, taken)
        taken.add(name)
        found.append(
            Wanted(kind="tray", name=name, room=None, at=None, word=say("laying tray"), shape="tray",
                   facts=(again(SPECIES_WORDS.get(card.species, card.species)),),
                   pen=(say("in bin, since"), say("out on"), say("by")))
        )  # fmt: skip
    return found


def make(which: Which, job: Job, *, actor: Person) -> Printed:
    """The labels as a PDF; they count as printed from now on.

    Raises CannotPrint, codes.NoAddress, LookupError, NotAllowed.
    """
    allow(actor, "owner", "hand")
    stock = STOCKS.get(job.stock)
    if stock is None:
        raise CannotPrint(
            say("There is no label stock {stock}; choose one of {stocks}.", stock=job.stock, stocks=", ".join(STOCKS))
        )
    base = codes.base_address(job.address)
    chosen = wanted(which)
    if not chosen:
        raise CannotPrint(
            say("Nothing of that kind is without a label; to print one again, choose all of them.")
            if which.unprinted
            else say("There is nothing of that kind here.")
        )
    labels = [
        Label(code=it.name, word=it.word, shape=it.shape, address=base + codes.path_of(_page(it.kind), it.name),
              facts=it.facts, pen=it.pen)
        for it in chosen
    ]  # fmt: skip
    now = clock.now()
    printed = print_labels(
        labels, stock, day=clock.local(now).date(), first=job.first, nudge_mm=job.nudge_mm, farm=_card().name,
        title=again(TITLE), language=language(),
    )  # fmt: skip
    papers.labels_printed([it.key for it in chosen], at=now, address=base, actor=actor)
    return Printed(printed.pdf, (*printed.remarks, *codes.doubts(base)))


def _card() -> FarmCard:
    card = shelf.card()
    if card is None:
        raise LookupError(say("There is no farm yet."))
    return card


def _page(kind: str) -> str:
    return "clutch" if kind == "tray" else kind


# --- what stands on them -----------------------------------------------------------------------------------------


def _all(s: Standing, card: FarmCard, *, over: bool = False) -> Iterator[Wanted]:
    """Everything that a label can be printed for, in walking order; with `over` also what is over."""
    zone = clock.zone()

    def day(at: float) -> str:
        return day_words(clock.local(at, zone).date(), year=True)

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


def _bin(b: BinNow) -> Wanted:
    return Wanted(
        kind="bin", name=b.name, room=b.room, at=None, word=again(BIN_WORDS[b.duty]),
        shape=b.duty, pen=(say("lot"), say("since"), say("note")),
        facts=(say("{room} · stack {stack} · level {level}", room=b.room, stack=b.stack, level=b.level),),
    )  # fmt: skip


def _tray(c: Clutch, card: FarmCard, day: Callable[[float], str]) -> Wanted:
    return Wanted(
        kind="tray", name=c.name, room=c.here.room, at=c.laid_at, word=say("laying tray"), shape="tray",
        facts=(say("in {bin} since {day}", bin=c.bin, day=day(c.laid_at)), _made_of(c, card)),
        pen=(say("out on"), say("by")),
    )  # fmt: skip


def _clutch(c: Clutch, card: FarmCard, day: Callable[[float], str]) -> Wanted:
    here = c.here
    if here.bin:
        where = say("in bin {bin}, for lot {lot}", bin=here.bin, lot=c.to_lot or "–")
    else:
        where = say("rack {room} {stack}/{level}", room=here.room, stack=here.stack, level=here.level)
    laid, out = day(c.laid_at), day(c.pulled_at or c.laid_at)
    return Wanted(
        kind="clutch", name=c.name, room=here.room, at=c.pulled_at, word=say("clutch"), shape="clutch",
        facts=(say("laid in {bin} {day}, out {out}", bin=c.bin, day=laid, out=out), where, _made_of(c, card)),
        pen=(say("first pinheads"), say("emptied")),
    )  # fmt: skip


def _made_of(c: Clutch, card: FarmCard) -> str:
    batch = c.substrate
    if batch and c.cycle:
        batch = say("{batch}, use {n}", batch=batch, n=c.cycle)
    return " · ".join(filter(None, (c.tray_type, batch, again(SPECIES_WORDS.get(card.species, card.species)))))


def _lot(lot: Lot, s: Standing, day: Callable[[float], str]) -> Wanted:
    home = s.bins.get(lot.bin or "")
    sources = lot.clutches or lot.parents
    first = ", ".join(sources[:2])
    if len(sources) > 2:
        came = say("from {names} and {n} more", names=first, n=len(sources) - 2)
    else:
        came = say("from {names}", names=first) if sources else say("bought in")
    return Wanted(
        kind="lot", name=lot.name, room=home.room if home else None, at=lot.named_at,
        word=again(LOT_WORDS[home.duty]) if home else say("lot"), shape=home.duty if home else "lot",
        facts=(came, say("since {day}", day=day(lot.began_at or lot.named_at))),
        pen=(say("moved to"), say("count"), say("note")),
    )  # fmt: skip


def _substrate(batch: Substrate, card: FarmCard, day: Callable[[float], str]) -> Wanted:
    uses = card.substrate_cycles
    return Wanted(
        kind="substrate", name=batch.name, room=None, at=batch.first_at, word=say("substrate"), shape="substrate",
        facts=(say("first used {day}", day=day(batch.first_at)), say_n("at most {n} use", "at most {n} uses", uses)),
        pen=(say("mixed by"), say("litres")),
    )  # fmt: skip


def _spent(batch: Substrate, s: Standing, card: FarmCard) -> bool:
    """Whether a batch has had its uses and no tray of it is left."""
    inside = any(s.clutches[c].emptied_at is None for names in batch.cycles.values() for c in names)
    return not inside and max(batch.cycles, default=0) >= card.substrate_cycles
