"""Every page for every hand, eye and ear: what axe-core finds, contrast, reflow, text spacing, keys, focus, sizes.

WCAG 2.2 level AA, W3C Recommendation of 5 October 2023 (updated 12 December 2024). axe-core is Deque's, under MPL 2.0.
"""

from __future__ import annotations

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from browser.conftest import SIZES, Open
from builders import small_farm
from pages.test_doors import GETS

pytestmark = pytest.mark.browser

NOT_A_PAGE = {"book-export", "phone-pocket", "farm-strips"}
"""Addresses that answer with a file."""
PATHS = [
    *(path for name, (path, whose) in GETS.items() if whose.get("owner") == 200 and name not in NOT_A_PAGE),
    *(f"/book/add?deed={deed}" for deed in ("lay", "count", "weigh", "harvest", "move&way=1", "note", "stock")),
    "/trays?finished=1", "/book?odd=1", "/bins/E1-1", "/bins/E1-2", "/clutches/C1", "/why/bin/W1-1", "/why/clutch/C2",
    "/nothing-here", "/trials/slim%20or%20wide", "/trial-labels/slim%20or%20wide", "/round?day=2020-01-01",
    "/ahead/promise?amount=100&unit=crickets&size_class=middling&day=2020-01-01",
]  # fmt: skip
SIGNED_OUT = ("/sign-in", "/switch", "/phone/shell")
FAULTY = (
    "/book/add?deed=feed", "/book/add?deed=lay", "/farm/card", "/farm/bins/", "/farm/people/", "/me",
    f"/book/{small_farm.entry_id(12)}/correct", "/count",
)  # fmt: skip
"""Forms that are sent empty."""
RULES = {
    "resultTypes": ["violations"],
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "rules": {"target-size": {"enabled": True}},
}
SPACED = """() => {
    const sheet = new CSSStyleSheet();
    sheet.replaceSync("* { line-height: 1.5 !important; letter-spacing: .12em !important;"
        + " word-spacing: .16em !important } p { margin-bottom: 2em !important }");
    document.adoptedStyleSheets = [sheet];
}"""
"""The spacing that 1.4.12 asks a page to bear."""
CLIPPED = """() => [...document.querySelectorAll("main *")].filter(e => {
    const style = getComputedStyle(e);
    return e.checkVisibility() && e.children.length === 0 && e.textContent.trim()
        && (style.overflowX === "hidden" || style.overflowX === "clip") && !e.closest(".unseen")
        && (e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 1);
}).map(e => e.outerHTML.slice(0, 120))"""
SIDEWAYS = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


def settle(page: Page) -> None:
    """Wait until the charts of a page are drawn."""
    for chart in page.locator("figure[data-chart]").all():
        expect(chart.locator("svg.marks")).to_be_visible(timeout=30_000)


def nothing_found(page: Page) -> None:
    found = Axe().run(page, options=RULES)
    assert found.violations_count == 0, found.generate_report()


def in_both_lights(page: Page) -> None:
    for size, theme in (("phone", "light"), ("desk", "dark")):
        page.set_viewport_size(SIZES[size])  # type: ignore[arg-type]
        page.emulate_media(color_scheme=theme)  # type: ignore[arg-type]
        settle(page)
        nothing_found(page)


def stays_within(page: Page) -> None:
    """1.4.10: at 320 CSS px (1280 px at 400 %) nothing scrolls sideways; 1.4.12: with wide spacing neither."""
    page.set_viewport_size({"width": 320, "height": 640})
    assert page.evaluate(SIDEWAYS) <= 0, "sticks out at 320 px"
    page.evaluate(SPACED)
    assert page.evaluate(SIDEWAYS) <= 0, "sticks out with text spaced"
    assert page.evaluate(CLIPPED) == []


@pytest.fixture(scope="module")
def trial(browser: Browser, address: str, signed_in: dict[str, Any]) -> None:
    """A trial in the book of the small farm, so that its pages can be opened."""
    from pages.test_trials import NOTE

    context = browser.new_context(base_url=address, java_script_enabled=False)
    context.add_cookies(signed_in["owner"])
    page = context.new_page()
    page.goto("/book/add?deed=note")
    page.locator("#f-note").fill(NOTE)
    page.get_by_role("button", name="Write it").click()
    page.wait_for_url(lambda url: "/book/add" not in url)
    context.close()


@pytest.mark.parametrize("path", PATHS)
def test_nothing_is_wrong_with_a_page_in_either_light_and_it_bears_zoom_and_spacing(
    page_as: Open, trial: None, path: str
) -> None:
    page = page_as("owner", path)
    in_both_lights(page)
    stays_within(page)


@pytest.mark.parametrize("path", SIGNED_OUT)
def test_nothing_is_wrong_with_the_pages_for_who_is_not_signed_in(browser: Browser, address: str, path: str) -> None:
    context = browser.new_context(base_url=address, viewport=SIZES["phone"])  # type: ignore[arg-type]
    page = context.new_page()
    page.goto(path)
    in_both_lights(page)
    stays_within(page)
    context.close()


def test_nothing_is_wrong_with_setting_up_a_farm(browser: Browser, bare_address: str) -> None:
    context = browser.new_context(base_url=bare_address, viewport=SIZES["phone"])  # type: ignore[arg-type]
    page = context.new_page()
    page.goto("/set-up")
    in_both_lights(page)
    stays_within(page)
    context.close()


@pytest.mark.parametrize("path", FAULTY)
def test_a_form_with_faults_names_each_beside_its_field(page_as: Open, path: str) -> None:
    page = page_as("owner", path)
    page.evaluate(
        """() => { const form = document.querySelector("main form.form:not(.languages):not([action])");
        for (const f of form.elements) if (f.type !== "hidden" && f.tagName !== "BUTTON") f.value = "";
        form.submit(); }"""
    )
    page.wait_for_load_state()
    expect(page.locator(".fault, .word.error").first).to_be_visible()
    invalid = page.locator("[aria-invalid='true']")
    for field in invalid.all():
        told = (field.get_attribute("aria-describedby") or "").split()
        assert any(page.locator(f"[id='{i}'].fault").count() for i in told)
    if invalid.count():
        expect(invalid.first).to_be_focused()
    in_both_lights(page)
    stays_within(page)
