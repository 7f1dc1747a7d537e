"""The pages in Spanish: nothing English left on any; figures, days and typed numbers by the signs of the language."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser

import pytest
from django.test import Client
from django.utils import translation

from builders import small_farm
from chirr.book import ledger
from chirr.desk import spoken
from chirr.desk.numbers_read import TwoWays, read_number, shown_number
from pages.conftest import Who
from pages.test_doors import GETS

SHOWN = [path for name, (path, whose) in GETS.items() if 200 in whose.values() and name not in (
    "book-export", "phone-pocket", "farm-strips")]  # fmt: skip
FORMS_WITH_FAULTS = (
    ("/book/add", {"deed": "feed", "bin": "W9", "quantity": "1.500", "unit": "kg"}),
    ("/book/add", {"deed": "weigh", "lot": "", "sample": "x", "quantity": "-4"}),
    ("/book/add", {"deed": "pull", "clutch": "C1", "to_bin": "W1-1", "to_lot": "G1"}),
    ("/farm/bins/", {"bin": "a/b", "floor_cm2": ""}),
    ("/farm/card", {"name": "", "timezone": "nowhere", "swap_by": "weekdays"}),
    ("/me", {"old": "x", "password": "1", "password_again": "2"}),
)
OWN_WORDS = {"latch is loose", "reused", "Chirr", "Safari", "Android", "iPhone", "chirr", "peat-1"}
"""What people of the made-up farm wrote or named, and names that are the same in every language."""
ENGLISH = re.compile(r"\b(?:the|of|and|with|which|from|not|this|its|was|are|is|days|eggs|bin|lot|clutch|crickets)\b")
"""Small words that stand in nearly every English sentence of the pages and in no Spanish one."""


class Reader(HTMLParser):
    """What a person sees or hears of a page: texts, and labels for those who hear it."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.silent = 0
        self.specs: list[str] = []
        self.is_json = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.is_json = tag == "script" and given.get("type") == "application/json"
        if tag in ("script", "style", "code"):
            self.silent += 1
        self.texts += [given[a] or "" for a in ("aria-label", "alt", "title", "placeholder") if given.get(a)]

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style", "code"):
            self.silent -= 1

    def handle_data(self, data: str) -> None:
        if self.is_json and self.silent:
            self.specs.append(data)
        if not self.silent and data.strip():
            self.texts.append(" ".join(data.split()))


