"""The run sheet, from the round to the paper and from the pen back to the book."""

from __future__ import annotations

import io
from datetime import date, timedelta
from pathlib import Path

import msgspec
import pytest
from django.conf import settings as django_settings
from django.utils.translation import override

from builders import small_farm
from chirr.book import actions, ledger, papers
from chirr.desk import clock, codes, pen_marks, photos, sentences, walk_sheet
from chirr.desk.counting import CannotCount
from chirr.desk.forms import FormFaults
from chirr.desk.walk_sheet import SheetLine, WalkSheet
from chirr.prints.typeset import CannotPrint
from chirr.records import Entry

pytestmark = pytest.mark.usefixtures("small_farm_now")

ADDRESS = "https://barn.local:8765"
TODAY = date(2027, 3, 31)
HOUR = 3600


@pytest.fixture
def sheet() -> WalkSheet:
    return walk_sheet.make(TODAY, actor=small_farm.HAND)


def line(sheet: WalkSheet, deed: str, **about: str) -> SheetLine:
    """The line of the sheet for a deed."""
    found = [x for x in sheet.lines if x.deed == deed and about.items() <= x.values.items()]
    assert found, [(x.deed, x.values) for x in sheet.lines]
    return found[0]


def stop_of(sheet: WalkSheet, wanted: SheetLine) -> str:
    return next(stop.key for stop in sheet.stops if wanted in stop.lines)


def type_in(sheet: WalkSheet, **values: str) -> pen_marks.Outcome:
    typed = {"person": "Bram", "at": "08:15"} | {k.replace("__", "."): v for k, v in values.items()}
    return pen_marks.type_in(sheet.code, typed, actor=small_farm.OWNER)


def entries_since(seq: int) -> list[Entry]:
    return list(ledger.entries("seq > %s", (seq,)))


def local(at: int) -> str:
    return f"{clock.local(at):%Y-%m-%d %H:%M}"


# --- on paper ----------------------------------------------------------------------------------------------------


def test_the_lines_of_the_sheet_are_those_of_the_round_in_its_order(sheet: WalkSheet) -> None:
    from chirr.desk.round import round_sheet

    walked = [i.what for stop in round_sheet(TODAY).stops for i in stop.items if i.urgency != "soon"]
    assert [x.what for x in sheet.lines] == walked
    assert [stop.number for stop in sheet.stops] == list(range(1, len(sheet.stops) + 1))
    assert len({x.code for x in sheet.lines}) == len(sheet.lines)


def test_the_same_sheet_gives_the_same_bytes_days_later(sheet: WalkSheet, monkeypatch: pytest.MonkeyPatch) -> None:
    first = walk_sheet.pdf(sheet, address=ADDRESS).pdf
    monkeypatch.setattr(clock, "now", lambda: small_farm.NOW + 4 * 86400)
    kept, _ = walk_sheet.load(sheet.code.lower())
    assert kept == sheet
    assert walk_sheet.pdf(kept, address=ADDRESS).pdf == first


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_the_code_of_the_sheet_leads_back_to_it_on_every_page(sheet: WalkSheet, page: str) -> None:
    pypdfium2, zxingcpp = pytest.importorskip("pypdfium2"), pytest.importorskip("zxingcpp")
    document = pypdfium2.PdfDocument(walk_sheet.pdf(sheet, address=ADDRESS, page=page).pdf)
    for paper in document:
        [found] = zxingcpp.read_barcodes(paper.render(scale=150 / 72).to_pil())
        assert found.text == f"HTTPS://BARN.LOCAL:8765/AT/SHEET/{sheet.code}"
        words = paper.get_textpage().get_text_range()
        assert sheet.code in words
    document.close()
    assert codes.find("SHEET", sheet.code) == [codes.Found("sheet", sheet.code)]


def test_every_line_and_the_cautions_stand_on_the_paper(sheet: WalkSheet) -> None:
    pypdfium2 = pytest.importorskip("pypdfium2")
    document = pypdfium2.PdfDocument(walk_sheet.pdf(sheet, address=ADDRESS).pdf)
    words = " ".join(" ".join(p.get_textpage().get_text_range() for p in document).split())
    document.close()
    for x in sheet.lines:
        assert x.code in words
        assert x.what in words
    for caution in walk_sheet.CAUTIONS:
        assert caution.split(":")[0].split(",")[0][:30] in words


