"""When to harvest a growing lot: what a day more gains and eats, and, for the owner, what it is worth."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import msgspec
import numpy as np

from chirr.desk.ahead import band_chart
from chirr.desk.belief import Foresight, band, foresight
from chirr.desk.farm import PRICES
from chirr.desk.shapes import Band, Chart
from chirr.desk.spoken import chance_in_words, day_words, say
from chirr.engine.biology.species import species
from chirr.engine.colony.ahead import Horizon, look_ahead, quantiles
from chirr.engine.planning.harvest import HarvestDays, Prices, harvest_days
from chirr.records import FarmCard

DRAWS = 600
SHOWN_DAYS = (0, 1, 2, 3, 5, 7, 10, 14, 21, 28, 42)
CHART_DAYS = 45


class HarvestRow(msgspec.Struct, frozen=True, kw_only=True):
    """One day more from `at` on: live grams gained, grams of feed, and its worth after feed and the bin's day."""

    at: int
    gain_g: Band
    feed_g: Band
    worth: Band | None


class HarvestView(msgspec.Struct, frozen=True, kw_only=True):
    """When to harvest one lot. `best` is a time; `by` says by what; `worth` stays None for those who see no prices."""

    lot: str
    by: str
    best: Band
    says: tuple[str, ...]
    rows: tuple[HarvestRow, ...]
    chart: Chart
    currency: str | None


def prices_of(card: FarmCard) -> Prices | None:
    """The farm's prices; None unless the card gives what a kilogram sells for. A cost not given counts as nothing."""
    given = [card.extra.get(key) for key in PRICES]
    sell, feed, bin_day = (float(v) if isinstance(v, int | float) and v >= 0 else 0.0 for v in given)
    return Prices(per_kg=sell, feed_per_kg=feed, bin_day=bin_day) if sell > 0 else None


def harvest(name: str, *, money: bool) -> HarvestView | None:
    """When to harvest a lot; None for one that does not grow for harvest. With `money` by margin, if prices are known.

    Raises
    ------
    LookupError
        If no such lot lives on the farm.
    """
    f = foresight()
    found = [k for k, a in enumerate(f.ahead.lots) if f.gathered.lots[a.lot] == name]
    if not found:
        raise LookupError(say("No lot {lot} lives on the farm.", lot=name))
    a, lot = f.ahead.lots[found[0]], f.standing.lots[name]
    bin_ = f.standing.bins.get(lot.bin or "")
    if a.waiting or a.x >= 1.3 or (bin_ is not None and bin_.duty == "breeding") or a.alive[0][3] < 1:
        return None
    number, kg = _draws_of(f, a.lot)
    prices = prices_of(f.card) if money else None
    so_far = (f.as_of - (lot.began_at if lot.began_at is not None else lot.named_at)) / 86400
    days = harvest_days(
        number, kg, species(f.card.species), np.random.default_rng(41), days_so_far=max(so_far, 0.0), prices=prices
    )
    return _view(f, name, days, prices)


def _draws_of(f: Foresight, lot: int) -> tuple[np.ndarray, np.ndarray]:
    """Crickets and kilograms of one lot over the days to come, with what still hatches into it, (days + 1, draws)."""
    open_clutches = [
        i for i, c in enumerate(f.gathered.clutches)
        if f.belief.arrays.lot[i] == lot and f.standing.clutches[c].emptied_at is None
    ]  # fmt: skip
    one = look_ahead(
        f.belief, f.gathered.clocks, Horizon(days=f.days, from_mg=(0.0,), target_mg=1.0),
        place_room=f.gathered.place_room, living=np.array([lot], dtype=np.int64),
        open_clutches=np.array(open_clutches, dtype=np.int64), draws=DRAWS, rng=np.random.default_rng(40),
    )  # fmt: skip
    return one.stock.crickets[0].astype(np.float64), one.stock.kg[0].astype(np.float64)


def _view(f: Foresight, name: str, d: HarvestDays, prices: Prices | None) -> HarvestView:
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
        lot=name, by="kilograms" if prices is None else "margin", best=best, rows=rows,
        says=_says(d, prices, f.card.currency, best, tz, len(gain)),
        chart=band_chart(
            "gain", say("Lot {lot}: grams gained in a day", lot=name), say("g a day"),
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
