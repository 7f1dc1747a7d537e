"""What a code on paper leads to, whatever the names and their case."""

from __future__ import annotations

from urllib.parse import unquote

import pytest
from hypothesis import given
from hypothesis import strategies as st

from builders import small_farm
from chirr.book import actions, ledger
from chirr.desk import codes
from chirr.records import Bin

ALPHANUMERIC = set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")
"""The 45 characters of the alphanumeric mode, ISO/IEC 18004 table of that mode."""
NAMES = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=60)


@pytest.fixture
def farm(db: None) -> None:
    small_farm.found()


def add_bin(name: str) -> None:
    bins = len(ledger.bins())
    actions.set_bin(
        Bin(bin=name, room="east", stack=9, level=bins + 1, duty="nursery", floor_cm2=5200.0), actor=small_farm.OWNER
    )


def lead(path: str) -> list[codes.Found]:
    """What a path leads to once a server has taken it apart and decoded it."""
    _, _, kind, name = path.split("/", 3)
    return codes.find(kind, unquote(name))


@given(name=NAMES)
def test_every_code_keeps_to_the_small_alphabet_and_to_a_small_size(name: str) -> None:
    path = codes.path_of("bin", name)
    assert set(path) <= ALPHANUMERIC - {" "}
    assert len(path) <= len("/AT/") + codes.LONGEST


@given(name=NAMES)
def test_the_path_written_out_gives_the_name_back_but_for_the_case_of_plain_letters(name: str) -> None:
    path = codes.path_of("lot", name)
    if path.startswith("/AT/LOT/"):
        assert unquote(path.removeprefix("/AT/LOT/")) == "".join(c.upper() if c.isascii() else c for c in name)


@pytest.mark.parametrize(
    "name",
    ["N1-3", "n1_3", "Größe 2", "ถาด 12", "a/b", "50%", "what?", "#1", "a b+c", "~x", 'q"q', "'", "x" * 60, "🦗"],
)
def test_a_label_leads_to_its_bin_whatever_the_bin_is_called(farm: None, name: str) -> None:
    add_bin(name)
    assert lead(codes.path_of("bin", name)) == [codes.Found("bin", name)]


def test_two_names_that_differ_only_in_case_are_both_offered_to_a_code_and_told_apart_when_typed(farm: None) -> None:
    add_bin("Pen")
    assert lead("/AT/BIN/PEN") == [codes.Found("bin", "Pen")]
    add_bin("PEN")
    assert lead("/AT/BIN/PEN") == [codes.Found("bin", "Pen"), codes.Found("bin", "PEN")]
    assert lead("/at/bin/Pen") == [codes.Found("bin", "Pen")]
    assert lead("/at/bin/pEN") == [codes.Found("bin", "Pen"), codes.Found("bin", "PEN")]


def test_a_long_name_is_found_by_its_figures_alone(farm: None) -> None:
    name = "The third bin from the window, behind the heater"
    add_bin(name)
    path = codes.path_of("bin", name)
    assert path.startswith("/AT/CODE/")
    assert lead(path) == [codes.Found("bin", name)]
    assert lead(path.lower()) == [codes.Found("bin", name)]
    assert lead("/AT/CODE/AAAAAAAAAA") == []


def test_figures_are_those_that_any_other_program_works_out() -> None:
    """SHA-256 of 'abc' begins ba7816bf 8f01cfea (FIPS 180-4 example); base 32 of RFC 4648. Here of 'bin LF A' by hand
    of a general library."""
    import base64
    import hashlib

    expected = base64.b32encode(bytes.fromhex(hashlib.sha256(b"bin\nA").hexdigest())).decode()[:10]
    assert codes.figures_of("bin", "A") == expected


@pytest.mark.parametrize("path", ["/AT/BIN/NONE", "/AT/HOUSE/X", "/at/lot/none", "/AT/SHEET/ABCDEF"])
def test_what_the_farm_does_not_have_is_not_found(farm: None, path: str) -> None:
    assert lead(path) == []


def test_every_kind_of_thing_is_found(farm: None) -> None:
    for kind, name in (("lot", "G1"), ("clutch", "C3"), ("substrate", "peat-1"), ("bin", "W1-1")):
        assert lead(codes.path_of(kind, name)) == [codes.Found(kind, name)]


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("https://barn.local:8765/round", "HTTPS://BARN.LOCAL:8765"),
        ("barn.local", "HTTPS://BARN.LOCAL"),
        ("http://[fd00::7]:8765", "HTTP://[FD00::7]:8765"),
        ("  https://192.168.4.2:8765/  ", "HTTPS://192.168.4.2:8765"),
    ],
)
def test_an_address_is_shortened_to_what_a_code_needs(text: str, address: str) -> None:
    assert codes.base_address(text) == address


@pytest.mark.parametrize(
    "text", ["", "barn local", "ftp://barn", "https://", "javascript:alert(1)", "https://a.b:99999999"]
)
def test_what_is_no_address_is_told(text: str) -> None:
    with pytest.raises(codes.NoAddress, match="not an address"):
        codes.base_address(text)


def test_addresses_that_will_not_last_are_doubted() -> None:
    assert "phone itself" in codes.doubts("http://127.0.0.1:8765")[0]
    assert "number" in codes.doubts("https://192.168.4.2:8765")[0]
    assert codes.doubts("https://barn.local:8765") == ()