def test_a_sheet_for_a_day_to_come_leaves_blanks_for_what_is_not_yet_chosen() -> None:
    later = walk_sheet.make(TODAY + timedelta(days=3), actor=small_farm.HAND)
    for x in later.lines:
        deed_needs = set(x.values) | set(x.blanks)
        assert not walk_sheet.missing_columns(walk_sheet.DEEDS[x.deed], deed_needs), x


def test_a_day_with_nothing_due_or_too_far_off_is_told() -> None:
    with pytest.raises(CannotPrint, match="31 days"):
        walk_sheet.make(TODAY + timedelta(days=60), actor=small_farm.HAND)


# --- back to the book --------------------------------------------------------------------------------------------


def test_a_ticked_line_is_written_once_with_its_time_and_its_person(sheet: WalkSheet) -> None:
    clean, before = line(sheet, "feed"), ledger.top_seq()
    outcome = type_in(sheet, **{f"{clean.code}__tick": "on", f"{clean.code}__at": "7.40"})
    assert outcome == pen_marks.Outcome(written=1, held={})
    [entry] = entries_since(before)
    assert (entry.deed, entry.person, local(entry.at)) == ("feed", "Bram", "2027-03-31 07:40")
    assert entry.extra == {"run_sheet": sheet.code, "typed_in_by": "Aoife"}
    again = type_in(sheet, **{f"{clean.code}__tick": "on", f"{clean.code}__at": "7.40"})
    assert again.written == 0
    assert len(entries_since(before)) == 1


def test_one_tick_does_a_whole_stop_but_never_what_must_be_counted_or_seen(sheet: WalkSheet) -> None:
    for stop in sheet.stops:
        before = ledger.top_seq()
        outcome = type_in(sheet, **{f"{stop.key}__tick": "on"})
        plain = [x for x in stop.lines if x.plain]
        assert outcome.written + len(outcome.held) == len(plain)
        assert {e.deed for e in entries_since(before)} <= {x.deed for x in plain}


def test_the_time_of_a_line_goes_before_that_of_its_stop_and_that_before_the_sheets(sheet: WalkSheet) -> None:
    feed = line(sheet, "feed")
    key, before = stop_of(sheet, feed), ledger.top_seq()
    type_in(sheet, **{f"{feed.code}__tick": "on", f"{key}__at": "0650", f"{key}__person": "Aoife"})
    [entry] = entries_since(before)
    assert (entry.person, local(entry.at)) == ("Aoife", "2027-03-31 06:50")


def test_a_look_without_pinheads_is_written_as_a_look(sheet: WalkSheet) -> None:
    look, before = line(sheet, "hatch"), ledger.top_seq()
    type_in(sheet, **{f"{look.code}__none": "on"})
    [entry] = entries_since(before)
    assert (entry.deed, entry.note) == ("note", walk_sheet.NONE_YET)


def test_without_any_time_the_line_is_held_and_says_so(sheet: WalkSheet) -> None:
    feed = line(sheet, "feed")
    outcome = pen_marks.type_in(sheet.code, {f"{feed.code}.tick": "on"}, actor=small_farm.HAND)
    assert outcome.written == 0
    assert "Give a time" in outcome.held[feed.code]


def test_what_somebody_did_by_phone_meanwhile_is_shown_and_written_again_only_when_both_are_true(
    sheet: WalkSheet,
) -> None:
    feed = line(sheet, "feed")
    by_phone = Entry(
        id=small_farm.entry_id(700), at=small_farm.NOW - HOUR, deed="feed", person="Aoife", bin=feed.values["bin"]
    )
    actions.record([by_phone], actor=small_farm.OWNER)
    outcome = type_in(sheet, **{f"{feed.code}__tick": "on"})
    assert outcome.written == 0
    assert "Aoife" in outcome.held[feed.code]
    shown = next(x for stop in pen_marks.opened(sheet.code).stops for x in stop.lines if x.line == feed)
    assert "Aoife" in shown.other
    both = type_in(sheet, **{f"{feed.code}__tick": "on", f"{feed.code}__again": "on"})
    assert both == pen_marks.Outcome(written=1, held={})


