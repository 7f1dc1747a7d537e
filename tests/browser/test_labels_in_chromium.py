"""Labels and run sheets in a real browser: a code scanned in the page, a sheet printed and typed in again."""

from __future__ import annotations

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from browser.conftest import Open

pytestmark = pytest.mark.browser

READER = """
  window.BarcodeDetector = class {
    static async getSupportedFormats() { return ["qr_code"]; }
    async detect() { return window.seen.splice(0, 1).map((rawValue) => ({ rawValue })); }
  };
  navigator.mediaDevices.getUserMedia = async () => {
    const canvas = document.createElement("canvas");
    canvas.getContext("2d").fillRect(0, 0, 9, 9);
    return canvas.captureStream(5);
  };
"""
"""A browser with a reader of codes, which Debian's Chromium has not: it sees one text after another."""


def test_without_a_reader_of_codes_there_is_no_button_to_scan(page_as: Open) -> None:
    page = page_as("hand", "/racks")
    expect(page.get_by_role("heading", name="Racks")).to_be_visible()
    expect(page.get_by_role("button", name="Scan")).to_be_hidden()


def test_a_scanned_code_of_this_farm_opens_its_page_and_other_codes_do_not(page_as: Open) -> None:
    page = page_as("hand", "/racks")
    page.add_init_script(
        READER
        + 'window.seen = ["https://elsewhere.example/shop", "WIFI:S:x;;", "HTTPS://OLD-NAME.LOCAL:8765/AT/BIN/W1-1"];'
    )
    page.reload()
    page.get_by_role("button", name="Scan").click()
    page.wait_for_url("**/bins/W1-1")


def test_scanning_can_be_given_up(page_as: Open) -> None:
    page = page_as("hand", "/racks")
    page.add_init_script(READER + "window.seen = [];")
    page.reload()
    page.get_by_role("button", name="Scan").click()
    page.get_by_role("button", name="Stop").click()
    expect(page.locator(".scanning")).to_be_hidden()


@pytest.mark.parametrize("scripts", [True, False])
def test_a_round_is_printed_and_typed_in_again(page_as: Open, scripts: bool) -> None:
    page = page_as("owner", "/round/print", scripts=scripts)
    page.get_by_role("button", name="Make the sheet").click()
    page.wait_for_url("**/round/sheets/*")
    paper = page.request.get(page.url + "/paper")
    assert paper.headers["content-type"] == "application/pdf"
    line = page.locator(".walk-line", has_text=re.compile("Look|Weigh|Clean|Feed")).first
    code = line.locator("b").first.inner_text()
    page.get_by_label("Time, where no other is written").fill("0.01")
    page.locator(f'[name="{code}.tick"]').check()
    for blank in line.locator(".small-field input").all()[:-1]:
        blank.fill("7")
    page.get_by_role("button", name="Write it into the book").click()
    expect(page.locator(f"#l{code}")).to_contain_text(re.compile("in the book|✕|does not fit|already"))


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing_on_the_pages_of_paper(page_as: Open, theme: str) -> None:
    page = page_as("owner", "/farm/labels", theme=theme)
    assert _violations(page) == []
    page.goto("/AT/CLUTCH/C999")
    assert _violations(page) == []
    page.goto("/round/print")
    assert _violations(page) == []
    page.get_by_role("button", name="Make the sheet").click()
    page.wait_for_url("**/round/sheets/*")
    page.locator('[name$=".tick"]').first.check()
    page.get_by_role("button", name="Write it into the book").click()
    expect(page.get_by_text("Give a time").first).to_be_visible()
    assert _violations(page) == []


def _violations(page: Page) -> list[str]:
    found = Axe().run(page, options={"resultTypes": ["violations"]})
    return [f"{v['id']}: {v['nodes'][0]['html'][:120]}" for v in found.response["violations"]]


def test_labels_for_one_bin_come_as_a_pdf(page_as: Open) -> None:
    page = page_as("hand", "/bins/W1-1")
    page.get_by_role("link", name="Label").click()
    expect(page.get_by_label("Or only these")).to_have_value("W1-1")
    form = page.locator("form.form")
    values = form.evaluate("form => new URLSearchParams(new FormData(form)).toString()")
    answer = page.request.post(
        page.url, data=values, headers={"content-type": "application/x-www-form-urlencoded", "referer": page.url}
    )
    assert answer.status == 200
    assert answer.body().startswith(b"%PDF")
