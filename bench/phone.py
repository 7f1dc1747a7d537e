"""The phone on that farm, in Chromium: what the first Round weighs, when it can be used, what a tap and a queue take.

The browser's processor is slowed four times (Chromium's own emulation) where a phone would be slower. The other side is
the plain road, without scripts: a form sent to the farm's computer, which answers with the whole page.

"Usable" is the moment from which a tap on the first stop is taken by the phone itself, and the browser is free to take
it: the page has said that it is ready, has drawn a frame since, and has come to the work that waited behind it. (Before
that a tap is a plain form, which works too.) The page notes that time itself: a driver that asks from outside has its
own scripts slowed as well, and would measure them. "All there" is when the stops that the page left out at first have
come. The middle of several loads is given with the best, because a machine that does other work is slower.
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from dataclasses import dataclass
from pathlib import Path

from farm import book

try:
    from playwright.sync_api import Browser, BrowserContext, CDPSession, Page, sync_playwright
except ImportError:
    sys.exit("bench/phone.py drives a browser: install what the tests need (make test) first.")

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
CHROMIUM = os.environ.get("CHIRR_CHROMIUM", "/usr/bin/chromium")
FLAGS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync"]
PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True}
PASSWORD = "lanterns-in-rain"  # noqa: S105 - of a copy that is thrown away
SLOWER, TAPS, QUEUED, FORMS, LOADS = 4, 12, 2000, 20, 7
PAUSE_MS = 300
"""Between two taps: nobody taps faster."""

NOTE = """new MutationObserver((_, watch) => {
    if (document.documentElement?.dataset.phone !== "ready") return;
    watch.disconnect();
    requestAnimationFrame(() => setTimeout(() => { window.usableMs = performance.now(); }));
}).observe(document, { subtree: true, attributes: true, attributeFilter: ["data-phone"] });
addEventListener("chirr-further", () => { window.allMs = performance.now(); });"""
"""In the page from its first moment: when it can be used, and when the last of its stops came."""

SERVE = """
import time
from chirr.cli.farm import open_farm
open_farm()
from granian import Granian
from granian.constants import Interfaces
from chirr.book import ledger
from chirr.book.models import PersonRow
from chirr.desk import people
from chirr.records import Person
name = PersonRow.objects.filter(role="owner").first().name
people.set_password(name, {password!r}, actor=Person(person=name, role="owner"))
real, since = time.time, time.time() - ledger.last_at() - 10 * 3600
time.time = lambda: real() - since
print(name, flush=True)
where = {{"address": "127.0.0.1", "port": {port}}}
Granian("chirr.wsgi:application", interface=Interfaces.WSGI, log_enabled=False, **where).serve()
"""
"""Serve the farm on the morning after its last day: eight weeks later everything would be overdue."""

TAP = """() => new Promise((done) => {
    const before = document.getElementById("undo");
    const button = document.querySelector("article.stop:not(.done) li.item:not(.done) button.tick");
    const start = performance.now();
    new MutationObserver((_, watch) => {
        const strip = document.getElementById("undo");
        if (strip && strip !== before) { watch.disconnect(); done(performance.now() - start); }
    }).observe(document.body, { childList: true });
    button.click();
})"""

QUEUE = """async (n) => {
    const here = document.querySelector("script[src$='/phone.js']").src;
    const { add } = await import(here.replace("phone.js", "phone/outbox.js"));
    const stops = [...document.querySelectorAll("article.stop[data-bin]")];
    const bins = stops.map((s) => s.dataset.bin).filter(Boolean);
    const DEEDS = ["note", "feed", "water"];
    await add(Array.from({ length: n }, (_, i) => (
        { says: "", values: { deed: DEEDS[i % 3], bin: bins[i % bins.length], note: `turn ${i}` } })));
}"""

FULL = """() => new Promise((done) => { const open = indexedDB.open("chirr"); open.onsuccess = () => {
    const asked = open.result.transaction("kept").objectStore("kept").count("tag");
    asked.onsuccess = () => { open.result.close(); done(asked.result); }; } })"""

WAITING = """() => new Promise((done) => { const open = indexedDB.open("chirr"); open.onsuccess = () => {
    const asked = open.result.transaction("outbox").objectStore("outbox").getAll();
    asked.onsuccess = () => { open.result.close(); done(asked.result.filter((e) => !e.sent).length); } } })"""


def serve(copy: Path) -> tuple[subprocess.Popen[bytes], str, str]:
    """The server on a copy of the farm, its address and its owner."""
    env = os.environ | {"CHIRR_FARM": str(copy)}
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    script = SERVE.format(password=PASSWORD, port=port)
    server = subprocess.Popen([sys.executable, "-c", script], env=env, stdout=subprocess.PIPE, start_new_session=True)
    assert server.stdout is not None
    owner = server.stdout.readline().decode().strip()
    address = f"http://127.0.0.1:{port}"
    for _ in range(300):
        try:
            urllib.request.urlopen(f"{address}/phone/now", timeout=5)  # noqa: S310 - our own server
            break
        except OSError:
            time.sleep(0.2)
    return server, address, owner


def signed_in(browser: Browser, address: str, owner: str, *, scripts: bool = True) -> BrowserContext:
    context = browser.new_context(base_url=address, java_script_enabled=scripts, **PHONE)  # type: ignore[arg-type]
    context.set_default_timeout(120_000)
    page = context.new_page()
    page.goto("/sign-in")
    page.get_by_label("Name").fill(owner)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/round")
    page.close()
    return context


def slowed(page: Page, times: int) -> None:
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": times})


@dataclass(frozen=True)
class Load:
    """One first load: bytes of the page with its files; ms until it was answered, usable, all there."""

    weight: float
    answered_ms: float
    usable_ms: float
    all_ms: float
    at_once: int
    """Stops sent with the page."""
    stops: int


def first_load(browser: Browser, cookies: list[dict[str, object]], address: str) -> Load:
    context = browser.new_context(base_url=address, **PHONE)  # type: ignore[arg-type]
    context.add_cookies(cookies)  # type: ignore[arg-type]
    context.add_init_script(NOTE)
    page = context.new_page()
    weights: dict[str, float] = {}
    urls: dict[str, str] = {}
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    session.on("Network.requestWillBeSent", lambda e: urls.update({e["requestId"]: e["request"]["url"]}))
    session.on("Network.loadingFinished", lambda e: weights.update({e["requestId"]: e["encodedDataLength"]}))
    slowed(page, SLOWER)
    with page.expect_response("**/round") as answer:
        page.goto("/round", wait_until="commit")
    usable_ms = noted(session, "window.usableMs")
    page.wait_for_timeout(4000)
    at_once = answer.value.text().count('<article class="stop')
    answered_ms = noted(session, "performance.getEntriesByType('navigation')[0].responseStart")
    all_ms = noted(session, "window.allMs ?? window.usableMs")
    apart = {key for key, url in urls.items() if "/phone/now" in url or "/phone/pocket" in url}
    weight = sum(n for key, n in weights.items() if key not in apart)
    stops = page.locator("article.stop").count()
    context.close()
    return Load(weight, answered_ms, usable_ms, all_ms, at_once, stops)


def noted(session: CDPSession, what: str) -> float:
    """A time that the page noted, once it is there [ms]; asked without the driver's own scripts in the page."""
    for _ in range(600):
        told = session.send("Runtime.evaluate", {"expression": what})["result"].get("value")
        if told:
            return float(told)
        time.sleep(0.1)
    raise SystemExit("The page was never ready.")