def test_what_the_book_contradicts_is_held_with_both_facts_and_can_be_kept_as_a_note(sheet: WalkSheet) -> None:
    pull = line(sheet, "pull")
    gone = Entry(
        id=small_farm.entry_id(701), at=small_farm.NOW - 20 * HOUR, deed="pull", person="Aoife",
        clutch=pull.values["clutch"], to_place="west/2/2",
    )  # fmt: skip
    actions.record([gone], actor=small_farm.OWNER)
    before = ledger.top_seq()
    marks = {f"{pull.code}__tick": "on"} | {f"{pull.code}__{c}": "W1-2" for c in pull.blanks}
    outcome = type_in(sheet, **marks)
    assert outcome.written == 0
    assert "expected" in outcome.held[pull.code]
    assert ledger.top_seq() == before
    kept = type_in(sheet, **marks, **{f"{pull.code}__note": "on"})
    assert kept == pen_marks.Outcome(written=1, held={})
    [note] = entries_since(before)
    assert note.deed == "note"
    assert sheet.code in (note.note or "")
    assert "expected" in (note.note or "")


def test_why_a_line_is_held_is_told_in_the_language_of_whoever_opens_the_sheet_and_kept_in_none() -> None:
    with override("es"):
        sheet = walk_sheet.make(TODAY, actor=small_farm.HAND)
        pull, feed = line(sheet, "pull"), line(sheet, "feed")
        clutch = pull.values["clutch"]
        gone = Entry(
            id=small_farm.entry_id(701), at=small_farm.NOW - 20 * HOUR, deed="pull", person="Aoife",
            clutch=clutch, to_place="west/2/2",
        )  # fmt: skip
        actions.record([gone], actor=small_farm.OWNER)
        marks = {f"{pull.code}__tick": "on"} | {f"{pull.code}__{c}": "W1-2" for c in pull.blanks}
        outcome = type_in(sheet, **marks, **{f"{feed.code}__tick": "on", f"{feed.code}__at": "99:99"})
        assert "sacada ya" in outcome.held[pull.code]
        assert "no es una hora" in outcome.held[feed.code]

    def held(code: str) -> str:
        return next(x.held for stop in pen_marks.opened(sheet.code).stops for x in stop.lines if x.line.code == code)

    assert "pulled already" in held(pull.code)
    assert "is not a time" in held(feed.code)
    kept = pen_marks.opened(sheet.code).marks.held[pull.code]
    assert kept.found.startswith(f"clutch {clutch}, pulled already"), "the book's own words, which are in one language"
    before = ledger.top_seq()
    with override("es"):
        type_in(sheet, **marks, **{f"{pull.code}__note": "on"})
    (note,) = entries_since(before)
    start = f"Ticked on run sheet {sheet.code}, line {pull.code}: pull {clutch}"
    assert (note.note or "").startswith(start)
    assert f"The book did not take it: clutch {clutch}, pulled already" in (note.note or "")
    with override("es"):
        said = sentences.say(note)
        assert f"hoja de ronda {sheet.code}, línea {pull.code}: sacar bandeja {clutch}" in said
        assert "El libro no la aceptó" in said
        assert "pulled" not in said


