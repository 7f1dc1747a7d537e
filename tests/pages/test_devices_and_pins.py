"""Several people on one phone: who may come in by PIN, what a PIN opens, and ending a phone that is lost."""

from __future__ import annotations

import time

import pytest
from django.test import Client
from django.utils import translation

from builders import small_farm
from chirr.book.models import DevicePersonRow, DeviceRow, PinRow
from chirr.desk import devices, people
from chirr.desk.devices import WRONG_PINS
from chirr.pages import entering

pytestmark = pytest.mark.django_db
PHONE = "Mozilla/5.0 (Linux; Android 14; X) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/130.0 Mobile Safari/537.36"
PINS = {"Aoife": "8302", "Bram": "5917", "Chidi": "60241"}


@pytest.fixture
def farm_with_pins(farm: None) -> None:
    for person in (small_farm.OWNER, small_farm.HAND, small_farm.READER):
        people.set_password(person.person, small_farm.PASSWORD, actor=small_farm.OWNER)
        devices.set_pin(person, PINS[person.person], PINS[person.person])


@pytest.fixture
def phone(farm_with_pins: None) -> Client:
    """A phone on which Aoife and then Bram have signed in with their passwords."""
    client = Client(headers={"User-Agent": PHONE})
    sign_in(client, "Aoife")
    sign_in(client, "Bram")
    return client


def sign_in(client: Client, name: str) -> None:
    assert client.post("/sign-in", {"name": name, "password": small_farm.PASSWORD}).status_code == 302


def switch(client: Client, name: str, pin: str | None = None, **more: str):
    return client.post("/switch", {"person": name, "pin": PINS[name] if pin is None else pin, **more})


def who_is_in(client: Client) -> str | None:
    return client.get("/phone/now").json()["person"]


def test_one_form_switches_the_person_and_stays_on_the_page(phone: Client) -> None:
    assert who_is_in(phone) == "Bram"
    answer = switch(phone, "Aoife", next="/racks")
    assert (answer.status_code, answer["Location"]) == (302, "/racks")
    assert who_is_in(phone) == "Aoife"


def test_an_entry_after_the_switch_carries_the_new_person(phone: Client) -> None:
    from chirr.book import ledger

    switch(phone, "Aoife")
    phone.post("/round/do", {"key": "feed:W1-1"})
    phone.post("/book/add", {"deed": "clean", "bin": "W1-1", "at": "2027-03-31T09:00"})
    added = [e.person for e in ledger.entries("seq > 12")]
    assert added
    assert set(added) == {"Aoife"}


def test_the_session_is_a_new_one_after_the_switch(phone: Client) -> None:
    before = phone.cookies["sessionid"].value
    switch(phone, "Aoife")
    assert phone.cookies["sessionid"].value != before


def test_only_who_has_signed_in_here_with_the_password_is_offered(phone: Client) -> None:
    html = phone.get("/switch").content.decode()
    assert 'value="Aoife"' in html
    assert 'value="Bram"' not in html, "who is in already"
    assert 'value="Chidi"' not in html
    refused = switch(phone, "Chidi")
    assert refused.status_code == 422
    assert "can only come in with the password" in refused.content.decode()
    assert who_is_in(phone) == "Bram"


def test_a_pin_is_worth_nothing_on_another_device(phone: Client) -> None:
    elsewhere = Client()
    assert switch(elsewhere, "Bram")["Location"].startswith("/sign-in")
    elsewhere.cookies[entering.COOKIE] = "made-up"
    assert switch(elsewhere, "Bram")["Location"].startswith("/sign-in")
    assert elsewhere.get("/round")["Location"].startswith("/sign-in")


def test_a_wrong_pin_says_how_many_tries_are_left(phone: Client) -> None:
    answer = switch(phone, "Aoife", "1122")
    assert answer.status_code == 422
    assert "That is not the PIN of Aoife. 4 more tries." in answer.content.decode()
    assert who_is_in(phone) == "Bram"


def test_five_wrong_pins_shut_the_pin_on_this_device_until_the_password_is_given(phone: Client) -> None:
    for _ in range(WRONG_PINS):
        answer = switch(phone, "Aoife", "1122")
    assert "Wrong 5 times" in answer.content.decode()
    assert switch(phone, "Aoife").status_code == 422, "even the right one"
    assert who_is_in(phone) == "Bram"
    sign_in(phone, "Aoife")
    switch(phone, "Bram")
    assert switch(phone, "Aoife").status_code == 302


