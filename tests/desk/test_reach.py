"""The codes that a phone scans to be set up, read back by zxing-cpp; and what the page knows of the authority."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import zxingcpp

from chirr.desk import reach
from chirr.wire import safe
from chirr.wire.certificates import fingerprint

ADDRESS = "http://192.168.178.120:8766/phone"
HALVES = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}


def _seen(text: str) -> np.ndarray:
    """A terminal's half blocks as a picture: what is printed is light, what is left out dark."""
    rows = [[HALVES[c] for c in line] for line in text.splitlines() if line]
    cells = np.array(rows).transpose(0, 2, 1).reshape(-1, len(rows[0]))
    return np.kron((cells * 255).astype(np.uint8), np.ones((6, 6), np.uint8))


@pytest.mark.parametrize("address", [ADDRESS, "http://a-rather-long-name-of-a-computer.local:18766/phone"])
def test_the_code_in_the_terminal_is_read_back(address: str) -> None:
    drawn = reach.terminal_qr(address)
    assert "\x1b" not in drawn, "plain text, no colours"
    [found] = zxingcpp.read_barcodes(_seen(drawn))
    assert found.text == address


def test_the_code_is_black_on_white_whatever_the_theme() -> None:
    picture = reach.picture_qr(ADDRESS)
    assert picture.startswith("data:image/svg+xml")
    assert "%23fff" in picture
    assert "%23000" in picture


def test_the_page_knows_name_fingerprint_and_file_of_each_authority(tmp_path: Path) -> None:
    folder = safe.folder_of(tmp_path / "barn.chirr")
    kept = safe.keep(folder, "Låg Lada: nord", ["hazel.local"], ["192.168.178.120"], datetime.now(UTC))
    told = {"set_up": ADDRESS, "pages": ["https://hazel.local:8765/"]}
    seen = reach.of_book(tmp_path / "barn.chirr", told)
    [authority] = seen.authorities
    assert (authority.name, authority.file) == ("Låg Lada: nord (Chirr)", "lag-lada-nord-chirr.crt")
    assert authority.fingerprint == fingerprint(kept.authority)
    assert seen.pages == ("https://hazel.local:8765/",)


def test_a_farm_that_is_not_served_to_phones_says_so(tmp_path: Path) -> None:
    seen = reach.of_book(tmp_path / "barn.chirr", None)
    assert (seen.pages, seen.set_up, seen.qr, seen.authorities) == ((), "", "", ())
