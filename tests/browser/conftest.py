"""A real browser before a real server: the small farm served by the program that serves farms."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, Playwright, expect, sync_playwright

from builders import small_farm

CHROMIUM = os.environ.get("CHIRR_CHROMIUM", "/usr/bin/chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
TESTS = Path(__file__).resolve().parents[1]
OURS = os.pathsep.join([str(TESTS.parent / "src"), str(TESTS)])
"""Where a program that is started finds the source that stands beside these tests, whatever else is installed."""
SIZES = {"phone": {"width": 360, "height": 740}, "desk": {"width": 1280, "height": 900}}

Open = Callable[..., Page]

expect.set_options(timeout=20_000)  # a busy machine is slow, not wrong


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    """The driver of browsers; there can be one in a process."""
    if not Path(CHROMIUM).exists():
        pytest.skip(f"There is no browser at {CHROMIUM}; install chromium or name one in CHIRR_CHROMIUM.")
    with sync_playwright() as driver:
        yield driver


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    """Debian's Chromium."""
    chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
    yield chromium
    chromium.close()


def _serve(book: Path, *more: str) -> Iterator[str]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    env = os.environ | {"CHIRR_FARM": str(book), "DJANGO_SETTINGS_MODULE": "chirr.settings", "PYTHONPATH": OURS}
    server = subprocess.Popen([sys.executable, str(TESTS / "browser/serve_small_farm.py"), str(port), *more], env=env)
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(300):
            try:
                urllib.request.urlopen(f"{address}/cautions", timeout=5)  # noqa: S310 - our own server
                break
            except OSError:
                time.sleep(0.1)
                assert server.poll() is None, "the server stopped"
        yield address
    finally:
        server.terminate()
        server.wait(10)


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where the small farm is served, to each module its own: one that does the whole round leaves none to others."""
    yield from _serve(tmp_path_factory.mktemp("served") / "small.chirr")


@pytest.fixture
def bare_address(tmp_path: Path) -> Iterator[str]:
    """Where a book without a farm is served."""
    yield from _serve(tmp_path / "bare.chirr", "bare")


@pytest.fixture(scope="module")
def signed_in(browser: Browser, address: str) -> dict[str, list[dict[str, object]]]:
    """Cookies of each person, each signed in once by the form."""
    kept = {}
    for person in (small_farm.OWNER, small_farm.HAND, small_farm.READER):
        context = browser.new_context()
        page = context.new_page()
        page.goto(f"{address}/sign-in")
        page.get_by_label("Name").fill(person.person)
        page.get_by_label("Password").fill(small_farm.PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/round")
        kept[person.role] = context.cookies()
        context.close()
    return kept  # type: ignore[return-value]


@pytest.fixture
def page_as(browser: Browser, address: str, signed_in: dict[str, list[dict[str, object]]]) -> Iterator[Open]:
    """Open a page as a person; whatever the console complains of fails the test at its end."""
    contexts, complaints = [], []

    def note(message: ConsoleMessage) -> None:
        refusal = re.match(r"Failed to load resource: .* status of (404|422)", message.text)
        if message.type in ("error", "warning") and not refusal:
            complaints.append(f"{message.type}: {message.text}")

    def open_page(role: str, path: str, *, size: str = "phone", theme: str = "light", scripts: bool = True) -> Page:
        context = browser.new_context(
            viewport=SIZES[size],  # type: ignore[arg-type]
            color_scheme=theme,  # type: ignore[arg-type]
            java_script_enabled=scripts,
            has_touch=size == "phone",
            base_url=address,
        )
        context.add_cookies(signed_in[role])  # type: ignore[arg-type]
        contexts.append(context)
        page = context.new_page()
        page.on("console", note)
        page.on("pageerror", lambda fault: complaints.append(str(fault)))
        page.goto(path)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert complaints == []
