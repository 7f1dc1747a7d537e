"""When to harvest a growing lot: what a day more gains and eats, and, for the owner, what it is worth."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

import msgspec
import numpy as np

from chirr.book.standing import Lot
from chirr.desk import clock
from chirr.desk.ahead import band_chart
from chirr.desk.belief import Foresight, band, foresight, which
from chirr.desk.farm import PRICES
from chirr.desk.plainly import left_out_json, plain_json, without
from chirr.desk.remarks import remarks
from chirr.desk.shapes import QUANTILES, Band, Chart
from chirr.desk.spoken import chance_in_words, day_words, say
from chirr.engine.biology.species import species
from chirr.engine.colony.ahead import LotAhead, quantiles, stock_of_each
from chirr.engine.colony.horizon import EVERY_DAY, Horizon
from chirr.engine.colony.stock import StockDraws
from chirr.engine.planning.harvest import HarvestDays, Prices, harvest_days
from chirr.records import FarmCard, SizeClass

DRAWS = 600
TOGETHER = 16
"""Lots whose story is told at once."""
SHOWN_DAYS = (0, 1, 2, 3, 5, 7, 10, 14, 21, 28, 42)
CHART_DAYS = 45


class HarvestRow(msgspec.Struct, frozen=True, kw_only=True):
    """One day more from `at` on: live grams gained, grams of feed, and its worth after feed and the bin's day."""

    at: int
    gain_g: Band
    feed_g: Band
    worth: Band | None


class SizeRow(msgspec.Struct, frozen=True, kw_only=True):
    """One size class of a lot, from light to heavy: now, and on the likely best day."""

    size_class: str
    crickets: Band
    kg: Band
    crickets_then: Band
    kg_then: Band


class HarvestView(msgspec.Struct, frozen=True, kw_only=True):
    """When to harvest one lot. `best` is a time; `by` says by what; `worth` stays None for those who see no prices."""

    lot: str
    bin: str | None
    by: str
    best: Band
    says: tuple[str, ...]
    rows: tuple[HarvestRow, ...]
    sizes: tuple[SizeRow, ...]
    chart: Chart
    currency: str | None


def prices_of(card: FarmCard, classes: tuple[SizeClass, ...]) -> Prices | None:
    """The farm's prices, those of size classes first; None unless something sells. A cost not given counts as nothing.

    `classes` are those that the lot is sorted into; one without a price of its own sells at the card's.
    """
    usual, feed, bin_day = (_amount(card.extra.get(key)) for key in PRICES)
    of = {c.name: c for c in card.size_classes}
    own = [of.get(c.name) for c in classes]
    per_kg = [_per_kg(c, usual) for c in own]
    per_cricket = [_amount(c.price_per_thousand) / 1000 if c is not None else 0.0 for c in own]
    if not any(per_kg) and not any(per_cricket):
        return None
    return Prices(per_kg=np.array(per_kg), per_cricket=np.array(per_cricket), feed_per_kg=feed, bin_day=bin_day)


def _amount(value: object) -> float:
    return float(value) if isinstance(value, int | float) and value >= 0 else 0.0


def _per_kg(c: SizeClass | None, usual: float) -> float:
    if c is None or (c.price_per_kg is None and c.price_per_thousand is None):
        return usual
    return _amount(c.price_per_kg)


def harvest(name: str, *, money: bool) -> HarvestView | None:
    """When to harvest a lot; None for one that does not grow for harvest. With `money` by margin, if prices are known.

    Raises
    ------
    LookupError
        If no such lot lives on the farm.
    """
    f = foresight()
    if not any(f.gathered.lots[a.lot] == name for a in f.ahead.lots):
        raise LookupError(say("No lot {lot} lives on the farm.", lot=name))
    return of_lot(name, money=money)


def of_lot(name: str, *, money: bool) -> HarvestView | None:
    """The same for the page of a lot: None too for one just entered, which is looked ahead at some seconds later."""
    f = foresight()
    growing = _growing(f)
    k = next((k for k, a in enumerate(growing) if f.gathered.lots[a.lot] == name), None)
    if k is None:
        return None
    first = k - k % TOGETHER
    views = _views(f, growing[first : first + TOGETHER], money=money)
    return next(view() for n, view in enumerate(views, first) if n == k)


def harvests(*, money: bool, told: Callable[[int, int], None] | None = None) -> tuple[HarvestView, ...]:
    """Every lot that grows for harvest, the soonest first. `told` hears how many of how many are done."""
    f = foresight()
    growing = _growing(f)
    views: list[HarvestView] = []
    for first in range(0, len(growing), TOGETHER):
        if told is not None:
            told(first, len(growing))
        views += (view() for view in _views(f, growing[first : first + TOGETHER], money=money))
    return tuple(sorted(views, key=lambda v: v.best.mid))


def harvest_json(views: tuple[HarvestView, ...]) -> dict[str, Any]:
    """The answer as `chirr harvest --json` gives it: bands as lists along `quantiles`, times as ISO with offset."""
    f = foresight()

    def of(v: HarvestView) -> dict[str, Any]:
        days = [{"date": clock.local(r.at).date().isoformat(), **without(r, "at")} for r in v.rows]
        return {**without(v, "chart", "rows"), "days": days}

    return {
        "as_of": clock.local(f.as_of).isoformat(timespec="minutes"), "quantiles": list(QUANTILES),
        "lots": [plain_json(of(v), times=("best",)) for v in views], "remarks": list(remarks(f)),
        "left_out": left_out_json(f),
    }  # fmt: skip


def _growing(f: Foresight) -> list[LotAhead]:
    return [a for a in f.ahead.lots if _grows(f, a)]


