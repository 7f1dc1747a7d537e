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
    svg.evaluate(
        """(svg, [x, y]) => {
            const frame = svg.parentElement;
            const [left, top] = [x / 600 * svg.clientWidth - 150, y / 400 * svg.clientHeight - 150];
            frame.scrollTo({left, top, behavior: "instant"});
            frame.scrollIntoView({block: "center", behavior: "instant"});
        }""",
        [x, y],
    )
    box = svg.bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] * x / 600, box["y"] + box["height"] * y / 400)


def test_a_photograph_becomes_a_count_in_the_book(page_as: Open) -> None:
    page = page_as("hand", "/count?clutch=C2")
    page.set_viewport_size(SIZES["phone"])  # type: ignore[arg-type]
    page.locator("#f-photo").set_input_files({"name": "wall.jpg", "mimeType": "image/jpeg", "buffer": wall_jpeg()})
    page.get_by_role("button", name="Count", exact=True).click()
    expect(page.locator("svg.marks image")).to_be_visible()
    found = count_shown(page)
    assert found == page.locator("svg.marks .counted").count()
    faults = Axe().run(page, options={"resultTypes": ["violations"]})
    assert faults.violations_count == 0, faults.generate_report()

    page.locator("svg.marks .counted").first.dispatch_event("click", {"clientX": 1, "clientY": 1})
    tap(page, 4, 4)
    tap(page, 596, 396)
    assert count_shown(page) == found - 1 + 2
    page.get_by_role("button", name="Tap its two ends").click()
    tap(page, 5, 200)
    tap(page, 595, 200)
    expect(page.locator("svg.marks line")).to_have_count(1)
    page.locator("#f-side_cm").fill("6")
    page.get_by_role("button", name="Write this count").click()

    page.wait_for_url(re.compile("/book/add"))
    assert f"{found + 1} eggs on photograph" in page.locator("#f-note").input_value()
    # this tray has no clear side, so nothing is known of the whole tray: its number is the person's to fill in
    assert page.locator("#f-quantity").input_value() == ""
    page.locator("#f-quantity").fill("4000")
    page.locator("#main").get_by_role("button", name="Write it").click()
    page.wait_for_url(re.compile(r"/(round|book)(\?.*)?$"))
    page.goto(re.sub(r"(https?://[^/]+).*", r"\1/book?clutch=C2&deed=count", page.url))
    expect(page.locator("main")).to_contain_text("eggs on photograph")


def test_a_sample_is_worked_out_while_it_is_typed_and_stands_in_the_book(page_as: Open) -> None:
    page = page_as("hand", "/count/sample?lot=G1")
    page.set_viewport_size(SIZES["phone"])  # type: ignore[arg-type]
    answer = page.locator("#answer")
    expect(answer).to_contain_text("Nothing is written")
    page.locator("#f-gross_g").fill("2600")
    page.locator("#f-tare_g").fill("400")
    for number, (count, mass) in enumerate([("60", "21.5"), ("52", "19")], start=1):
        page.locator(f"#f-count_{number}").fill(count)
        page.locator(f"#f-mass_{number}").fill(mass)
    expect(answer).to_contain_text("About 6,084")  # 2200 g of 112 crickets in 40.5 g
    page.locator("h1").click()  # the number pad goes away
    page.get_by_role("link", name="Write this into the book").click()
    quantity = page.locator("#f-quantity")  # on a phone the entry's form slides in over the page
    expect(quantity).to_have_value(re.compile("6,?084"))
    page.get_by_role("button", name="Write it").last.click()
    expect(quantity).to_be_hidden()
    page.wait_for_timeout(1500)
    page.goto(re.sub(r"(https?://[^/]+).*", r"\1/book?lot=G1&deed=count", page.url))
    expect(page.locator("main")).to_contain_text("Weighed, 2 samples")


def test_a_sample_is_worked_out_without_scripts_too(page_as: Open) -> None:
    page = page_as("hand", "/count/sample?lot=G1&way=cup&count_1=112&count_2=108&count_3=120&filled=9", scripts=False)
    expect(page.locator("#answer")).to_contain_text("About 1,020")
    seen = page_as("hand", page.url)
    found = Axe().run(seen, options={"resultTypes": ["violations"]})
    assert found.violations_count == 0, found.generate_report()
    page.get_by_role("link", name="Dead").click()
    expect(page.locator("#f-looked_at")).to_be_visible()