def read(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    return reader


@pytest.fixture(scope="module")
def english() -> set[str]:
    """Texts of the catalogue with nothing to fill in, which Spanish says otherwise."""
    from words.test_the_catalogue import catalogue

    return {
        m.id for m in catalogue.kept("es")
        if isinstance(m.id, str) and m.id and m.string != m.id and not re.search(r"[{%]", m.id) and len(m.id) > 3
    }  # fmt: skip


def spanish(client: Client) -> Client:
    client.cookies["language"] = "es"
    return client


def left_over(html: str, english: set[str]) -> list[str]:
    """Texts of a page that are English."""
    seen = [t.strip(" .:;") for t in read(html).texts]
    return [
        t for t in dict.fromkeys(seen)
        if (t in english or t + "." in english or ENGLISH.search(t)) and not any(own in t for own in OWN_WORDS)
    ]  # fmt: skip


@pytest.mark.parametrize("path", SHOWN)
def test_no_english_is_left_on_a_page(who: Who, english: set[str], path: str) -> None:
    outsider = path in ("/sign-in",)
    answer = spanish(who("outsider" if outsider else "owner")).get(path)
    assert answer.status_code == 200
    html = answer.content.decode()
    assert '<html lang="es"' in html
    assert left_over(html, english) == []


@pytest.mark.parametrize(("path", "values"), FORMS_WITH_FAULTS)
def test_no_english_is_left_in_the_faults_of_a_form(
    who: Who, english: set[str], path: str, values: dict[str, str]
) -> None:
    answer = spanish(who("owner")).post(path, values)
    assert answer.status_code == 422
    assert left_over(answer.content.decode(), english) == []


def test_no_english_is_left_in_the_pictures(who: Who, english: set[str]) -> None:
    client = spanish(who("owner"))
    for path in ("/ahead", "/lots/G1", "/trays/laying?adults=600", "/ahead/breeders", "/round/hours"):
        specs = [json.loads(text) for text in read(client.get(path).content.decode()).specs]
        charts = [spec for spec in specs if "$schema" in spec]
        assert charts, path
        titles = re.findall(r'"(?:title|words|part|description)": "([^"]+)"', json.dumps(charts, ensure_ascii=False))
        assert [t for t in titles if t in english or ENGLISH.search(t)] == [], path


def test_the_language_is_chosen_for_the_device_and_stays(who: Who) -> None:
    client = who("hand")
    assert "Today’s round" in client.get("/round").content.decode()
    client.post("/look", {"language": "es", "next": "/round"})
    assert "La ronda de hoy" in client.get("/round").content.decode()
    client.post("/look", {"language": "en-gb", "next": "/round"})
    assert "Today’s round" in client.get("/round").content.decode()
    client.post("/look", {"language": "xx", "next": "/round"})
    assert "Today’s round" in client.get("/round").content.decode()


def test_without_a_choice_the_browser_says_which_language(who: Who) -> None:
    for said, title in (("es-CO,es;q=0.9", "Entrar"), ("es-MX", "Entrar"), ("en-US", "Sign in"), ("th", "Sign in")):
        html = Client().get("/sign-in", headers={"accept-language": said}).content.decode()
        assert f"<h1>{title}</h1>" in html, said
        language = re.search(r'<html lang="([^"]+)"', html)
        assert language is not None
        assert language[1][:2] == ("es" if said.startswith("es") else "en")


def test_what_is_written_is_the_same_whoever_reads_it(who: Who) -> None:
    client = spanish(who("hand"))
    values = {"deed": "feed", "bin": "W1-1", "quantity": "1,25", "unit": "kg", "minutes": "2,5", "note": "mucho polvo"}
    assert client.post("/book/add", values).status_code == 302
    entry = next(iter(ledger.entries(order="at DESC, id DESC")))
    assert (entry.deed, entry.quantity, entry.unit, entry.minutes, entry.note) == (
        "feed",
        1.25,
        "kg",
        2.5,
        "mucho polvo",
    )
    page = client.get("/bins/W1-1").content.decode()
    assert "Alimentada la caja W1-1: 1,25 kg (2,5 min). Mucho polvo." in page


def test_looking_in_vain_is_kept_in_one_form_and_shown_in_the_language_of_the_reader(who: Who) -> None:
    client = spanish(who("hand"))
    client.post("/round/do", {"key": "none:C2", "stop": "x", "says": "x"})
    entry = next(iter(ledger.entries("deed = 'note'", order="at DESC, id DESC")))
    if entry.clutch == "C2":
        assert entry.note == "looked, no pinheads yet"
        assert "mirado, todavía sin recién nacidos" in client.get("/clutches/C2").content.decode()


@pytest.mark.parametrize(
    ("language", "typed", "value"),
    [
        ("en-gb", "1,5", 1.5), ("en-gb", "1.5", 1.5), ("en-gb", "1.500", 1.5), ("en-gb", "1 500", 1500.0),
        ("es", "1,5", 1.5), ("es", "1.5", 1.5), ("es", "1 500,25", 1500.25), ("es", "1.500,5", 1500.5),
        ("es", "1.500.000", 1_500_000.0), ("es", "0.125", 0.125), ("es", "0,125", 0.125), ("es-mx", "1.500", 1.5),
        ("es", "12.3456", 12.3456), ("es", "1,500.5", 1500.5),
    ],
)  # fmt: skip
def test_a_number_is_read_by_the_signs_of_the_language(language: str, typed: str, value: float) -> None:
    with translation.override(language):
        assert read_number(typed) == value


@pytest.mark.parametrize(
    ("language", "typed"), [("en-gb", "1,500"), ("es", "1.500"), ("es", "1,500"), ("es", "-2.250"), ("es-mx", "1,500")]
)
def test_a_number_that_can_be_read_two_ways_is_asked_about(language: str, typed: str) -> None:
    with translation.override(language):
        with pytest.raises(TwoWays) as two:
            read_number(typed)
        assert read_number(two.value.whole) != read_number(two.value.part)
        assert abs(read_number(two.value.whole) or 0) == 1000 * abs(read_number(two.value.part) or 0)


@pytest.mark.parametrize("language", ["en-gb", "es", "es-mx"])
@pytest.mark.parametrize("value", [0.5, 1.125, 12.125, 0.125, 1500.0, 1234.5678, 0.001, 250000.25])
def test_what_a_form_shows_it_reads_back(language: str, value: float) -> None:
    with translation.override(language):
        assert read_number(shown_number(value)) == value


def test_figures_and_days_are_written_by_the_language() -> None:
    with translation.override("es"):
        assert spoken.figure(1234567.5, ",.1f") == "1\u00a0234\u00a0567,5"
        assert spoken.say("{n:,.0f}; between {low:,} and {high:,} in nine cases of ten.", n=1.0, low=1, high=2)
        assert spoken.listed(["a", "b", "c"]) == "a, b y c"
    with translation.override("es-mx"):
        assert spoken.figure(1234.5, ",.1f") == "1,234.5"
    with translation.override("en-gb"):
        assert spoken.figure(1234.5, ",.1f") == "1,234.5"


def test_months_and_weekdays_are_those_of_the_unicode_locale_data() -> None:
    """Against CLDR as Babel carries it: abbreviated and wide names of es, without the full stops some of them have."""
    from babel import Locale

    cldr = Locale("es")
    with translation.override("es"):
        wide = [cldr.months["format"]["wide"][n] for n in range(1, 13)]
        assert spoken.full_months() == wide
        assert spoken.short_months() == [
            cldr.months["format"]["abbreviated"][n].rstrip(".").replace("sept", "sep") for n in range(1, 13)
        ]
        days = cldr.days["format"]["abbreviated"]
        assert [spoken.weekday(n) for n in range(7)] == [days[n].rstrip(".") for n in range(7)]
        assert spoken.full_weekdays() == [cldr.days["format"]["wide"][n] for n in (6, 0, 1, 2, 3, 4, 5)]


def test_the_decimal_signs_are_those_of_the_unicode_locale_data() -> None:
    from babel import Locale

    for language, name in (("es", "es"), ("es-mx", "es_MX"), ("en-gb", "en_GB")):
        sign = Locale.parse(name).number_symbols["latn"]["decimal"]
        with translation.override(language):
            assert spoken.decimal_sign() == sign, small_farm.OWNER
