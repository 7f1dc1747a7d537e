"""The page where phones are set up, and the warning when the certificate that they trust comes to its end."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from chirr.wire import safe
from pages.conftest import Who

pytestmark = pytest.mark.django_db
LAN = {"set_up": "http://192.168.7.20:8766/phone", "pages": ["https://192.168.7.20:8765/"]}


@pytest.fixture
def served(settings: object, tmp_path: Path) -> safe.Kept:
    """The settings as `chirr serve --lan` leaves them, and an authority beside the book."""
    settings.LAN, settings.FARM_PATH = dict(LAN), tmp_path / "barn.chirr"  # type: ignore[attr-defined]
    names, addresses = ["hazel.local"], ["192.168.7.20"]
    return safe.keep(safe.folder_of(tmp_path / "barn.chirr"), "Low Barn", names, addresses, datetime.now(UTC))


def test_it_shows_the_code_the_address_the_fingerprint_and_how_to_take_the_trust_back(
    who: Who, served: safe.Kept
) -> None:
    from chirr.wire.certificates import fingerprint

    html = who("owner").get("/farm/phone").content.decode()
    assert 'src="data:image/svg+xml' in html
    assert LAN["set_up"] in html
    assert fingerprint(served.authority) in html
    for words in ("Android", "iPhone", "What the trust means", "How to take the trust back"):
        assert words in html


def test_without_lan_it_says_how_to_serve_phones(who: Who) -> None:
    html = who("owner").get("/farm/phone").content.decode()
    assert "chirr serve --lan" in html
    assert "data:image" not in html


def test_the_key_of_the_authority_is_on_no_page(who: Who, served: safe.Kept) -> None:
    html = who("owner").get("/farm/phone").content.decode()
    assert "PRIVATE" not in html
    assert str(safe.folder_of(Path("barn.chirr"))) not in html


@pytest.mark.parametrize("path", ["/me", "/farm"])
def test_people_are_told_on_their_phones_before_the_authority_ends(who: Who, settings: object, path: str) -> None:
    words = "must be set up again before 2036-09-21"
    assert words not in who("hand").get(path).content.decode()
    settings.LAN = {**LAN, "renew_before": "2036-09-21"}  # type: ignore[attr-defined]
    assert words in who("hand").get(path).content.decode()