def test_more_marks_than_a_sheet_can_have_are_refused_in_a_sentence(
    sheet: WalkSheet, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = ledger.top_seq()
    monkeypatch.setattr(papers, "MOST_MARKS", 200)
    feed = line(sheet, "feed")
    with pytest.raises(FormFaults, match="more than the marks of one sheet"):
        type_in(sheet, **{f"{feed.code}__tick": "on", "besides": "x" * 400})
    assert ledger.top_seq() == before


def test_one_line_that_cannot_be_written_does_not_keep_the_others_out(sheet: WalkSheet) -> None:
    feed, pull = line(sheet, "feed"), line(sheet, "pull")
    gone = Entry(
        id=small_farm.entry_id(702), at=small_farm.NOW - 20 * HOUR, deed="pull", clutch=pull.values["clutch"],
        to_place="west/2/2",
    )  # fmt: skip
    actions.record([gone], actor=small_farm.OWNER)
    marks = {f"{x.code}__tick": "on" for x in (feed, pull)} | {f"{pull.code}__{c}": "W1-2" for c in pull.blanks}
    outcome = type_in(sheet, **marks)
    assert outcome.written == 1
    assert set(outcome.held) == {pull.code}


def test_numbers_are_asked_for_and_what_is_missing_or_no_number_is_told_beside_its_line(sheet: WalkSheet) -> None:
    weigh = SheetLine(
        code="1a", entry="01957000-0000-7000-8000-00000000abcd", deed="weigh", what="Weigh a sample of lot G1", why="",
        urgency="optional", values={"lot": "G1", "unit": "g"}, blanks=("sample", "quantity"),
    )  # fmt: skip
    stop = msgspec.structs.replace(sheet.stops[0], lines=(weigh,))
    other = msgspec.structs.replace(sheet, code="WEIGHT", stops=(stop,))
    text = msgspec.json.encode(other).decode()
    papers.keep_sheet(
        papers.KeptSheet(code=other.code, day=other.day, made_at=other.made_at, sheet=text), actor=small_farm.HAND
    )
    assert [caption for _, caption in weigh.asked] == ["crickets in the sample", "g together"]
    for typed in ({}, {"1a__quantity": "many", "1a__sample": "50"}, {"1a__quantity": "1.2"}):
        outcome = type_in(other, **{"1a__tick": "on"}, **typed)
        assert outcome.written == 0
        assert outcome.held["1a"]
    assert type_in(other, **{"1a__tick": "on", "1a__quantity": "1,31", "1a__sample": "60"}).written == 1
    [entry] = ledger.entries("deed = 'weigh' AND id = %s", (weigh.entry,))
    assert (entry.quantity, entry.unit, entry.sample, entry.lot) == (1.31, "g", 60, "G1")


def test_the_marks_are_kept_as_they_were_typed(sheet: WalkSheet) -> None:
    feed = line(sheet, "feed")
    type_in(sheet, **{f"{feed.code}__at": "7:05"})
    opened = pen_marks.opened(sheet.code)
    assert opened.marks.values[f"{feed.code}.at"] == "7:05"
    assert opened.written == 0


def test_a_page_opened_before_somebody_else_saved_takes_none_of_their_marks_away(sheet: WalkSheet) -> None:
    first, second = (line for line in (line(sheet, "feed"), line(sheet, "hatch")))
    stale = {"saves": str(pen_marks.opened(sheet.code).marks.saves)}
    pen_marks.type_in(sheet.code, stale | {f"{first.code}.tick": "on"}, actor=small_farm.HAND)  # no time: held
    pen_marks.type_in(sheet.code, stale | {f"{second.code}.none": "on", f"{first.code}.at": ""}, actor=small_farm.HAND)
    kept = pen_marks.opened(sheet.code).marks
    assert {f"{first.code}.tick", f"{second.code}.none"} <= set(kept.values)
    assert {first.code, second.code} <= set(kept.held)
    pen_marks.type_in(sheet.code, {"saves": str(kept.saves), f"{second.code}.none": "on"}, actor=small_farm.HAND)
    assert f"{first.code}.tick" not in pen_marks.opened(sheet.code).marks.values


def test_a_sheet_is_typed_in_days_later_on_its_own_day(sheet: WalkSheet, monkeypatch: pytest.MonkeyPatch) -> None:
    feed, before = line(sheet, "feed"), ledger.top_seq()
    monkeypatch.setattr(clock, "now", lambda: small_farm.NOW + 5 * 86400)
    type_in(sheet, **{f"{feed.code}__tick": "on"})
    assert [local(e.at) for e in entries_since(before)] == ["2027-03-31 08:15"]


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("person", "Nobody", "Nobody on this farm"),
        ("person", "Chidi", "writes no entries"),
        ("day", "soon", "not a day"),
        ("at", "25:00", "not a time"),
    ],
)
def test_what_is_wrong_with_the_sheet_as_a_whole_writes_nothing(
    sheet: WalkSheet, field: str, value: str, says: str
) -> None:
    feed, before = line(sheet, "feed"), ledger.top_seq()
    with pytest.raises(FormFaults, match=says):
        type_in(sheet, **{f"{feed.code}__tick": "on", field: value})
    assert ledger.top_seq() == before
    assert papers.sheet(sheet.code).marks == ""


