"""A day in Spanish, in a real browser: signing in, the round, the racks, a bin, a form with a fault, and the charts."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Browser, expect

from browser.conftest import SIZES
from builders import small_farm

pytestmark = pytest.mark.browser


def test_a_hand_signs_in_changes_the_language_and_works(browser: Browser, address: str) -> None:
    context = browser.new_context(base_url=address, viewport=SIZES["phone"], has_touch=True)  # type: ignore[arg-type]
    page = context.new_page()
    complaints: list[str] = []
    page.on("pageerror", lambda fault: complaints.append(str(fault)))
    page.goto("/sign-in")
    page.get_by_label("Español (1,5)").check()
    page.get_by_role("button", name="Use this language").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Entrar")
    page.get_by_label("Nombre").fill(small_farm.HAND.person)
    page.get_by_label("Contraseña").fill(small_farm.PASSWORD)
    page.get_by_role("button", name="Entrar", exact=True).tap()
    page.wait_for_url("**/round")
    expect(page.locator("html")).to_have_attribute("lang", "es")
    expect(page.get_by_role("heading", level=1)).to_have_text("La ronda de hoy")
    expect(page.locator(".clock-face")).to_have_text("reloj parado")
    places = page.get_by_role("navigation", name="Lugares").get_by_role("link").all_inner_texts()
    assert places == ["Ronda", "Estantes", "Futuro", "Bandejas", "Libro", "Granja"]

    page.get_by_role("link", name="Estantes").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Estantes")
    page.locator("a.tile", has_text="W1-1").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text(re.compile("Caja W1-1"))
    expect(page.locator("figure[data-chart] svg.marks").first).to_be_visible(timeout=20_000)
    months = "ene|feb|mar|abr|may|jun|jul|ago|sep|oct|nov|dic"
    expect(page.locator("figure[data-chart] svg").first).to_contain_text(re.compile(rf"\d+ (?:{months})"))

    page.goto("/book/add?deed=feed&bin=W1-1")
    page.locator("#f-quantity").fill("1.500")
    page.locator("#f-unit").select_option("kg")
    page.evaluate("document.querySelector('main form.form').submit()")
    expect(page.locator("#e-quantity")).to_have_text("1.500 se puede leer de dos maneras. Escriba 1500 o 1,5.")
    expect(page.locator("#f-quantity")).to_be_focused()
    page.locator("#f-quantity").fill("1,5")
    with page.expect_navigation():
        page.evaluate("document.querySelector('main form.form').submit()")
    page.goto("/bins/W1-1")
    expect(page.get_by_text("Alimentada la caja W1-1: 1,5 kg.").first).to_be_visible()
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0
    assert complaints == []
    context.close()
