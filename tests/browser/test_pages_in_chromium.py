"""The pages as people meet them: in Chromium, by touch, in both lights, with scripts and without."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Browser, Page, expect

from browser.conftest import Open

pytestmark = pytest.mark.browser

CHARTED = ("/ahead", "/lots/G1")


def settle(page: Page) -> None:
    """Wait until the charts of a page are drawn."""
    for chart in page.locator("figure[data-chart]").all():
        expect(chart.locator("svg.marks")).to_be_visible(timeout=20_000)


@pytest.mark.parametrize("path", ["/round", "/racks", "/book/add?deed=feed"])
def test_what_is_touched_on_the_phone_is_at_least_48_px_high(page_as: Open, path: str) -> None:
    page = page_as("hand", path)
    small = page.evaluate(
        """() => [...document.querySelectorAll("main :is(button, .button, select, input), nav a, a.tile")]
            .filter(e => e.checkVisibility() && !["hidden", "checkbox", "radio"].includes(e.type))
            .map(e => [e.textContent.trim() || e.name, e.getBoundingClientRect().height])
            .filter(([, height]) => height < 48)"""
    )
    assert small == []


def test_an_item_is_done_by_one_tap_and_taken_back_by_another(page_as: Open) -> None:
    page = page_as("hand", "/round")
    tick = page.locator("li.item button.tick").first
    words = tick.get_attribute("aria-label") or ""
    tick.tap()
    expect(page.locator(".undo")).to_be_visible()
    expect(page.get_by_role("button", name=words, exact=True)).to_have_count(0)
    assert page.url.endswith("/round")
    page.get_by_role("button", name="Undo").tap()
    expect(page.get_by_role("button", name=words, exact=True)).to_have_count(1)


def test_a_whole_bin_is_one_tap(page_as: Open) -> None:
    page = page_as("hand", "/round")
    whole = page.locator("button.whole").first
    stop = page.locator("article.stop").filter(has=whole).first
    before = stop.locator("button.tick").count()
    assert before >= 2
    name = stop.get_attribute("id")
    whole.tap()
    expect(page.locator(".undo")).to_be_visible()
    expect(page.locator(f"[id='{name}'] button.whole:visible")).to_have_count(0)
    page.get_by_role("button", name="Undo").tap()
    expect(page.locator(f"[id='{name}'] button.tick")).to_have_count(before)


def test_the_clock_runs_pauses_and_stops(page_as: Open) -> None:
    page = page_as("hand", "/round")
    page.get_by_role("button", name="Start").tap()
    expect(page.locator("[role=timer]")).to_have_text(re.compile(r"\d+:\d\d"), timeout=5_000)
    page.get_by_role("button", name="Pause").tap()
    expect(page.get_by_role("button", name="Go on")).to_be_visible()
    page.get_by_role("button", name="Stop").tap()
    expect(page.get_by_text("The round took")).to_be_visible()


def test_a_bin_in_its_rack_is_tapped_for_its_page(page_as: Open) -> None:
    page = page_as("reader", "/racks")
    page.locator("a.tile", has_text="W1-1").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Bin W1-1")


def test_the_lowest_level_is_drawn_lowest_and_stacks_share_a_floor(page_as: Open) -> None:
    page = page_as("reader", "/racks", size="desk")
    box = {name: page.locator("a.tile", has_text=name).bounding_box() for name in ("W1-1", "W1-2", "W2-1")}
    assert box["W1-2"]["y"] < box["W1-1"]["y"]  # type: ignore[index]
    assert box["W2-1"]["y"] == pytest.approx(box["W1-1"]["y"], abs=2)  # type: ignore[index]


@pytest.mark.parametrize("path", CHARTED)
def test_charts_are_drawn_under_the_strict_policy_in_the_colours_of_the_light(page_as: Open, path: str) -> None:
    inks = {}
    for theme in ("light", "dark"):
        page = page_as("reader", path, size="desk", theme=theme)
        assert page.locator("figure[data-chart]").count() > 0
        settle(page)
        inks[theme] = page.locator("figure[data-chart] svg.marks .mark-text text").first.evaluate(
            "e => e.getAttribute('fill')"
        )
        table = page.locator("figure[data-chart] details").first
        table.locator("summary").click()
        expect(table.locator("td").first).to_be_visible()
    assert inks["light"] != inks["dark"]


def test_a_chart_is_read_off_by_touch(page_as: Open) -> None:
    page = page_as("reader", "/lots/G1")
    settle(page)
    chart = page.locator("figure[data-chart] svg.marks").first
    chart.scroll_into_view_if_needed()
    box = chart.bounding_box()
    assert box is not None
    page.touchscreen.tap(box["x"] + box["width"] * 0.6, box["y"] + box["height"] * 0.5)
    expect(page.locator(".chart-word")).to_contain_text("middle")
    page.get_by_role("heading", level=1).tap()
    expect(page.locator(".chart-word")).to_be_hidden()


def test_the_question_is_answered_with_a_chance_without_leaving_the_page(page_as: Open) -> None:
    page = page_as("reader", "/ahead")
    page.get_by_label("How much").fill("1")
    page.get_by_role("button", name="Ask").tap()
    expect(page.locator("#promise .answer")).to_contain_text("chance")
    page.get_by_label("How much").fill("heaps")
    page.get_by_role("button", name="Ask").tap()
    expect(page.locator("#promise .fault")).to_contain_text("is not a number")


def test_typing_in_the_book_narrows_the_list(page_as: Open) -> None:
    page = page_as("reader", "/book", size="desk")
    page.get_by_label("Words, names, notes").press_sequentially("latch")
    expect(page.locator("#entries .story > li")).to_have_count(1)


def test_the_switch_turns_the_light_and_it_stays(page_as: Open) -> None:
    page = page_as("reader", "/me", theme="light")
    ground = "getComputedStyle(document.documentElement).backgroundColor"
    day = page.evaluate(ground)
    page.locator("label", has_text="dark").tap()
    page.get_by_role("button", name="Keep").tap()
    expect(page.locator("html")).to_have_attribute("data-theme", "dark")
    page.goto("/round")
    assert page.evaluate(ground) != day


def test_the_round_the_book_and_the_question_work_without_scripts(page_as: Open) -> None:
    page = page_as("hand", "/round", scripts=False)
    tick = page.locator("li.item button.tick").first
    words = tick.get_attribute("aria-label") or ""
    tick.tap()
    expect(page.get_by_role("button", name=words, exact=True)).to_have_count(0)
    page.get_by_role("button", name="Undo").tap()
    expect(page.get_by_role("button", name=words, exact=True)).to_have_count(1)
    page.goto("/book/add?deed=note")
    page.get_by_label("Note").fill("written without scripts")
    page.get_by_role("button", name="Write it").tap()
    expect(page.get_by_text("Written: Noted: written without scripts.")).to_be_visible()
    page.goto("/ahead")
    page.get_by_label("How much").fill("5")
    page.get_by_role("button", name="Ask").tap()
    expect(page.locator("#promise .answer")).to_contain_text("chance")
    page.locator("figure[data-chart] summary").first.tap()
    expect(page.locator("figure[data-chart] td").first).to_be_visible()


def test_a_new_farm_is_drawn_as_it_is_typed_and_founded(browser: Browser, bare_address: str) -> None:
    context = browser.new_context(base_url=bare_address, viewport={"width": 390, "height": 844})
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.goto("/")
    page.locator("#f-room_1").press_sequentially("loft")
    expect(page.locator(".drawn-bin")).to_have_count(12)
    page.locator("#f-levels_1").fill("2")
    expect(page.locator(".drawn-bin")).to_have_count(6)
    page.locator("#f-name").fill("High Loft")
    page.locator("#f-timezone").fill("Europe/Oslo")
    page.locator("#f-owner").fill("Ragna")
    page.locator("#f-password").fill("six-legs-two-ears")
    page.locator("#f-password_again").fill("six-legs-two-ears")
    page.get_by_role("button", name="Found the farm").click()
    page.wait_for_url("**/racks")
    expect(page.locator("a.tile")).to_have_count(6)
    assert complaints == []
    context.close()