def main() -> None:
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        copy = Path(folder) / "farm.chirr"
        for part in ("", ".learnt"):
            if book().with_name(book().name + part).exists():
                shutil.copy(book().with_name(book().name + part), copy.with_name(copy.name + part))
        server, address, owner = serve(copy)
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        try:
            measure(browser, address, owner)
        finally:
            browser.close()
            os.killpg(server.pid, signal.SIGTERM)
            server.wait(20)


def measure(browser: Browser, address: str, owner: str) -> None:
    context = signed_in(browser, address, owner)
    cookies = context.cookies()
    page = context.new_page()
    page.goto("/round")  # belief is worked out once
    loads = [first_load(browser, cookies, address) for _ in range(LOADS)]  # type: ignore[arg-type]
    one, usable = loads[0], [load.usable_ms / 1000 for load in loads]
    middle = statistics.median
    print(
        f"first Round on a phone, {one.at_once} stops and then {one.stops - one.at_once}: {one.weight / 1000:.0f} kB"
        f" | all its files, no charts | under 300 kB"
    )
    print(
        f"first Round usable at p50 {middle(usable):.2f} s, best {min(usable):.2f} s | processor slowed {SLOWER} times;"
        f" the server answered at {middle([x.answered_ms for x in loads]) / 1000:.2f} s,"
        f" all stops there at {middle([x.all_ms for x in loads]) / 1000:.2f} s | under 1.5 s"
    )
    carried(page)
    context.set_offline(True)
    page.goto("/round")
    page.wait_for_selector("html[data-phone=ready]", state="attached")
    slowed(page, SLOWER)
    taps = []
    for _ in range(TAPS):
        taps.append(page.evaluate(TAP))
        page.wait_for_timeout(PAUSE_MS)
    slowed(page, 1)
    plain_ms = plain_tap(browser, address, owner)
    tap = statistics.median(taps)
    print(
        f"tap to written, offline: p50 {tap:.0f} ms, worst {max(taps):.0f} ms | slowed {SLOWER} times;"
        f" {plain_ms / tap:.0f} times sooner than the plain form's {plain_ms:.0f} ms | under 100 ms"
    )
    page.evaluate(QUEUE, QUEUED)
    queued = page.evaluate(WAITING)
    start = time.perf_counter()
    context.set_offline(False)
    page.evaluate("dispatchEvent(new Event('chirr-written'))")
    while page.evaluate(WAITING):
        page.wait_for_timeout(50)
    up_s = time.perf_counter() - start
    each_s = plain_forms(browser, address, owner)
    print(
        f"{queued:,} queued entries up in {up_s:.1f} s | {each_s * queued / up_s:.0f} times sooner than as many plain"
        f" forms, {1000 * each_s:.0f} ms each | under 10 s"
    )
    context.close()


