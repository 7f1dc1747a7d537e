"""The round and the forms by keys alone, in the order in which a screen reader meets them; sizes of what is touched."""

from __future__ import annotations

import itertools
import re

import pytest
from playwright.sync_api import Page, expect

from browser.conftest import Open
from browser.test_accessible import nothing_found

pytestmark = pytest.mark.browser

FOCUS = """() => {
    const e = document.activeElement;
    if (!e || e === document.body) return null;
    const style = getComputedStyle(e), box = e.getBoundingClientRect();
    return {
        name: (e.getAttribute("aria-label") || e.textContent || e.name || "").trim().replace(/\\s+/g, " "),
        tag: e.tagName, seen: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2,
        inside: box.bottom > 0 && box.top < innerHeight, at: e.compareDocumentPosition(document.body),
    };
}"""


def tab_to(page: Page, name: str, most: int = 120) -> dict[str, object]:
    """Press Tab until the focus is on what is named so."""
    for _ in range(most):
        page.keyboard.press("Tab")
        at = page.evaluate(FOCUS)
        if at and re.search(name, str(at["name"])):
            return dict(at)
    raise AssertionError(f"Tab never came to {name!r}")


def test_the_first_key_leads_past_the_head_of_the_page(page_as: Open) -> None:
    page = page_as("hand", "/round", size="desk")
    page.keyboard.press("Tab")
    assert page.evaluate(FOCUS)["name"] == "To the page"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.querySelector('main').contains(document.activeElement)")


def test_the_focus_is_seen_wherever_it_goes_and_goes_in_the_order_of_the_page(page_as: Open) -> None:
    page = page_as("hand", "/round", size="desk")
    page.emulate_media(reduced_motion="reduce")  # else the page glides to where the focus is
    order = []
    for _ in range(200):
        page.keyboard.press("Tab")
        at = page.evaluate(FOCUS)
        if at is None:
            break
        assert at["seen"], f"no outline on {at}"
        assert at["inside"], f"out of sight: {at}"
        index = page.evaluate("[...document.querySelectorAll('*')].indexOf(document.activeElement)")
        order.append(index)
        if len(order) > 1 and order[-1] <= order[0]:
            break
    else:
        raise AssertionError("the focus never came round")
    assert len(order) > 10
    assert order[:-1] == sorted(order[:-1])


def test_nothing_moves_for_who_wants_less_motion(page_as: Open) -> None:
    page = page_as("hand", "/round")
    page.emulate_media(reduced_motion="reduce")
    page.locator("button.tick:visible").first.tap()
    expect(page.locator("#undo")).to_be_visible()
    assert page.evaluate("document.getAnimations().length") == 0
    page.locator("#undo button").tap()


def test_the_whole_round_is_done_by_keys_and_each_thing_is_said(page_as: Open) -> None:
    page = page_as("hand", "/round", size="desk")
    ticks = page.locator("li.item:not(.done) button.tick:visible")
    expect(ticks).not_to_have_count(0)
    tab_to(page, "^Done: ")
    for _ in range(20):
        item = page.evaluate("document.activeElement.closest('li.item').id")
        page.keyboard.press("Enter")
        expect(page.locator(f"[id='{item}']:not(.done) button.tick:visible")).to_have_count(0)
        expect(page.locator("#spoken")).to_contain_text("Written")
        assert page.evaluate(FOCUS) is not None, f"the focus was lost after {item}, {ticks.count()} left"
        if ticks.count() == 0:
            break
        if not str(page.evaluate(FOCUS)["name"]).startswith("Done: "):
            tab_to(page, "^Done: ")
    else:
        raise AssertionError("something was left that no key came to")
    nothing_found(page)
    page.keyboard.press("Control+z")
    expect(page.locator("#undo")).to_have_count(0)
    expect(ticks).not_to_have_count(0)


def test_a_form_is_filled_and_sent_by_keys(page_as: Open) -> None:
    page = page_as("hand", "/book/add?deed=note&bin=E1-2", size="desk")
    tab_to(page, "^note$")
    page.keyboard.type("hinge oiled")
    tab_to(page, "^Write it$")
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "/book/add" not in url)
    expect(page.locator("#spoken")).to_contain_text("Written")


def test_a_screen_reader_meets_one_heading_of_the_first_rank_and_steps_down_by_one(page_as: Open) -> None:
    for path in ("/round", "/racks", "/bins/W1-1", "/ahead", "/book", "/book/add?deed=feed", "/farm"):
        page = page_as("owner", path)
        ranks = page.evaluate(
            "[...document.querySelectorAll('h1,h2,h3,h4,h5,h6')].filter(e => e.checkVisibility())"
            ".map(e => +e.tagName[1])"
        )
        assert ranks[0] == 1, path
        assert ranks.count(1) == 1, path
        assert all(b - a <= 1 for a, b in itertools.pairwise(ranks)), (path, ranks)
        marks = page.evaluate("['header', 'nav', 'main'].map(m => document.querySelectorAll(`body > ${m}`).length)")
        assert marks == [1, 1, 1], path
        assert page.evaluate("document.documentElement.lang") == "en-gb"


FIELDS = ":is(button, .button, summary, select, input, textarea, .tile)"
TOUCHED = f"main {FIELDS}, nav.places a, .pick label, .head .who, #contact"
SIZES = """(wanted) => [...document.querySelectorAll(wanted)]
    .filter(e => e.checkVisibility({ visibilityProperty: true })
        && !["hidden", "checkbox", "radio", "file"].includes(e.type) && !e.closest(".unseen"))
    .map(e => { const b = e.getBoundingClientRect();
        return [(e.textContent || e.name).trim().slice(0, 40), b.left, b.top + scrollY, b.width, b.height,
            e.closest("nav.places, header.head") !== null]; })
    .filter(([, , , width, height]) => width && height)"""


@pytest.mark.parametrize("path", ["/round", "/bins/W1-1", "/racks", "/book/add?deed=feed&bin=W1-1", "/me"])
def test_what_is_touched_is_at_least_48_px_and_8_px_from_the_next(page_as: Open, path: str) -> None:
    page = page_as("hand", path)
    boxes = page.evaluate(SIZES, TOUCHED)
    assert len(boxes) > 5
    small = [b for b in boxes if b[4] < 47.9 or b[3] < 47.9]
    assert small == []
    near = []
    for i, (name, x, y, w, h, layer) in enumerate(boxes):
        for other, x2, y2, w2, h2, layer2 in boxes[i + 1 :]:
            apart = max(x2 - (x + w), x - (x2 + w2), y2 - (y + h), y - (y2 + h2))
            if apart < 7.9 and layer == layer2:
                near.append((name, other, round(apart, 1)))
    assert near == []