def test_a_time_still_to_come_is_held(sheet: WalkSheet) -> None:
    feed = line(sheet, "feed")
    outcome = type_in(sheet, **{f"{feed.code}__tick": "on", f"{feed.code}__at": "23:30"})
    assert "still to come" in outcome.held[feed.code]


def test_a_reader_types_nothing_in(sheet: WalkSheet) -> None:
    with pytest.raises(actions.NotAllowed):
        pen_marks.type_in(sheet.code, {}, actor=small_farm.READER)


def test_a_photograph_is_kept_with_the_sheet_and_a_text_is_not(
    sheet: WalkSheet, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    image = pytest.importorskip("PIL.Image")
    monkeypatch.setitem(django_settings.DATABASES["default"], "NAME", tmp_path / "small.chirr")
    picture = io.BytesIO()
    image.new("RGB", (640, 480), "white").save(picture, "JPEG")
    pen_marks.add_photo(sheet.code, picture.getvalue(), "sheet.jpg", actor=small_farm.HAND)
    [kept] = pen_marks.opened(sheet.code).marks.photos
    assert photos.picture_bytes(kept)[:2] == b"\xff\xd8"
    type_in(sheet)
    assert pen_marks.opened(sheet.code).marks.photos == (kept,)
    with pytest.raises(CannotCount, match="not a picture"):
        pen_marks.add_photo(sheet.code, b"hello", "sheet.jpg", actor=small_farm.HAND)


def test_ticks_on_a_photograph_are_proposed_and_nothing_is_written(
    sheet: WalkSheet, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    image, pypdfium2 = pytest.importorskip("PIL.Image"), pytest.importorskip("pypdfium2")
    np = pytest.importorskip("numpy")
    pytest.importorskip("cv2")
    from pictures import sheets

    monkeypatch.setitem(django_settings.DATABASES["default"], "NAME", tmp_path / "small.chirr")
    document = pypdfium2.PdfDocument(walk_sheet.pdf(sheet, address=ADDRESS).pdf)
    page = np.asarray(document[0].render(scale=sheets.DPI / 72).to_pil().convert("L"))
    document.close()
    feed, look = line(sheet, "feed"), line(sheet, "hatch")
    wanted = {f"{feed.code}.tick", f"{look.code}.none"}
    rng = np.random.default_rng(3)
    ticked = [box for box in walk_sheet.boxes(sheet, "a4") if box.key in wanted]

    def photograph(of: object) -> bytes:
        file = io.BytesIO()
        image.fromarray(sheets.photographed(of, rng, slant=0.03)).save(file, "JPEG", quality=90)
        return file.getvalue()

    before = ledger.top_seq()
    seen = pen_marks.add_photo(sheet.code, photograph(sheets.filled(page, ticked, rng)), "a.jpg", actor=small_farm.HAND)
    assert seen is not None
    assert (seen.page, set(seen.ticked), seen.doubtful) == (1, wanted, ())
    assert {k for k, v in pen_marks.opened(sheet.code).marks.values.items() if v == "on"} == wanted
    assert ledger.top_seq() == before
    other = walk_sheet.make(TODAY, actor=small_farm.HAND)
    flat = io.BytesIO()
    image.fromarray(page).save(flat, "PNG")
    with pytest.raises(CannotCount, match=f"sheet {sheet.code}, not of this one"):
        pen_marks.add_photo(other.code, flat.getvalue(), "a.png", actor=small_farm.HAND)
    assert pen_marks.opened(other.code).marks.photos == ()


def test_an_unknown_sheet_is_not_found() -> None:
    with pytest.raises(LookupError, match="no run sheet"):
        pen_marks.opened("XXXXXX")
    with override("es"), pytest.raises(LookupError, match="No hay ninguna hoja de ronda XXXXXX"):
        pen_marks.opened("xxxxxx")
