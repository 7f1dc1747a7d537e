"""Several people on one phone, by thumb: how many taps a switch takes, with and without scripts, and by keyboard."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect

from browser.conftest import SIZES
from builders import small_farm

pytestmark = pytest.mark.browser
ROUND = re.compile(r"//[^/?]+/round$")
PINS = {"Aoife": "8302", "Bram": "5917"}


def sign_in_and_set_pin(page: Page, name: str) -> None:
    page.goto("/sign-in?again=1")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(small_farm.PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(ROUND)
    page.goto("/me")
    pin = page.locator("#pin")
    pin.get_by_label("New PIN", exact=True).fill(PINS[name])
    pin.get_by_label("New PIN again").fill(PINS[name])
    pin.get_by_label("Present password").fill(small_farm.PASSWORD)
    pin.get_by_role("button", name="PIN").first.click()
    expect(page.get_by_text("Your PIN is kept")).to_be_visible()


@pytest.fixture(scope="module", params=[True, False], ids=["with scripts", "without scripts"])
def shared(browser: Browser, address: str, request: pytest.FixtureRequest) -> Iterator[BrowserContext]:
    """A phone on which Aoife and then Bram have signed in and set a PIN; Bram is in."""
    context = browser.new_context(
        viewport=SIZES["phone"], has_touch=True, base_url=address, java_script_enabled=request.param,  # type: ignore[arg-type]
        service_workers="block",
    )  # fmt: skip
    page = context.new_page()
    for name in PINS:
        sign_in_and_set_pin(page, name)
    page.close()
    context.scripts = request.param  # type: ignore[attr-defined]
    yield context
    context.close()


def who(page: Page) -> str:
    return page.locator(".who").inner_text().split("\n")[0].strip()


def test_a_switch_takes_six_taps_and_ends_where_work_goes_on(shared: BrowserContext) -> None:
    """Own name at the top, four digits, the other name. The seconds are for the eye only; nothing hangs on them."""
    page, taps = shared.new_page(), 0
    page.goto("/round")
    for to in ("Aoife", "Bram"):
        began, taps = time.perf_counter(), 0
        page.locator(".who").tap()
        taps += 1
        if shared.scripts:  # type: ignore[attr-defined]
            for digit in PINS[to]:
                page.get_by_role("button", name=digit, exact=True).tap()
                taps += 1
        else:
            page.locator("form.pin").get_by_label("PIN", exact=True).fill(PINS[to])
            taps += 4  # on the phone's own number keys
        page.get_by_role("button", name=to, exact=True).tap()
        taps += 1
        page.wait_for_url(ROUND)
        print(f"switch to {to}: {taps} taps, {time.perf_counter() - began:.2f} s")  # noqa: T201
        assert who(page) == to
        assert taps == 6


def test_keys_and_names_are_large_enough_for_gloves_and_apart(shared: BrowserContext) -> None:
    page = shared.new_page()
    page.goto("/switch")
    if shared.scripts:  # type: ignore[attr-defined]
        assert Axe().run(page).response["violations"] == []
    boxes = [b.bounding_box() for b in page.locator("form.pin button:visible").all()]
    assert page.locator("form.pin .names button").bounding_box()["y"] < 640, "in sight without scrolling"
    assert len(boxes) == (12 if shared.scripts else 1)  # type: ignore[attr-defined]
    for box in boxes:
        assert box is not None
        assert min(box["width"], box["height"]) >= 48
    for a in boxes:
        for b in boxes:
            if a is b or a is None or b is None:
                continue
            apart_x = max(b["x"] - a["x"] - a["width"], a["x"] - b["x"] - b["width"])
            apart_y = max(b["y"] - a["y"] - a["height"], a["y"] - b["y"] - b["height"])
            assert max(apart_x, apart_y) >= 7.9


def test_a_wrong_pin_says_so_beside_the_pad_and_the_last_person_stays(shared: BrowserContext) -> None:
    page = shared.new_page()
    page.goto("/switch")
    page.locator("#f-switch-pin").evaluate("f => { f.value = '0000'; }") if shared.scripts else page.locator(  # type: ignore[attr-defined]
        "#f-switch-pin"
    ).fill("0000")
    page.get_by_role("button", name="Aoife", exact=True).tap()
    expect(page.get_by_role("alert")).to_contain_text("That is not the PIN of Aoife")
    assert who(page) == "Bram"
    page.goto("/switch")
    page.locator("#f-switch-pin").fill(PINS["Aoife"])
    page.get_by_role("button", name="Aoife", exact=True).tap()
    page.wait_for_url(ROUND)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("path", ["/me", "/farm/devices", "/farm/phone", "/calendars", "/round/hand-over?away=Aoife"])
def test_the_pages_of_people_fit_a_phone_and_axe_finds_nothing(
    browser: Browser, address: str, signed_in: dict[str, list[dict[str, object]]], path: str, theme: str
) -> None:
    context = browser.new_context(
        viewport=SIZES["phone"],
        color_scheme=theme,
        base_url=address,
        service_workers="block",  # type: ignore[arg-type]
    )
    context.add_cookies(signed_in["owner"])  # type: ignore[arg-type]
    page = context.new_page()
    page.goto(path)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    found = Axe().run(page).response["violations"]
    assert [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in found] == []
    context.close()


def test_the_hand_over_sheet_of_a_week_is_one_sheet_of_paper(
    browser: Browser, address: str, signed_in: dict[str, list[dict[str, object]]]
) -> None:
    import pypdfium2

    context = browser.new_context(base_url=address, service_workers="block")
    context.add_cookies(signed_in["owner"])  # type: ignore[arg-type]
    page = context.new_page()
    page.goto("/round/hand-over?away=Aoife")
    sheet = pypdfium2.PdfDocument(page.pdf(prefer_css_page_size=True))
    assert len(sheet) == 1
    text = sheet[0].get_textpage().get_text_range()
    for words in ("Aoife is away", "What is odd", "What is due", "Before you go in", "asthma"):
        assert words in text
    assert "Show" not in text, "the form stays off the paper"
    sheet.close()
    context.close()
