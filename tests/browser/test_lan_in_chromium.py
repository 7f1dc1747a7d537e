"""A phone reaches the farm: Chromium that trusts only the farm's authority, before `chirr serve --lan` itself."""

from __future__ import annotations

import re
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext, Error, Playwright, expect

from browser.lan import NAME, SERVE, environment, served, trusting
from builders import small_farm
from builders.tls import answering
from chirr.wire import addresses, certificates, safe
from chirr.wire.certificates import Pair

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("lan") / "barn.chirr"


@pytest.fixture(scope="module")
def port(book: Path) -> Iterator[int]:
    with served(book) as port:
        yield port


@pytest.fixture(scope="module")
def phone(playwright: Playwright, port: int, tmp_path_factory: pytest.TempPathFactory) -> Iterator[BrowserContext]:
    """A browser whose only trust of ours is the authority that the set-up port gave it."""
    context = set_up_by(playwright, port, tmp_path_factory.mktemp("home"))
    yield context
    context.close()


def set_up_by(playwright: Playwright, port: int, home: Path) -> BrowserContext:
    page = urllib.request.urlopen(f"http://127.0.0.1:{port + 1}/phone", timeout=10).read().decode()
    file = page.split('class="button main" href="')[1].split('"')[0]
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import Encoding

    der = urllib.request.urlopen(f"http://127.0.0.1:{port + 1}{file}", timeout=10).read()
    authority = x509.load_der_x509_certificate(der)
    assert certificates.fingerprint(authority) in page
    return trusting(playwright, home, authority.public_bytes(Encoding.PEM))


def _authority(book: Path) -> Pair:
    pair = safe._pair(safe.folder_of(book) / safe.AUTHORITY, safe.folder_of(book) / safe.AUTHORITY)
    assert pair is not None
    return pair


def test_the_pages_open_as_a_secure_context_by_name_and_by_number(phone: BrowserContext, port: int) -> None:
    page = phone.new_page()
    for host in (NAME, "127.0.0.1"):
        answer = page.goto(f"https://{host}:{port}/sign-in")
        assert answer is not None
        assert answer.status == 200
        assert page.evaluate("window.isSecureContext && location.protocol") == "https:"
    page.goto(f"https://{NAME}:{port}/sign-in")
    assert page.evaluate("'serviceWorker' in navigator && 'mediaDevices' in navigator && !!crypto.randomUUID()")


def test_signing_in_writing_and_cookies_work_over_the_farms_certificate(phone: BrowserContext, port: int) -> None:
    page = phone.new_page()
    page.goto(f"https://{NAME}:{port}/sign-in")
    page.get_by_label("Name").fill("Bram")
    page.get_by_label("Password").fill(small_farm.PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/round")
    cookies = {c["name"]: c for c in phone.cookies(f"https://{NAME}:{port}/")}
    for name in ("sessionid", "csrftoken", "device"):
        assert cookies[name]["secure"], name
        assert cookies[name]["httpOnly"], name
    page.goto(f"https://{NAME}:{port}/farm/phone")
    assert page.get_by_role("img", name="QR code of the address below").is_visible()
    assert page.evaluate("document.querySelector('.qr').naturalWidth") > 100


def test_a_page_of_another_authority_is_refused(phone: BrowserContext, tmp_path: Path) -> None:
    now = datetime.now(UTC)
    stranger = certificates.make_authority("Low Barn", [NAME], ["127.0.0.1"], now)
    made = certificates.make_server(stranger, [NAME], ["127.0.0.1"], now)
    with answering(made, tmp_path) as elsewhere, pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
        phone.new_page().goto(f"https://{NAME}:{elsewhere}/")


def test_chromium_keeps_the_authority_to_the_farms_own_names(phone: BrowserContext, book: Path, tmp_path: Path) -> None:
    """The farm's key in the wrong hands: good for the farm's names, refused for a bank's."""
    authority, now = _authority(book), datetime.now(UTC)
    own = tmp_path / "own"
    own.mkdir()
    with answering(certificates.make_server(authority, [NAME], ["127.0.0.1"], now), own) as good:
        assert phone.new_page().goto(f"https://{NAME}:{good}/") is not None
    forged = certificates.make_server(authority, ["bank.example"], ["127.0.0.1"], now)
    with answering(forged, tmp_path) as bad, pytest.raises(Error, match="ERR_CERT"):
        phone.new_page().goto(f"https://bank.example:{bad}/")


def test_the_set_up_port_gives_its_page_and_the_certificate_and_nothing_of_the_farm(port: int) -> None:
    def status(path: str, method: str = "GET") -> int:
        request = urllib.request.Request(f"http://127.0.0.1:{port + 1}{path}", method=method)
        try:
            return int(urllib.request.urlopen(request, timeout=10).status)  # noqa: S310
        except urllib.error.HTTPError as refused:
            return refused.code

    for path in (
        "/round",
        "/sign-in",
        "/farm",
        "/static/chirr/icon.svg",
        "/phone/",
        "/../barn.chirr",
        "/authority.pem",
    ):
        assert status(path) == 404, path
    assert status("/phone", "POST") == 405
    page = urllib.request.urlopen(f"http://127.0.0.1:{port + 1}/phone", timeout=10)
    assert "Set-Cookie" not in page.headers
    html = page.read().decode()
    for secret in ("Bram", "Aoife", "W1-1", "9173"):
        assert secret not in html


def test_the_set_up_page_can_be_read_on_a_phone(phone: BrowserContext, port: int) -> None:
    page = phone.new_page()
    page.goto(f"http://127.0.0.1:{port + 1}/phone")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert page.get_by_role("link", name="Get the certificate").bounding_box()["height"] >= 48  # type: ignore[index]
    assert Axe().run(page).response["violations"] == []


def test_a_farm_is_set_up_from_a_phone_with_nothing_but_an_empty_book_and_what_the_command_prints(
    playwright: Playwright, tmp_path: Path
) -> None:
    """The farm's computer may have no screen of its own to open the pages on."""
    book = tmp_path / "hill.chirr"
    subprocess.run([sys.executable, "-c", SERVE, "new", str(book)], env=environment(book), check=True)
    with served(book) as port:
        printed = ""
        for _ in range(100):
            printed = Path(f"{book}.out").read_text()
            if "Stop with" in printed:
                break
            time.sleep(0.1)
        code = re.search(r"good until the farm is made: (\S+)", printed)
        assert code is not None, printed
        phone = set_up_by(playwright, port, tmp_path / "home")
        page = phone.new_page()
        here = next(iter(addresses.lan_addresses()), "")
        if not here:
            pytest.skip("This machine has no network but itself, and from itself no code is asked.")
        page.goto(f"https://{here}:{port}/")
        page.get_by_label("Code").fill("a-guess")
        page.get_by_role("button", name="Go on").tap()
        expect(page.get_by_text("This is not the code")).to_be_visible()
        assert Axe().run(page).response["violations"] == []
        page.get_by_label("Code").fill(code[1].capitalize())
        page.get_by_role("button", name="Go on").tap()
        for label, words in (("Name", "Hill Barn"), ("Time zone", "Europe/Lisbon"), ("Your name", "Rui")):
            page.get_by_label(label, exact=True).first.fill(words)
        page.locator("[name=room_1]").fill("east")
        page.get_by_label("Password", exact=True).fill("moss-under-snow")
        page.get_by_label("Password again").fill("moss-under-snow")
        page.get_by_role("button", name="Found the farm").tap()
        page.wait_for_url("**/racks")
        expect(page.get_by_role("heading", name="east")).to_be_visible()
        expect(page.locator(".head")).to_contain_text("Hill Barn")
        phone.close()