def test_the_right_pin_clears_the_count_and_others_have_their_own(phone: Client) -> None:
    for _ in range(WRONG_PINS - 1):
        switch(phone, "Aoife", "1122")
    assert switch(phone, "Bram").status_code == 302
    assert switch(phone, "Aoife").status_code == 302
    assert not DevicePersonRow.objects.exclude(wrong=0).exists()


def test_tries_at_the_same_moment_are_each_counted_before_they_are_looked_at(phone: Client) -> None:
    row = DeviceRow.objects.get()
    seen_at_check = []
    real = devices.check_password

    def slow(pin: str, kept: str) -> bool:
        seen_at_check.append(DevicePersonRow.objects.get(person_id="Aoife").wrong)
        return real(pin, kept)

    devices.check_password, keep = slow, devices.check_password
    try:
        for n in range(1, 4):
            with pytest.raises(devices.PinRefused):
                devices.come_in(row, "Aoife", "0000")
            assert seen_at_check[-1] == n
    finally:
        devices.check_password = keep


def test_an_owner_who_comes_in_by_pin_may_do_what_a_hand_may(phone: Client) -> None:
    switch(phone, "Aoife")
    assert phone.get("/book/add").status_code == 200
    for path in ("/farm/card", "/farm/people/Bram", "/farm/devices", "/book/export"):
        answer = phone.get(path)
        assert answer.status_code == 403
        assert "You came in by PIN" in answer.content.decode()
    assert "9,173.61" not in phone.get("/farm").content.decode()
    assert phone.post("/farm/people/Bram", {"role": "owner"}).status_code == 403
    assert people.get("Bram").role == "hand"


def test_the_password_opens_the_rest_again(phone: Client) -> None:
    switch(phone, "Aoife")
    assert phone.get("/sign-in?again=1").status_code == 200
    sign_in(phone, "Aoife")
    assert phone.get("/farm/card").status_code == 200


def test_a_new_password_ends_the_pin_everywhere_until_the_next_sign_in(phone: Client) -> None:
    people.set_password("Aoife", "other-wings-44", actor=small_farm.OWNER)
    assert switch(phone, "Aoife").status_code == 422


def test_ones_own_new_password_keeps_the_pin_on_the_device_where_it_was_changed(phone: Client) -> None:
    new = "new-wings-88"
    phone.post("/me", {"old": small_farm.PASSWORD, "password": new, "password_again": new})
    switch(phone, "Aoife")
    assert switch(phone, "Bram").status_code == 302


def test_somebody_whose_sign_in_was_taken_away_cannot_come_in_by_pin(phone: Client) -> None:
    people.end_sign_in("Bram", actor=small_farm.OWNER)
    assert switch(phone, "Bram").status_code in (302, 422)
    assert who_is_in(phone) is None


@pytest.mark.parametrize("pin", ["123", "123456789", "12a4", "٣٤٥٦", "", "1111", "3456", "9876"])
def test_a_pin_that_will_not_do_is_refused_in_words(phone: Client, pin: str) -> None:
    before = PinRow.objects.get(person_id="Bram").pin
    answer = phone.post("/me/pin", {"pin": pin, "pin_again": pin, "pin_password": small_farm.PASSWORD})
    assert answer.status_code == 422
    assert PinRow.objects.get(person_id="Bram").pin == before


def test_setting_a_pin_needs_the_password_so_that_no_passer_by_sets_one(phone: Client) -> None:
    wrong = phone.post("/me/pin", {"pin": "7350", "pin_again": "7350", "pin_password": "guess"})
    assert "This is not your present password" in wrong.content.decode()
    good = phone.post("/me/pin", {"pin": "7350", "pin_again": "7350", "pin_password": small_farm.PASSWORD})
    assert good.status_code == 302
    switch(phone, "Aoife")
    assert switch(phone, "Bram", "7350").status_code == 302


@pytest.mark.parametrize(
    ("path", "form"),
    [("/me/pin", {"pin": "7350", "pin_again": "7350", "pin_password": ""}),
     ("/me", {"old": "", "password": "new-wings-88", "password_again": "new-wings-88"})],
)  # fmt: skip
def test_on_a_phone_that_is_signed_in_nobody_can_guess_the_password(
    phone: Client, path: str, form: dict[str, str]
) -> None:
    field = "pin_password" if "pin" in form else "old"
    for _ in range(people.TRIES):
        assert "not your present password" in phone.post(path, form | {field: "guess"}).content.decode()
    answer = phone.post(path, form | {field: small_farm.PASSWORD})
    assert answer.status_code == 422
    assert "Wait 15 minutes" in answer.content.decode()


