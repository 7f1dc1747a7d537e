"""Take the pictures of the manual from the running demo: make it, serve it, sign in, and look at it as a phone does."""

from __future__ import annotations

import base64
import re
import shutil
import subprocess
import sys
import tempfile
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from time import monotonic, sleep

from playwright.sync_api import Page, sync_playwright

PICTURES = Path(__file__).resolve().parent / "pictures"
PHONE = {"width": 390, "height": 780}
DESK = {"width": 1180, "height": 760}
PORT = 8791

SHOTS: tuple[tuple[str, str, dict[str, int]], ...] = (
    ("round", "/round", PHONE),
    ("racks", "/racks", DESK),
    ("ahead", "/ahead", DESK),
    ("trays", "/trays", DESK),
    ("book", "/book", DESK),
)


@contextmanager
def demo() -> Iterator[tuple[str, str, str]]:
    """The running demo: its address, and the owner's name and password."""
    program = [sys.executable, "-c", "from chirr.cli import main; main()", "demo", "--port", str(PORT)]
    with tempfile.TemporaryDirectory() as scratch:
        run = subprocess.Popen(
            [*program, "--path", f"{scratch}/demo.chirr"], stdout=subprocess.PIPE, text=True, cwd=scratch
        )
        try:
            text = ""
            while "are at http" not in text:
                line = run.stdout.readline() if run.stdout else ""
                if not line:
                    raise SystemExit("The demo did not start.")
                text += line
            name, word = re.findall(r"sign in as (\S+) +password (\S+) +\(owner\)", text)[0]
            address = re.findall(r"http://[^ /]+", text)[0]
            _wait_for(address)
            yield address, name, word
        finally:
            run.terminate()
            run.wait(timeout=20)


def _wait_for(address: str) -> None:
    end = monotonic() + 60
    while monotonic() < end:
        try:
            urllib.request.urlopen(address, timeout=5)  # noqa: S310 - our own address
        except (urllib.error.URLError, OSError):
            sleep(0.3)
        else:
            return
    raise SystemExit("The demo does not answer.")


def _shoot(page: Page, address: str, name: str, path: str) -> None:
    page.goto(address + path)
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(1500)  # charts draw themselves after the page is there
    taken = page.context.new_cdp_session(page).send("Page.captureScreenshot", {"format": "webp", "quality": 82})
    (PICTURES / f"{name}.webp").write_bytes(base64.b64decode(taken["data"]))


def main() -> None:
    PICTURES.mkdir(exist_ok=True)
    browser_path = next((p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n))), None)
    if browser_path is None:
        raise SystemExit("Chromium is needed to take pictures; install it and run this again.")
    with demo() as (address, name, word), sync_playwright() as play:
        browser = play.chromium.launch(executable_path=browser_path, args=["--no-sandbox"])
        page = browser.new_page(viewport=DESK)
        page.goto(f"{address}/sign-in")
        page.get_by_label("Name").fill(name)
        page.get_by_label("Password").fill(word)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(re.compile("/(round|racks)"))
        for shot, path, size in SHOTS:
            page.set_viewport_size(size)
            _shoot(page, address, shot, path)
        browser.close()


if __name__ == "__main__":
    main()