def _grows(f: Foresight, a: LotAhead) -> bool:
    bin_ = f.standing.bins.get(f.standing.lots[f.gathered.lots[a.lot]].bin or "")
    breeds = bin_ is not None and bin_.duty == "breeding"
    return not (a.waiting or a.x >= 1.3 or breeds or a.alive[0][3] < 1)


def _views(f: Foresight, growing: list[LotAhead], *, money: bool) -> Iterator[Callable[[], HarvestView]]:
    """What is told of each of some lots, worked out when it is called for.

    They are drawn together, and a lot is always drawn with the same others, so that its own page says what the list of
    all says.
    """
    classes = f.classes if f.classes[0].from_mg <= 0 else (SizeClass(name=say("smaller"), from_mg=0.0), *f.classes)
    prices = prices_of(f.card, classes) if money else None
    stocks = stock_of_each(
        f.belief, f.gathered.clocks,
        Horizon(days=f.days, from_mg=tuple(c.from_mg for c in classes), target_mg=1.0, strides=EVERY_DAY),
        place_room=f.gathered.place_room, lots=np.array([a.lot for a in growing], dtype=np.int64),
        open_clutches=which(f.gathered.clutches, lambda c: f.standing.clutches[c].emptied_at is None),
        draws=DRAWS, rng=np.random.default_rng(40),
    )  # fmt: skip
    for a, stock in zip(growing, stocks, strict=True):
        yield partial(_of_lot, f, f.standing.lots[f.gathered.lots[a.lot]], stock, classes, prices)


def _of_lot(
    f: Foresight, lot: Lot, stock: StockDraws, classes: tuple[SizeClass, ...], prices: Prices | None
) -> HarvestView:
    """What is told of a lot whose crickets and kilograms are `stock`."""
    number, kg = stock.crickets.astype(np.float64), stock.kg.astype(np.float64)
    so_far = (f.as_of - (lot.began_at if lot.began_at is not None else lot.named_at)) / 86400
    days = harvest_days(
        number, kg, species(f.card.species), np.random.default_rng(41), days_so_far=max(so_far, 0.0), prices=prices
    )
    then = int(np.clip(round(float(np.median(days.best_day))), 0, kg.shape[1] - 1))
    sizes = tuple(
        SizeRow(
            size_class=c.name, crickets=band(np.round(quantiles(number[k, 0]))), kg=band(quantiles(kg[k, 0])),
            crickets_then=band(np.round(quantiles(number[k, then]))), kg_then=band(quantiles(kg[k, then])),
        )
        for k, c in enumerate(classes)
    )  # fmt: skip
    return _view(f, lot, days, prices, sizes)


def _view(f: Foresight, lot: Lot, d: HarvestDays, prices: Prices | None, sizes: tuple[SizeRow, ...]) -> HarvestView:
    tz = ZoneInfo(f.card.timezone)
    best = band(f.as_of + 86400 * quantiles(d.best_day))
    gain, feed = quantiles(d.gain_kg), quantiles(d.feed_kg)
    worth = None if d.worth is None else quantiles(d.worth)
    dates = [(datetime.fromtimestamp(f.as_of, tz) + timedelta(days=k)).date().isoformat() for k in range(len(gain))]
    rows = tuple(
        HarvestRow(
            at=f.as_of + 86400 * k, gain_g=band(1000 * gain[k]), feed_g=band(1000 * feed[k]),
            worth=None if worth is None else band(worth[k]),
        )
        for k in SHOWN_DAYS if k < len(gain)
    )  # fmt: skip
    span = min(CHART_DAYS, len(gain))
    return HarvestView(
        lot=lot.name, bin=lot.bin, by="kilograms" if prices is None else "margin", best=best, rows=rows, sizes=sizes,
        says=_says(d, prices, f.card.currency, best, tz, len(gain)),
        chart=band_chart(
            "gain", say("Lot {lot}: grams gained in a day", lot=lot.name), say("g a day"),
            dates[:span], (1000 * gain[:span]).tolist()
        ),
        currency=None if prices is None else f.card.currency,
    )  # fmt: skip


def _says(d: HarvestDays, prices: Prices | None, currency: str, best: Band, tz: ZoneInfo, last: int) -> tuple[str, ...]:
    def day(at: float) -> str:
        return day_words(datetime.fromtimestamp(at, tz), weekday_too=False)

    when = say("about {mid} ({low} to {high})", mid=day(best.mid), low=day(best.low), high=day(best.high))
    if np.quantile(d.best_day, 0.9) < 1:
        when = say("now: its bin has had its best day")
    elif np.median(d.best_day) >= last - 1:
        when = say("beyond the days looked at")
    out = [
        say("Most kilograms for each day of its bin, cleaning and all: {when}.", when=when)
        if prices is None
        else say("Most margin for each day of its bin, cleaning and all: {when}.", when=when)
    ]
    if d.worth is not None and prices is not None:
        low, mid, high = np.quantile(d.worth[0], (0.1, 0.5, 0.9))
        chance = float((d.worth[0] > 0).mean())
        out.append(
            say(
                "A day more now is worth {mid:+,.2f} {currency} ({low:+,.2f} to {high:+,.2f}); {chance} that it"
                " pays for its feed and its bin.",
                low=float(low), mid=float(mid), high=float(high), currency=currency, chance=chance_in_words(chance),
            )
        )  # fmt: skip
        if d.margin_per_bin_day is not None and np.median(d.margin_per_bin_day.max(axis=0)) <= 0:
            out.append(
                say("At these prices the lot never pays for its feed and its bin; this is where it loses least.")
            )
        if prices.feed_per_kg == 0:
            out.append(say("No price of feed is known, so feed counts as free: give it on the farm's card."))
    return tuple(out)
