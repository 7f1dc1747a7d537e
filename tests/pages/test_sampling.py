"""Counting by sample on the pages: worked out without saving, with or without scripts, and written as an entry."""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit

import pytest

from pages.conftest import Who


def link_of(page: str) -> dict[str, str]:
    """What the form of the entry would be filled with."""
    href = page.split('class="button main" href="')[1].split('"', maxsplit=1)[0].replace("&amp;", "&")
    return {k: v[0] for k, v in parse_qs(urlsplit(href).query).items()}


WEIGH = {"way": "weigh", "lot": "L1", "count_1": "60", "mass_1": "21.5", "count_2": "52", "mass_2": "19",
         "gross_g": "2600", "tare_g": "400"}  # fmt: skip


def test_weighing_says_how_many_and_fills_the_entry_with_method_and_error(who: Who) -> None:
    page = who("hand").get("/count/sample", WEIGH).content.decode()
    filled = link_of(page)
    assert int(filled["quantity"]) == pytest.approx(2200 * 112 / 40.5, abs=1)  # net mass over mass a head
    assert (filled["deed"], filled["unit"], filled["lot"]) == ("count", "crickets", "L1")
    assert 0 < float(filled["cv"]) < 0.2
    assert "Weighed, 2 samples" in filled["note"]


def test_the_empty_bin_is_asked_for_and_never_taken_as_nothing(who: Who) -> None:
    page = who("hand").get("/count/sample", {k: v for k, v in WEIGH.items() if k != "tare_g"}).content.decode()
    assert "Say what the empty bin weighs" in page
    assert "button main" not in page.split('id="answer"')[1].split("</div>")[0]


def test_half_a_past_consignment_or_two_answers_to_one_question_are_asked_about(who: Who) -> None:
    half = who("hand").get("/count/sample", {"way": "pack", "wanted": "500", "sent_1": "300"}).content.decode()
    assert "A past consignment needs how many were sent and how many died." in half
    both = {"way": "pack", "wanted": "500", "deaths_pct": "2", "sent_1": "300", "lost_1": "9"}
    assert "not both" in who("hand").get("/count/sample", both).content.decode()


def test_the_note_of_a_sample_is_kept_in_one_form_whatever_the_language(who: Who) -> None:
    client = who("hand")
    client.cookies["language"] = "es"
    note = link_of(client.get("/count/sample", WEIGH).content.decode())["note"]
    assert note.startswith("Weighed, 2 samples. Between ")


def test_nothing_is_said_or_written_before_something_is_filled_in(who: Who) -> None:
    page = who("hand").get("/count/sample?lot=L1").content.decode()
    assert "Nothing is written until you say so" in page
    assert "button main" not in page.split('id="answer"')[1].split("</div>")[0]


def test_the_part_for_scripts_is_only_the_answer(who: Who) -> None:
    answer = who("hand").get("/count/sample", WEIGH | {"part": "1"})
    assert answer.status_code == 200
    assert answer.content.decode().lstrip().startswith('<div id="answer"')


@pytest.mark.parametrize(
    ("asked", "quantity"),
    [
        ({"way": "cup", "count_1": "110", "count_2": "118", "count_3": "114", "filled": "9"}, 114 * 9),
        (
            {"way": "square", "count_1": "23", "count_2": "30", "count_3": "16", "square_cm2": "4", "tray_cm2": "600"},
            3450,
        ),
        ({"way": "pack", "wanted": "500", "deaths_pct": "2"}, 516),
    ],
)  # fmt: skip
def test_cups_squares_and_packing_are_worked_out(who: Who, asked: dict[str, str], quantity: int) -> None:
    assert int(link_of(who("hand").get("/count/sample", asked).content.decode())["quantity"]) == quantity


def test_dead_are_told_with_the_exact_interval(who: Who) -> None:
    page = who("hand").get("/count/sample", {"way": "dead", "dead": "0", "looked_at": "10"}).content.decode()
    # Clopper-Pearson: none of ten leaves up to 25.9 % at the upper 95 % (1 - 0.05 ** (1 / 10))
    assert "25.9 %" in page


@pytest.mark.parametrize(
    ("asked", "word"),
    [
        (WEIGH | {"gross_g": ""}, "weighs"),
        (WEIGH | {"mass_2": ""}, "number and its mass"),
        (WEIGH | {"gross_g": "300"}, "nothing is left"),
        ({"way": "cup", "count_1": "110", "filled": "3"}, "at least two cups"),
        ({"way": "square", "count_1": "x", "square_cm2": "4", "tray_cm2": "600"}, "not a number"),
        ({"way": "dead", "dead": "5", "looked_at": "3"}, "larger than the whole"),
        ({"way": "pack", "wanted": "500"}, "dies on the way"),
    ],
)
def test_what_makes_no_sense_is_told_in_one_sentence(who: Who, asked: dict[str, str], word: str) -> None:
    answer = who("hand").get("/count/sample", asked)
    assert answer.status_code == 422
    assert word in answer.content.decode()


@pytest.mark.parametrize("where", ["/clutches/C2", "/lots/G1"])
def test_pages_of_clutches_and_lots_lead_to_both_ways_of_counting(who: Who, where: str) -> None:
    page = who("hand").get(where).content.decode()
    kind, name = {"/clutches/C2": ("clutch", "C2"), "/lots/G1": ("lot", "G1")}[where]
    assert f"/count?{kind}={name}" in page
    assert f"/count/sample?{kind}={name}" in page
    assert "/count/sample" not in who("reader").get(where).content.decode()
