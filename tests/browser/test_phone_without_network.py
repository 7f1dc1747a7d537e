"""The phone in a room without radio, in real Chromium: nothing is lost, nothing written twice, one tap is a visit."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.request
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from urllib.parse import urlencode

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect

from browser.conftest import CHROMIUM, FLAGS, OURS, SIZES, TESTS
from builders import forty_bins as farm
from chirr.desk.codes import path_of

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("phone")]
PHONE = {"viewport": SIZES["phone"], "has_touch": True}
DAY = 86400


class Server:
    """The farm of forty bins, served by a program that can be killed and started again on the same book and port."""

    def __init__(self, folder: Path) -> None:
        self.book = folder / "forty.chirr"
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"

    def start(self, *words: str) -> None:
        env = os.environ | {"CHIRR_FARM": str(self.book), "DJANGO_SETTINGS_MODULE": "chirr.settings"}
        program = [sys.executable, str(TESTS / "browser/serve_small_farm.py"), str(self.port), "forty", *words]
        self.process = subprocess.Popen(program, env=env | {"PYTHONPATH": OURS}, start_new_session=True)
        for _ in range(300):
            try:
                urllib.request.urlopen(f"{self.address}/cautions", timeout=5)  # noqa: S310 - our own server
            except OSError:
                time.sleep(0.1)
                assert self.process.poll() is None, "the server stopped"
            else:
                return

    def kill(self) -> None:
        """Without a word of warning, workers and all."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(10)

    def written(self, since: int = 0) -> list[dict[str, object]]:
        """Entries in the book that came in after `since` (the number of the last one before)."""
        with sqlite3.connect(f"file:{self.book}?mode=ro", uri=True) as book:
            rows = book.execute("SELECT record FROM book_entryrow WHERE seq > ? ORDER BY seq", (since,)).fetchall()
        return [json.loads(record) for (record,) in rows]

    def copy(self, to: Path, *, back: bool = False) -> None:
        """The book as it stands to another file, or `back` from there, the way that SQLite itself copies."""
        here, there = (to, self.book) if back else (self.book, to)
        with closing(sqlite3.connect(here)) as old, closing(sqlite3.connect(there)) as fresh:
            old.backup(fresh)

    def top(self) -> int:
        with sqlite3.connect(f"file:{self.book}?mode=ro", uri=True) as book:
            return int(book.execute("SELECT max(seq) FROM book_entryrow").fetchone()[0])


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    served = Server(tmp_path_factory.mktemp("forty"))
    served.start()
    yield served
    served.kill()