def test_a_pin_is_kept_neither_as_it_is_nor_in_a_form_that_the_book_alone_gives_away(phone: Client) -> None:
    from django.contrib.auth.hashers import check_password

    for row in PinRow.objects.all():
        assert PINS[row.person_id] not in row.pin
        assert not check_password(PINS[row.person_id], row.pin), "without the key beside the book it fits nothing"


def test_a_token_is_kept_only_as_its_hash(phone: Client) -> None:
    token = phone.cookies[entering.COOKIE].value
    assert token not in str(list(DeviceRow.objects.values_list()))
    assert phone.cookies[entering.COOKIE]["httponly"]
    assert phone.cookies[entering.COOKIE]["samesite"] == "Lax"


def test_the_owner_sees_each_device_with_its_last_contact_and_who_may_come_in(phone: Client) -> None:
    sign_in(phone, "Aoife")
    for _ in range(WRONG_PINS):
        switch(phone, "Bram", "0000")
    [shown] = devices.everything(actor=small_farm.OWNER)
    assert (shown.name, shown.last_person) == ("Android phone, Chrome", "Aoife")
    assert abs(shown.last_at - time.time()) < 60
    assert (shown.people, shown.shut) == (("Aoife",), ("Bram",))
    html = phone.get("/farm/devices").content.decode()
    assert "Android phone, Chrome" in html
    assert "this one" in html


def test_a_lost_phone_is_ended_at_once_for_everybody_on_it(phone: Client) -> None:
    office = Client()
    sign_in(office, "Aoife")
    lost = DeviceRow.objects.exclude(id=office.session["device"]).get()
    office.post("/farm/devices", {"device": lost.id, "do": "end"})
    assert phone.get("/round")["Location"].startswith("/sign-in")
    assert switch(phone, "Bram")["Location"].startswith("/sign-in")
    assert phone.post("/phone/entries", b"{}", content_type="application/json").status_code != 200
    assert office.get("/round").status_code == 200
    sign_in(phone, "Bram")
    assert DeviceRow.objects.filter(ended_at=None).count() == 2, "the password makes it a new device"


def test_a_busy_book_keeps_nobody_waiting_for_the_last_contact(phone: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    from django.db import OperationalError, connection
    from django.db.models import QuerySet

    def busy(*_: object, **__: object) -> int:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA busy_timeout")
            assert cursor.fetchone() == (0,), "it does not wait at all"
        raise OperationalError("database is locked")

    row = DeviceRow.objects.get()
    monkeypatch.setattr(QuerySet, "update", busy)
    devices.seen(row, "Bram", row.last_at + 3600)
    monkeypatch.undo()
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA busy_timeout")
        assert cursor.fetchone()[0] > 0, "and the next writer is as patient as before"
    devices.seen(row, "Bram", row.last_at + 3600)
    assert DeviceRow.objects.get().last_at == row.last_at + 3600


def test_a_device_gets_a_name_that_people_know_it_by(phone: Client) -> None:
    sign_in(phone, "Aoife")
    device = DeviceRow.objects.get()
    phone.post("/farm/devices", {"device": device.id, "do": "name", "name": "  Phone of the  hatch room "})
    assert DeviceRow.objects.get().name == "Phone of the hatch room"
    assert phone.post("/farm/devices", {"device": device.id, "do": "name", "name": "x" * 61}).status_code == 422
    assert phone.post("/farm/devices", {"device": "none", "do": "end"}).status_code == 404


def test_a_devices_first_name_is_told_in_the_language_of_the_reader_and_a_given_one_as_it_was_given(
    phone: Client,
) -> None:
    with translation.override("es"):
        (shown,) = devices.everything(actor=small_farm.OWNER)
        assert shown.name == "teléfono Android, Chrome"
    (kept,) = devices.everything(actor=small_farm.OWNER)
    assert kept.name == "Android phone, Chrome"
    devices.rename(kept.id, "Android phone of the barn", actor=small_farm.OWNER)
    with translation.override("es"):
        assert devices.everything(actor=small_farm.OWNER)[0].name == "Android phone of the barn"


def test_signing_out_leaves_the_pin_for_the_next_person(phone: Client) -> None:
    phone.post("/sign-out")
    assert "Come in by PIN" in phone.get("/sign-in").content.decode()
    assert switch(phone, "Bram").status_code == 302
    assert who_is_in(phone) == "Bram"


def test_no_switch_leads_to_a_foreign_page(phone: Client) -> None:
    assert switch(phone, "Aoife", next="https://elsewhere.example/")["Location"] == "/round"
