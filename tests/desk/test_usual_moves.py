"""Where trays and nursery lots usually go next on a farm, told by where its last ones went."""

from __future__ import annotations

from chirr.book.standing import BinNow, Clutch, Lot, Standing, Stay
from chirr.desk.usual_moves import Step, usual_way, usually_tipped, way_ahead

DAY = 86400
RACK, WARM, HALL = ("brood room", 2), ("warm room", 1), ("hall", 3)
KNOWN = {RACK, WARM, HALL, ("brood room", 1)}


def stay(day: float, spot: tuple[str, int], bin_: str | None = None) -> Stay:
    return Stay(at=int(day * DAY), room=spot[0], stack=1, level=spot[1], bin=bin_)


def tray(name: str, laid: float, *, hatched: float | None, moved: float | None = 9.0) -> Clutch:
    stays = [stay(laid, ("brood room", 1), "B1"), stay(laid + 2, RACK)]
    if moved is not None:
        stays.append(stay(laid + moved, WARM, "N1"))
    return Clutch(
        name=name, lot="L", bin="B1", tray_type="t", laid_at=int(laid * DAY), laid_entry=name, stays=stays,
        pulled_at=int((laid + 2) * DAY), hatched_at=None if hatched is None else int((laid + hatched) * DAY),
    )  # fmt: skip


def standing(*clutches: Clutch, lots: tuple[Lot, ...] = (), bins: tuple[BinNow, ...] = ()) -> Standing:
    return Standing(
        clutches={c.name: c for c in clutches}, lots={x.name: x for x in lots}, bins={b.name: b for b in bins}
    )


def test_trays_that_waited_nine_days_on_the_rack_say_where_the_next_will_go() -> None:
    s = standing(*(tray(f"C{k}", float(k), hatched=13.0, moved=8.0 + k % 3) for k in range(9)))
    assert usual_way(s, KNOWN) == (Step(age_s=2 * DAY, spot=RACK), Step(age_s=9 * DAY, spot=WARM))


def test_a_move_that_fewer_than_half_of_the_trays_made_is_not_usual() -> None:
    s = standing(*(tray(f"C{k}", float(k), hatched=13.0, moved=9.0 if k < 3 else None) for k in range(9)))
    assert usual_way(s, KNOWN) == (Step(age_s=2 * DAY, spot=RACK),)


def test_a_farm_with_few_hatched_trays_or_places_nobody_knows_has_no_usual_way() -> None:
    few = standing(*(tray(f"C{k}", float(k), hatched=13.0) for k in range(3)))
    assert usual_way(few, KNOWN) == ()
    many = standing(*(tray(f"C{k}", float(k), hatched=13.0) for k in range(9)))
    assert usual_way(many, {("brood room", 1)}) == ()


def test_a_tray_on_the_rack_is_taken_on_along_the_usual_way_but_a_hatched_or_forgotten_one_stays() -> None:
    way = (Step(age_s=2 * DAY, spot=RACK), Step(age_s=9 * DAY, spot=WARM))
    waiting = tray("C", 100.0, hatched=None, moved=None)
    assert way_ahead(waiting, way, 105 * DAY)[-1] == (109 * DAY, WARM)
    assert way_ahead(waiting, way, 110 * DAY)[-1] == (110 * DAY + 1, WARM)
    assert way_ahead(waiting, way, 115 * DAY)[-1] == (102 * DAY, RACK)
    assert way_ahead(tray("C", 100.0, hatched=13.0, moved=None), way, 105 * DAY)[-1] == (102 * DAY, RACK)


def test_a_tray_still_in_its_bin_goes_the_whole_way() -> None:
    way = (Step(age_s=2 * DAY, spot=RACK), Step(age_s=9 * DAY, spot=WARM))
    laid = tray("C", 100.0, hatched=None, moved=None)
    laid.stays = laid.stays[:1]
    assert way_ahead(laid, way, 101 * DAY)[1:] == [(102 * DAY, RACK), (109 * DAY, WARM)]


def test_nursery_lots_are_tipped_over_at_the_middle_age_of_the_last_moves() -> None:
    bins = tuple(
        BinNow(name=n, room="r", stack=1, level=1, duty=d, floor_cm2=1.0, hides_cm2=0.0)
        for n, d in (("N1", "nursery"), ("G1", "grow-out"))
    )
    lots = tuple(
        Lot(
            name=f"L{k}", origin="clutches", named_at=0, began_at=k * DAY,
            stays=[stay(k - 3, WARM, "N1"), stay(k + 17 + k % 3, HALL, "G1")],
        )
        for k in range(6)
    )  # fmt: skip
    tipped = usually_tipped(standing(lots=lots, bins=bins), KNOWN)
    assert tipped is not None
    assert (tipped.age_s, tipped.spot) == (18 * DAY, HALL)