def sign_in(page: Page, person: str) -> None:
    page.goto("/sign-in")
    page.get_by_label("Name").fill(person)
    page.get_by_label("Password").fill(farm.PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/round")
    carried(page)


def carried(page: Page) -> None:
    """Wait until the phone carries what it needs: its worker in charge, its pocket full."""
    page.wait_for_selector("html[data-phone=ready]")
    for _ in range(200):
        full = page.evaluate(in_store("kept", "count('tag')"))
        if full and page.evaluate("navigator.serviceWorker.controller !== null"):
            return
        page.wait_for_timeout(100)
    raise AssertionError("the pocket was never filled")


def in_store(store: str, ask: str) -> str:
    """Script: the answer of one question to the phone's own database."""
    return f"""() => new Promise((done, fail) => {{
        setTimeout(fail, 8000, new Error("the phone's database does not answer"));
        const open = indexedDB.open("chirr");
        open.onupgradeneeded = () => open.transaction.abort();
        open.onerror = () => fail(open.error);
        open.onsuccess = () => {{
            const asked = open.result.transaction("{store}").objectStore("{store}").{ask};
            asked.onsuccess = () => {{ open.result.close(); done(asked.result); }};
        }};
    }})"""


def waiting(page: Page) -> list[dict[str, object]]:
    entries = page.evaluate(in_store("outbox", "getAll()"))
    return [e for e in entries if not e["sent"]]


def until_sent(page: Page, timeout_s: float = 20.0) -> None:
    end = time.monotonic() + timeout_s
    while waiting(page):
        assert time.monotonic() < end, f"still waiting: {waiting(page)[:3]}"
        page.wait_for_timeout(100)


@pytest.fixture(scope="module")
def _own_phone(browser: Browser, server: Server) -> Iterator[Page]:
    context, page = phone_of(browser, server, "Ilmari")
    yield page
    context.close()


@pytest.fixture
def phone(_own_phone: Page) -> Iterator[Page]:
    """A phone on which Ilmari signed in once; each test leaves nothing waiting on it."""
    _own_phone.context.set_offline(False)
    yield _own_phone
    _own_phone.context.set_offline(False)
    _own_phone.context.unroute_all()


def phone_of(browser: Browser, server: Server, person: str) -> tuple[BrowserContext, Page]:
    context = browser.new_context(base_url=server.address, **PHONE)  # type: ignore[arg-type]
    context.set_default_timeout(15_000)
    page = context.new_page()
    sign_in(page, person)
    return context, page


def tap_item(page: Page, words: str) -> None:
    page.get_by_role("button", name=f"Done: {words}", exact=False).first.tap()
    expect(page.locator("#undo")).to_be_visible()


def test_two_phones_that_pulled_the_same_tray_are_both_kept_and_a_person_settles_it(
    browser: Browser, server: Server
) -> None:
    first, one = phone_of(browser, server, "Ilmari")
    second, two = phone_of(browser, server, "Tove")
    since = server.top()
    for context, page in ((first, one), (second, two)):
        context.set_offline(True)
        page.goto("/bins/S6")
        tap_item(page, "Pull")
    for context, page in ((first, one), (second, two)):
        context.set_offline(False)
        until_sent(page)
    pulls = [e for e in server.written(since) if e["deed"] == "pull"]
    assert Counter((e["person"], e["clutch"]) for e in pulls) == {("Ilmari", "C6"): 1, ("Tove", "C6"): 1}
    two.goto("/settle")
    clash = two.locator("article.clash").first
    expect(clash).to_contain_text("pulled already")
    expect(clash).to_contain_text("Ilmari")
    expect(clash).to_contain_text("Tove")
    faults = Axe().run(two)
    assert faults.violations_count == 0, faults.generate_report()
    clash.get_by_role("button", name="Keep what stands").tap()
    expect(two.get_by_text("All entries fit together")).to_be_visible()
    # put the farm back as it was, for the round below
    stands = next(e for e in pulls if e["person"] == "Ilmari")
    two.goto(f"/book/{stands['id']}/correct")
    two.get_by_label("Why it is wrong").fill("a rehearsal")
    two.get_by_role("button", name="Withdraw it").tap()
    two.wait_for_url("**/book")
    first.close()
    second.close()


def test_a_full_memory_is_said_in_one_sentence_and_nothing_half_is_written(phone: Page, server: Server) -> None:
    """The browser's own undoing of a transaction stands for the full disk: seen by hand on one of 40 MB, where Chromium
    undid it and called the reason DataError. Its override of a site's quota does not reach IndexedDB."""
    page = phone
    since = server.top()
    page.context.set_offline(True)
    page.goto("/bins/S3")
    page.evaluate("""() => { const add = IDBObjectStore.prototype.add; let n = 0;
        IDBObjectStore.prototype.add = function (value) {
            const asked = add.call(this, value);
            if (++n === 3) { IDBObjectStore.prototype.add = add; this.transaction.abort(); }
            return asked; } }""")
    page.locator("article.stop button.whole").tap()
    expect(page.get_by_text("memory is full or fails, so nothing was written")).to_be_visible()
    expect(page.locator("li.item.done")).to_have_count(0)
    assert waiting(page) == []
    page.locator("article.stop button.whole").tap()
    expect(page.locator("#undo")).to_be_visible()
    assert len(waiting(page)) == 4
    page.locator("#undo").get_by_role("button", name="Undo").tap()
    expect(page.locator("article.stop button.whole")).to_be_visible()
    assert waiting(page) == []
    assert server.top() == since


def test_what_is_done_stays_shown_as_done_once_the_book_has_it(phone: Page, server: Server) -> None:
    phone.goto("/round")
    item = phone.locator("li.item[id='feed_3aK34']")
    item.locator("button.tick").tap()
    expect(item).to_have_class(re.compile("done"))
    while phone.evaluate(in_store("outbox", "count()")):
        phone.wait_for_timeout(50)
    phone.wait_for_timeout(300)
    expect(item).to_have_class(re.compile("done"))
    phone.locator("#undo").get_by_role("button", name="Undo").tap()
    expect(item).not_to_have_class(re.compile("done"))
    until_sent(phone)
    phone.goto("/round")
    expect(item.locator("button.tick")).to_be_visible()


STOPS = "[...document.querySelectorAll('article.stop')].map(s => s.id)"
WHOLE = """() => fetch("/round", { headers: { "HX-Target": "round" } }).then((a) => a.text()).then((html) =>
    [...new DOMParser().parseFromString(html, "text/html").querySelectorAll("article.stop")].map((s) => s.id))"""


def test_the_stops_that_the_page_left_out_come_by_themselves_and_can_be_pointed_to(phone: Page) -> None:
    phone.goto("/round", wait_until="commit")
    expect(phone.locator("a[data-further]")).to_have_count(0)
    assert phone.evaluate(STOPS) == phone.evaluate(WHOLE)
    last = phone.evaluate(STOPS)[-1]
    phone.goto("/racks")
    phone.goto(f"/round#{last}")
    expect(phone.locator(f"[id='{last}']")).to_be_in_viewport()


def test_where_the_other_stops_cannot_be_fetched_a_link_leads_to_them(phone: Page) -> None:
    phone.context.route("**/round?after=*", lambda route: route.abort())
    phone.goto("/round")
    phone.wait_for_timeout(800)
    first = len(phone.evaluate(STOPS))
    phone.locator("#further").press("Enter")
    phone.wait_for_url(lambda url: url.endswith("/round?all=1"))
    assert len(phone.evaluate(STOPS)) > first


def test_a_round_of_forty_bins_offline_with_the_phone_killed_halfway_is_in_the_book_once(
    browser: Browser, server: Server, tmp_path: Path
) -> None:
    def start(offline: bool) -> tuple[BrowserContext, Page]:
        context = browser.browser_type.launch_persistent_context(
            tmp_path / "phone",
            executable_path=CHROMIUM,
            args=FLAGS,
            base_url=server.address,
            **PHONE,  # type: ignore[arg-type]
        )
        context.set_offline(offline)
        return context, context.pages[0]

    context, page = start(offline=False)
    sign_in(page, "Ilmari")
    expect(page.locator("a[data-further]")).to_have_count(0)  # the stops that the page left out at first are there
    cookies = context.cookies()
    fills = page.locator("article.stop li.item[data-fill]:not(.optional)").evaluate_all(
        "all => all.map(i => JSON.parse(i.dataset.fill))"
    )
    due = Counter((f["deed"], f.get("clutch") or f["bin"]) for f in fills)
    assert len({f["bin"] for f in fills if "bin" in f}) == farm.TAPPED
    since, taps = server.top(), 0
    context.set_offline(True)
    page.goto("/round")
    for stop in range(farm.TAPPED):
        at = page.locator("article.stop:not(.done)", has=page.locator("button.whole:visible")).first
        name, button = at.locator("h3").inner_text(), at.locator("button.whole")
        button.scroll_into_view_if_needed()
        button.click()
        taps += 1
        expect(page.locator("article.stop.done")).to_have_count(stop + 1)
        if stop == farm.TAPPED // 2:
            expect(page.locator("#undo")).to_contain_text(f"{name}:")  # confirmed, so it is on the disk
            server.kill()  # a browser that starts sends what waits before it can be told that there is no radio
            kill_browser(tmp_path / "phone")
            context, page = start(offline=True)
            context.add_cookies(cookies)  # type: ignore[arg-type]  # Chromium saves these twice a minute only
            page.goto("/round")
            page.wait_for_selector("html[data-phone=ready]")
            expect(page.locator("article.stop.done")).to_have_count(stop + 1)
    expect(page.locator("article.stop:not(.done)")).to_have_count(0)
    expect(page.locator("#contact")).to_contain_text(f"{due.total()} waiting")
    server.start()
    context.set_offline(False)
    until_sent(page)
    written = server.written(since)
    assert (
        Counter((e["deed"], e.get("clutch") or e["bin"]) for e in written if e["deed"] != "lay")
        + Counter(("lay", e["clutch"]) for e in written if e["deed"] == "lay")
        == due
    )
    assert {e["person"] for e in written} == {"Ilmari"}
    assert len({e["id"] for e in written}) == len(written)
    assert taps == farm.TAPPED <= 45  # one tap a bin
    page.goto("/settle")
    expect(page.locator("article.clash")).to_have_count(0)
    context.close()


def kill_browser(profile: Path) -> None:
    """The battery dies: every process of the browser that uses this profile, at once."""
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        try:
            line = (entry / "cmdline").read_bytes().decode(errors="replace")
        except OSError:
            continue
        if f"--user-data-dir={profile}" in line:
            os.kill(int(entry.name), signal.SIGKILL)
    for lock in profile.glob("Singleton*"):
        lock.unlink()


def test_two_thousand_entries_go_up_once_though_the_server_is_killed_in_the_middle(phone: Page, server: Server) -> None:
    context, page = phone.context, phone
    since = server.top()
    context.set_offline(True)
    page.evaluate(QUEUE, 2000)
    assert len(waiting(page)) == 2000
    context.set_offline(False)
    while server.top() - since < 300:
        time.sleep(0.02)
    server.kill()
    part = server.top() - since
    assert 0 < part < 2000
    page.wait_for_timeout(300)
    server.start()
    until_sent(page, 40)
    written = server.written(since)
    assert Counter(e["note"] for e in written) == {f"shelf {n} looked at": 1 for n in range(2000)}


QUEUE = """async (n) => {
    const here = document.querySelector("script[src$='/phone.js']").src;
    const { add } = await import(here.replace("phone.js", "phone/outbox.js"));
    const note = (i) => ({ says: "", values: { deed: "note", note: `shelf ${i} looked at` } });
    await add(Array.from({ length: n }, (_, i) => note(i)));
    dispatchEvent(new Event("chirr-written"));
}"""


def test_a_phone_whose_clock_is_a_day_fast_keeps_its_time_and_the_farm_s(browser: Browser, server: Server) -> None:
    context = browser.new_context(base_url=server.address, **PHONE)  # type: ignore[arg-type]
    context.add_init_script("const real = Date.now.bind(Date); Date.now = () => real() + 86400000;")
    page = context.new_page()
    sign_in(page, "Ilmari")
    since = server.top()
    page.evaluate(QUEUE, 1)
    until_sent(page)
    (entry,) = server.written(since)
    assert abs(int(entry["at"]) - time.time()) < 60  # type: ignore[call-overload]
    page.goto(f"/book/{entry['id']}")
    expect(page.get_by_text("The clock of the phone said")).to_be_visible()
    page.goto("/settle")
    expect(page.get_by_text("Clocks that were wrong")).to_be_visible()
    context.close()


def test_a_new_version_of_the_pages_loses_none_of_the_entries_that_wait(phone: Page, server: Server) -> None:
    context, page = phone.context, phone
    since = server.top()
    context.set_offline(True)
    page.evaluate(QUEUE, 7)
    before = page.evaluate("caches.keys()")
    server.kill()
    server.start("newer")
    try:
        context.route("**/phone/entries", lambda route: route.abort())  # the update comes first
        context.set_offline(False)
        page.goto("/racks")
        for _ in range(100):
            if page.evaluate("caches.keys()") not in (before, []):
                break
            page.wait_for_timeout(100)
        assert [k for k in page.evaluate("caches.keys()") if "0later0000" in k]
        page.goto("/round")
        assert len(waiting(page)) == 7
        context.unroute("**/phone/entries")
        page.goto("/round")
        until_sent(page)
        assert Counter(e["note"] for e in server.written(since)) == {f"shelf {n} looked at": 1 for n in range(7)}
        context.set_offline(True)
        page.goto("/racks")
        expect(page.get_by_text("From this phone’s memory")).to_be_visible()
    finally:
        server.kill()
        server.start()


def test_what_went_up_goes_up_again_when_the_book_was_put_back_to_an_older_copy(
    browser: Browser, tmp_path: Path
) -> None:
    own = Server(tmp_path)
    own.start()
    try:
        context, page = phone_of(browser, own, "Ilmari")
        since, kept = own.top(), tmp_path / "kept.chirr"
        page.evaluate(QUEUE, 3)
        until_sent(page)
        own.copy(kept)
        page.evaluate(QUEUE, 4)
        until_sent(page)
        for _ in range(100):  # the pocket knows of them, and the outbox has let go of them
            if not page.evaluate(in_store("outbox", "getAll()")):
                break
            page.wait_for_timeout(100)
        whole = {e["id"] for e in own.written(since)}
        assert len(whole) == 7
        own.kill()
        own.copy(kept, back=True)
        assert len(own.written(since)) == 3
        own.start()
        page.goto("/round")
        expect(page.locator("#messages")).to_contain_text("was put back to an older copy. 7 entries")
        until_sent(page)
        again = [e["id"] for e in own.written(since)]
        assert set(again) == whole
        assert len(again) == 7, "each of them once"
        context.close()
    finally:
        own.kill()


def test_signing_out_warns_while_entries_wait_and_they_stay_those_of_who_did_them(
    browser: Browser, server: Server
) -> None:
    context, page = phone_of(browser, server, "Ilmari")
    since = server.top()
    context.route("**/phone/entries", lambda route: route.abort())
    page.evaluate(QUEUE, 3)
    page.goto("/me")
    page.get_by_role("button", name="Sign out").tap()
    expect(page.get_by_text("3 entries wait on this phone")).to_be_visible()
    page.get_by_role("button", name="Stay signed in").tap()
    page.get_by_role("button", name="Sign out").tap()
    page.get_by_role("button", name="Sign out all the same").tap()
    page.wait_for_url("**/sign-in*")
    expect(page.locator("#contact")).to_contain_text("3")
    assert page.evaluate(in_store("kept", "get('pocket')")) is None  # nobody reads on what was carried for another
    context.set_offline(True)
    page.goto("/bins/K1")
    expect(page.get_by_text("nothing in its memory")).to_be_visible()
    context.set_offline(False)
    context.unroute("**/phone/entries")
    sign_in(page, "Tove")
    until_sent(page)
    assert {(e["person"], e["extra"]["sent_by"]) for e in server.written(since)} == {("Ilmari", "Tove")}  # type: ignore[index]
    context.close()


def test_a_sign_in_that_has_ended_keeps_the_entries_and_asks_to_sign_in_again(browser: Browser, server: Server) -> None:
    context, page = phone_of(browser, server, "Ilmari")
    since = server.top()
    context.clear_cookies()
    page.evaluate(QUEUE, 2)
    expect(page.locator("#contact")).to_contain_text("Sign in again")
    assert len(waiting(page)) == 2
    sign_in(page, "Ilmari")
    until_sent(page)
    assert len(server.written(since)) == 2
    context.close()


def test_deaths_are_written_offline_two_taps_away_on_a_number_pad_and_taken_back(phone: Page, server: Server) -> None:
    context, page = phone.context, phone
    since = server.top()
    context.set_offline(True)
    page.goto("/bins/K9")
    page.get_by_text("Something else here").tap()
    page.locator("details.else").get_by_role("link", name="deaths").tap()
    expect(page.locator("dialog.sheet")).to_be_visible()
    for key in "12":
        page.locator(".numpad").get_by_role("button", name=key, exact=True).tap()
    page.locator(".numpad").get_by_role("button", name="Write it").tap()
    expect(page.locator("dialog.sheet")).to_have_count(0)
    expect(page.locator("#undo")).to_contain_text("deaths G9")
    assert waiting(page)[0]["values"] == {"deed": "deaths", "lot": "G9", "bin": "K9", "quantity": "12"}
    page.locator("#undo").get_by_role("button", name="Undo").tap()
    expect(page.locator("#undo")).to_have_count(0)
    assert waiting(page) == []
    context.set_offline(False)
    page.goto("/round")
    assert server.written(since) == []


def test_the_number_pad_can_be_read_in_either_light(phone: Page) -> None:
    """Contrast by axe (WCAG 2.2, 1.4.3), which sees the pad only while a number is asked."""
    for light in ("light", "dark"):
        phone.emulate_media(color_scheme=light)  # type: ignore[arg-type]
        phone.goto("/book/add?deed=deaths&lot=G9")
        phone.wait_for_selector("html[data-phone=ready]")
        phone.get_by_label("How many dead").tap()
        expect(phone.locator(".numpad")).to_be_visible()
        faults = Axe().run(phone, ".numpad")
        assert faults.violations_count == 0, faults.generate_report()
    phone.emulate_media(color_scheme=None)


def test_what_was_sent_is_taken_back_by_an_entry_that_says_so(phone: Page, server: Server) -> None:
    page = phone
    since = server.top()
    page.goto("/book/add?deed=note&bin=K2")
    page.get_by_label("Note").fill("a latch is loose")
    page.get_by_role("button", name="Write it").tap()
    expect(page.locator("#undo")).to_contain_text("note K2")
    until_sent(page)
    page.locator("#undo").get_by_role("button", name="Undo").tap()
    page.wait_for_timeout(200)
    until_sent(page)
    note, correct = server.written(since)
    assert (correct["deed"], correct["replaces"]) == ("correct", note["id"])


def test_a_form_that_the_book_contradicts_is_mended_on_the_spot_where_there_is_a_network(
    phone: Page, server: Server
) -> None:
    page = phone
    since = server.top()
    page.goto("/book/add?deed=deaths&lot=G9")
    page.get_by_label("How many dead").fill("many")
    page.locator("form button.main").tap()
    expect(page.locator(".fault")).to_contain_text("is not a number")
    assert server.written(since) == []
    page.get_by_label("How many dead").fill("3")
    page.locator("form button.main").tap()
    expect(page.locator("#undo")).to_contain_text("Written: deaths G9")
    assert [e["quantity"] for e in server.written(since)] == [3.0]


def test_a_second_tray_laid_without_a_network_gets_a_name_of_its_own(phone: Page, server: Server) -> None:
    page = phone
    since = server.top()
    page.context.set_offline(True)
    names = []
    for _ in range(2):
        page.goto("/book/add?deed=lay")
        page.wait_for_selector("html[data-phone=ready]")
        for select in page.locator("form select[required]").all():
            select.select_option(index=1)
        names.append(page.locator("#f-clutch").input_value())
        page.locator("form button.main").tap()
        page.wait_for_url(lambda url: "/book/add" not in url)
    assert names[0] != names[1]
    page.context.set_offline(False)
    until_sent(page)
    assert [e["clutch"] for e in server.written(since)] == names


@pytest.mark.parametrize(
    ("path", "heading"),
    [
        ("/round", "Today’s round"), ("/racks", "Racks"), ("/bins/K3", "Bin K3"), ("/lots/G3", "Lot G3"),
        ("/at/bin/k3", "Bin K3"), ("/book/add?deed=weigh&lot=G3", "weigh"), ("/book/add", "What was done?"),
        ("/phone/waiting", "On this phone"), ("/bins/none-such", "Not in this phone’s memory"),
        ("/farm", "No answer from the farm’s computer"),
    ],
)  # fmt: skip
def test_pages_open_without_a_network(phone: Page, path: str, heading: str) -> None:
    phone.context.set_offline(True)
    phone.goto(path)
    expect(phone.get_by_role("heading", level=1)).to_contain_text(heading)
    small = phone.evaluate(
        """() => [...document.querySelectorAll("main :is(button, .button, select, summary), nav a, a.tile, .head a")]
            .filter(e => e.checkVisibility({ contentVisibilityAuto: true }))
            .map(e => [e.textContent.trim(), e.getBoundingClientRect()])
            .filter(([, box]) => box.height < 48 || box.width < 48)
            .map(([name, box]) => `${name} ${box.width} x ${box.height}`)"""
    )
    assert small == [], "; ".join(small[:8])


def alter(page: Page, store: str, change: str) -> None:
    """Change what the phone keeps by a script that has the `store`, in one transaction."""
    page.evaluate(f"""() => new Promise((done, fail) => {{
        const open = indexedDB.open("chirr");
        open.onsuccess = () => {{
            const store = open.result.transaction("{store}", "readwrite").objectStore("{store}");
            store.transaction.oncomplete = () => {{ open.result.close(); done(); }};
            store.transaction.onabort = () => fail(store.transaction.error);
            {change}
        }};
    }})""")


def in_pocket(page: Page, change: str) -> None:
    """Alter what the phone carries, the `pocket`."""
    alter(
        page,
        "kept",
        f"""const asked = store.get("pocket");
        asked.onsuccess = () => {{ const pocket = asked.result; {change}; store.put(pocket, "pocket"); }};""",
    )


LONG = "the long name of a bin that is shortened in its code"


def test_every_code_on_paper_is_answered_without_a_network(phone: Page) -> None:
    """Codes as the farm's computer prints them, from `desk.codes`, for names that need each way of writing."""
    page = phone
    in_pocket(
        page,
        f"""pocket.bins["{LONG}"] = pocket.bins.K3; pocket.bins.Pen = pocket.bins.K4; pocket.bins.PEN = pocket.bins.K5;
        pocket.bins["Größe 2"] = pocket.bins.K6;
        pocket.substrates = {{ "coir/4": {{ says: "good for 1 more use", facts: [], trays: ["C2"], caution: "" }} }};
        pocket.sheets = {{ CRETKH: "For the round of Tue 6 May 2031." }}""",
    )
    page.context.set_offline(True)
    for path, heading in (
        (path_of("bin", LONG), f"Bin {LONG}"),
        (path_of("bin", "Größe 2"), "Bin Größe 2"),
        (path_of("lot", "G3"), "Lot G3"),
        (path_of("clutch", "C2"), "Clutch C2"),
        (path_of("substrate", "coir/4"), "Substrate batch coir/4"),
        (path_of("sheet", "CRETKH"), "Run sheet CRETKH"),
        ("/AT/CODE/AAAAAAAAAA", "Not in this phone’s memory"),
        ("/bins/Pen", "Bin Pen"),
        ("/bins/%E0%A4%A", "Not in this phone’s memory"),
    ):
        page.goto(path)
        expect(page.get_by_role("heading", level=1)).to_contain_text(heading)
        faults = Axe().run(page)
        assert faults.violations_count == 0, f"{path}: {faults.generate_report()}"
    page.goto(path_of("bin", "pen"))
    expect(page.get_by_role("heading", level=1)).to_contain_text("Which one?")
    assert page.locator("main a.button").all_inner_texts() == ["Pen", "PEN"]
    page.get_by_role("link", name="PEN", exact=True).tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Bin PEN")
    page.goto(path_of("clutch", "C99"))
    page.get_by_role("link", name="Lay a tray as C99").tap()
    expect(page.locator("#f-clutch")).to_have_value("C99")


def test_without_a_network_the_pages_speak_the_language_that_was_chosen(browser: Browser, server: Server) -> None:
    context = browser.new_context(base_url=server.address, locale="en-GB", **PHONE)  # type: ignore[arg-type]
    page = context.new_page()
    sign_in(page, "Ilmari")
    page.goto("/me")
    page.locator("label", has_text="Español (1,5)").tap()
    page.get_by_role("button", name=re.compile("Keep")).tap()
    expect(page.locator("html")).to_have_attribute("lang", "es")
    context.set_offline(True)  # the very moment at which the page says that it is done
    page.goto("/racks")
    expect(page.locator("html")).to_have_attribute("lang", "es")
    expect(page.get_by_role("heading", level=1)).to_have_text("Estantes")
    expect(page.locator("nav.places a").first).to_contain_text("Ronda")
    expect(page.get_by_text("De la memoria de este teléfono")).to_be_visible()
    context.close()


def test_a_change_of_language_that_cannot_be_fetched_says_so(browser: Browser, server: Server) -> None:
    context, page = phone_of(browser, server, "Ilmari")
    page.goto("/me")
    page.wait_for_selector("html[data-phone=ready]")

    def change() -> None:
        page.locator("label", has_text="Español (1.5)").tap()
        page.get_by_role("button", name="Keep").tap()

    context.set_offline(True)
    change()
    expect(page.locator("#messages")).to_contain_text("so nothing was changed")
    context.set_offline(False)

    # the farm's computer takes the change, and then the signal goes
    page.route("**/look", lambda route: (context.set_offline(True), route.fulfill(status=204)))
    change()
    expect(page.locator("#messages")).to_contain_text("this phone could not fetch it all")
    page.goto("/racks")
    expect(page.get_by_role("heading", level=1)).to_have_text("Racks")
    context.close()


def test_what_the_book_refused_is_written_anew_and_only_then_put_away(phone: Page, server: Server) -> None:
    page, since = phone, server.top()
    page.goto("/round")
    page.context.route("**/phone/entries", lambda route: route.abort())
    page.evaluate(QUEUE, 1)
    said = '{ deed: "deaths", lot: "G9", quantity: "few" }'
    alter(page, "outbox", f"""const asked = store.getAll();
        asked.onsuccess = () => asked.result.filter((e) => !e.sent).forEach((e) => store.put(
            {{ ...e, at: e.at - 7200, since: 0, values: {said} }}));""")  # fmt: skip
    page.context.unroute("**/phone/entries")
    page.goto("/phone/waiting")
    expect(page.get_by_role("heading", name="Not taken")).to_be_visible()
    expect(page.get_by_text("Nothing else waits")).to_be_visible()
    (first,) = waiting(page)

    # written anew and refused again on the spot: the first one is still there
    page.get_by_role("button", name="Write it anew").tap()
    dialog = page.locator("dialog.sheet")
    dead = dialog.get_by_label("How many dead")
    expect(dead).to_have_value("few")
    dialog.locator("button.main").first.tap()
    expect(dialog.locator(".fault").first).to_contain_text("is not a number")
    assert [e["id"] for e in waiting(page)] == [first["id"]]

    # mended without a network: it waits in the first one's place, and taking it back brings that one back
    page.context.set_offline(True)
    dead.fill("7")
    dialog.locator("form button.main").first.tap()
    expect(page.get_by_role("heading", name="Not taken")).to_have_count(0)
    page.locator("#undo").get_by_role("button", name="Undo").tap()
    expect(page.get_by_role("heading", name="Not taken")).to_be_visible()

    # once the book has the new one, the first is put away with it
    page.context.set_offline(False)
    page.get_by_role("button", name="Write it anew").tap()
    dead.fill("7")
    dialog.locator("form button.main").first.tap()
    expect(page.locator("#undo")).to_contain_text("deaths G9")
    for _ in range(50):
        if page.evaluate(in_store("outbox", "count()")) == 0:
            break
        page.get_by_role("button", name="Send now").tap()
        page.wait_for_timeout(200)
    assert page.evaluate(in_store("outbox", "count()")) == 0
    (told,) = server.written(since)
    assert (told["lot"], told["quantity"], told["person"]) == ("G9", 7.0, "Ilmari")
    assert abs(told["at"] - first["at"]) <= 1, "the time is that of the work, not of the mending"  # type: ignore[operator]


def test_nothing_is_written_for_nobody_and_what_was_filled_in_stays(phone: Page) -> None:
    page = phone
    page.context.set_offline(True)
    page.goto("/book/add?deed=note&bin=K7")
    page.get_by_label("Note").fill("the latch sticks")
    me = page.evaluate(in_store("kept", "get('me')"))
    alter(page, "kept", "store.delete('me');")
    page.get_by_role("button", name="Write it").tap()
    expect(page.get_by_text("Nobody is signed in on this phone, so nothing was written")).to_be_visible()
    expect(page.get_by_label("Note")).to_have_value("the latch sticks")
    assert waiting(page) == []
    alter(page, "kept", f"store.put({json.dumps(me)}, 'me');")


def test_signing_out_waits_for_what_is_just_being_sent(browser: Browser, server: Server) -> None:
    context, page = phone_of(browser, server, "Ilmari")
    page.goto("/me")
    page.evaluate(
        """() => { navigator.locks.request("chirr-send", () => new Promise((done) => { window.sent = done; })); }"""
    )
    asked: list[str] = []
    page.on("request", lambda r: asked.append(r.url) if r.url.endswith("/sign-out") else None)
    page.get_by_role("button", name="Sign out").tap()
    page.wait_for_timeout(700)
    assert asked == []
    page.evaluate("sent()")
    page.wait_for_url("**/sign-in*")
    assert len(asked) == 1
    context.close()


@pytest.mark.parametrize(
    "elsewhere", ["javascript:document.title='taken'", "https://elsewhere.example/x", "//elsewhere.example"]
)
def test_leaving_a_form_never_leads_out_of_the_pages(phone: Page, elsewhere: str) -> None:
    page = phone
    page.context.set_offline(True)
    page.goto(f"/book/add?{urlencode({'deed': 'note', 'next': elsewhere})}")
    assert page.locator("a.leave").get_attribute("href") == "/round"


def test_the_main_buttons_stand_where_the_chosen_hand_is(phone: Page) -> None:
    page = phone
    middle = SIZES["phone"]["width"] / 2
    for side in ("right", "left"):
        page.goto("/me")
        page.locator("label", has=page.locator(f"input[name=side][value={side}]")).tap()
        page.get_by_role("button", name=re.compile("Keep")).tap()
        expect(page.locator(f"html[data-side={side}]")).to_have_count(1)
        page.goto("/round")
        for button in page.locator("article.stop button.whole, article.stop button.tick").all()[:4]:
            box = button.bounding_box()
            assert box is not None
            assert (box["x"] + box["width"] / 2 > middle) == (side == "right")
