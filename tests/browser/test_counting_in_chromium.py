"""A photograph through the pages: taken, marks corrected by tapping, two wall ends tapped, the count in the book."""

from __future__ import annotations

import io
import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import Page, expect

from browser.conftest import SIZES, Open
from pictures.eggs import Scene, draw

pytestmark = pytest.mark.browser


def wall_jpeg() -> bytes:
    """A drawn wall with eggs in its middle, so that its corners are bare."""
    wall = draw(Scene(eggs=30, height_px=400, width_px=600, perlite=0, fibres=0, glare=0, drops=0, scratches=0), 5)
    file = io.BytesIO()
    Image.fromarray(wall.picture).save(file, "JPEG", quality=92)
    return file.getvalue()


def count_shown(page: Page) -> int:
    return int(page.locator("[data-count]").inner_text())


def tap(page: Page, x: float, y: float) -> None:
    """Tap a place of the picture, given in its own pixels."""
    svg = page.locator("svg.marks")
    box = svg.bounding_box()
    assert box is not None
    svg.click(position={"x": box["width"] * x / 600, "y": box["height"] * y / 400}, force=True)


def test_a_photograph_becomes_a_count_in_the_book(page_as: Open) -> None:
    page = page_as("hand", "/count?clutch=C2")
    page.set_viewport_size(SIZES["phone"])  # type: ignore[arg-type]
    page.locator("#f-photo").set_input_files({"name": "wall.jpg", "mimeType": "image/jpeg", "buffer": wall_jpeg()})
    page.get_by_role("button", name="Count", exact=True).click()
    expect(page.locator("svg.marks image")).to_be_visible()
    found = count_shown(page)
    assert found == page.locator("svg.marks .counted").count()
    assert Axe().run(page, options={"resultTypes": ["violations"]}).violations_count == 0

    page.locator("svg.marks .counted").first.dispatch_event("click", {"clientX": 1, "clientY": 1})
    tap(page, 3, 3)
    tap(page, 597, 397)
    assert count_shown(page) == found - 1 + 2
    page.get_by_role("button", name="Tap its two ends").click()
    tap(page, 5, 200)
    tap(page, 595, 200)
    expect(page.locator("svg.marks line")).to_have_count(1)
    page.locator("#f-side_cm").fill("6")
    page.get_by_role("button", name="Write this count").click()

    page.wait_for_url(re.compile("/book/add"))
    assert f"{found + 1} eggs on photograph" in page.locator("#f-note").input_value()
    page.get_by_role("button", name="Write it").click()
    page.goto(re.sub(r"(https?://[^/]+).*", r"\1/book?clutch=C2&deed=count", page.url))
    expect(page.locator("main")).to_contain_text("eggs on photograph")
