"""Which files the pages ask for, read from the files themselves."""

from __future__ import annotations

import pytest
from django.test import Client

from chirr.pages import assets


def test_a_page_names_a_script_with_all_that_it_imports_and_nothing_that_can_wait() -> None:
    at_once = assets.with_imports("chirr/js/phone.js")
    assert at_once[0] == "chirr/js/phone.js"
    assert {"chirr/js/phone/taps.js", "chirr/js/phone/outbox.js", "chirr/js/phone/store.js"} <= set(at_once)
    assert not {"chirr/js/phone/rest.js", "chirr/js/phone/deeds.js", "chirr/js/phone/sender.js"} & set(at_once)
    assert len(at_once) == len(set(at_once))


def test_every_script_that_is_imported_is_there_and_kept_on_phones() -> None:
    kept = set(assets.kept_on_phones())
    for script in (p for p in kept if p.startswith("chirr/js/")):
        assert set(assets.with_imports(script)) <= kept


@pytest.mark.django_db
@pytest.mark.usefixtures("farm")
def test_the_head_of_a_page_links_the_scripts_before_it_asks_for_them(client: Client) -> None:
    html = client.get("/sign-in").content.decode()
    assert html.index('rel="modulepreload"') < html.index('type="module"')
    assert html.count('rel="modulepreload"') == len(assets.with_imports("chirr/js/phone.js"))