def carried(page: Page) -> None:
    """Wait until worker and pocket are there."""
    for _ in range(600):
        if page.evaluate("navigator.serviceWorker.controller !== null") and page.evaluate(FULL):
            return
        page.wait_for_timeout(100)
    raise SystemExit("The phone never had its pocket full.")


def plain_tap(browser: Browser, address: str, owner: str) -> float:
    """ms from a tap without scripts to the page that shows it done."""
    context = signed_in(browser, address, owner, scripts=False)
    page = context.new_page()
    page.goto("/round")
    took = []
    for _ in range(5):
        start = time.perf_counter()
        with page.expect_navigation(wait_until="load"):
            page.locator("li.item .do button").first.click(no_wait_after=True)
        took.append(1000 * (time.perf_counter() - start))
    context.close()
    return statistics.median(took)


def plain_forms(browser: Browser, address: str, owner: str) -> float:
    """Seconds for one entry by its form, without scripts, page after page."""
    context = signed_in(browser, address, owner, scripts=False)
    page = context.new_page()
    start = time.perf_counter()
    for n in range(FORMS):
        page.goto("/book/add?deed=note")
        page.get_by_label("Note").fill(f"by hand {n}")
        with page.expect_navigation(wait_until="load"):
            page.get_by_role("button", name="Write it").click(no_wait_after=True)
    context.close()
    return (time.perf_counter() - start) / FORMS


if __name__ == "__main__":
    main()
