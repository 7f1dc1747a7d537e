"""Signing in, and what slows down guessing."""

from __future__ import annotations

import time

import pytest
from django.test import Client

from builders import small_farm
from chirr.book.models import SignInTry
from chirr.desk import people
from pages.conftest import Who

pytestmark = pytest.mark.django_db


@pytest.fixture
def signs_in(farm: None) -> None:
    people.set_password("Bram", small_farm.PASSWORD, actor=small_farm.OWNER)


def send(name: str, password: str, client: Client | None = None, **more: str):
    return (client or Client()).post("/sign-in", {"name": name, "password": password}, **more)


def test_the_right_password_leads_to_the_round(signs_in: None) -> None:
    answer = send("Bram", small_farm.PASSWORD)
    assert (answer.status_code, answer["Location"]) == (302, "/round")


def test_a_phone_that_writes_a_small_first_letter_is_let_in(signs_in: None) -> None:
    assert send("bram", small_farm.PASSWORD).status_code == 302


def test_a_wrong_password_gets_one_plain_sentence(signs_in: None) -> None:
    answer = send("Bram", "not this")
    assert answer.status_code == 422
    assert "Name and password do not belong together" in answer.content.decode()


def test_after_five_failures_even_the_right_password_must_wait(signs_in: None) -> None:
    for _ in range(5):
        assert send("Bram", "guess").status_code == 422
    answer = send("Bram", small_farm.PASSWORD)
    assert answer.status_code == 429
    assert "Wait 15 minutes" in answer.content.decode()


def test_failures_elsewhere_or_for_another_name_do_not_lock_out(signs_in: None) -> None:
    for _ in range(5):
        send("Bram", "guess", REMOTE_ADDR="203.0.113.9")
        send("Chidi", "guess")
    assert send("Bram", small_farm.PASSWORD).status_code == 302


def test_one_address_that_tries_many_names_must_wait_too(signs_in: None) -> None:
    for i in range(people.TRIES_FROM_ONE_ADDRESS):
        send(f"name{i}", "guess")
    assert send("Bram", small_farm.PASSWORD).status_code == 429


def test_a_quarter_of_an_hour_later_the_failures_are_forgotten(signs_in: None) -> None:
    old = int(time.time()) - people.TRY_WINDOW_S - 1
    SignInTry.objects.bulk_create([SignInTry(at=old, name="bram", address="127.0.0.1") for _ in range(9)])
    assert send("Bram", small_farm.PASSWORD).status_code == 302
    assert not SignInTry.objects.exists()


def test_signing_in_never_leads_to_a_foreign_page(signs_in: None) -> None:
    for where in ("https://elsewhere.example/", "//elsewhere.example", "javascript:alert(1)", "/\\elsewhere.example"):
        answer = Client().post("/sign-in", {"name": "Bram", "password": small_farm.PASSWORD, "next": where})
        assert answer["Location"] == "/round"


def test_a_form_from_elsewhere_without_our_token_is_refused(signs_in: None) -> None:
    client = Client(enforce_csrf_checks=True)
    assert send("Bram", small_farm.PASSWORD, client).status_code == 403
    client.get("/sign-in")
    token = client.cookies["csrftoken"].value
    answer = client.post("/sign-in", {"name": "Bram", "password": small_farm.PASSWORD, "csrfmiddlewaretoken": token})
    assert answer.status_code == 302


def test_the_session_cookie_is_kept_from_scripts_and_other_sites(signs_in: None) -> None:
    cookie = send("Bram", small_farm.PASSWORD).cookies["sessionid"]
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"


def test_a_person_changes_their_own_password_and_stays_signed_in(signs_in: None) -> None:
    client = Client()
    send("Bram", small_farm.PASSWORD, client)
    wrong = client.post("/me", {"old": "no", "password": "new-wings-88", "password_again": "new-wings-88"})
    assert "This is not your present password" in wrong.content.decode()
    weak = client.post("/me", {"old": small_farm.PASSWORD, "password": "short", "password_again": "short"})
    assert weak.status_code == 422
    client.post("/me", {"old": small_farm.PASSWORD, "password": "new-wings-88", "password_again": "new-wings-88"})
    assert client.get("/round").status_code == 200
    assert send("Bram", "new-wings-88").status_code == 302


def test_the_owner_gives_a_password_and_takes_the_sign_in_away(who: Who) -> None:
    owner = who("owner")
    owner.post("/farm/people/", {"person": "Dora", "role": "hand", "password": "legs-and-wings"})
    assert send("Dora", "legs-and-wings").status_code == 302
    owner.post("/farm/people/Dora", {"do": "end"})
    assert send("Dora", "legs-and-wings").status_code == 422


def test_the_last_owner_stays_an_owner(who: Who) -> None:
    answer = who("owner").post("/farm/people/Aoife", {"role": "hand"})
    assert answer.status_code == 422
    assert "only owner" in answer.content.decode()


def test_theme_and_units_are_kept_on_the_device(who: Who) -> None:
    client = who("reader")
    client.post("/look", {"theme": "dark", "units": "imperial"})
    html = client.get("/racks").content.decode()
    assert 'data-theme="dark"' in html
    assert "86.0 °F" in html  # 30 degrees Celsius: the east room's set point
    client.post("/look", {"theme": "pink"})
    assert 'data-theme="dark"' in client.get("/racks").content.decode()
