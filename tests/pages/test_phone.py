"""The phone's doors: who may ask for what, what is kept on a phone, and how entries go up."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from django.test import Client
from uuid_utils.compat import uuid7

import chirr.pages
from builders import small_farm
from chirr.book import ledger
from chirr.desk import clock, walk_sheet
from chirr.pages import assets, phone_words
from chirr.pages.views import phone
from pages.conftest import Who

HERE = Path(chirr.pages.__file__).parent
SCRIPTS = HERE / "static/chirr/js"


@pytest.fixture(autouse=True)
def _on_the_day_of_the_farm(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(phone, "wall", lambda: small_farm.NOW)


def a_sending(*values: dict[str, str], person: str = "Bram") -> dict[str, object]:
    now = small_farm.NOW
    entries = [{"id": str(uuid7()), "at": now - 60, "person": person, "values": v, "since": 0} for v in values]
    return {"now": now, "entries": entries}


def post(client: Client, sending: object) -> object:
    return client.post("/phone/entries", sending, content_type="application/json")


def test_the_worker_and_the_manifest_are_there_for_everybody(who: Who) -> None:
    client = who("outsider")
    script = client.get("/worker.js")
    assert script["Content-Type"] == "text/javascript"
    told = json.loads(re.search(r"serve\((\{.*\})\);", script.content.decode()).group(1))  # type: ignore[union-attr]
    assert told["version"].startswith(assets.version())
    assert client.get("/app.webmanifest").json()["start_url"] == "/round"


def test_every_file_the_worker_keeps_is_served_and_may_be_kept_for_ever(who: Who) -> None:
    client = who("outsider")
    told = json.loads(re.search(r"serve\((\{.*\})\);", client.get("/worker.js").content.decode()).group(1))  # type: ignore[union-attr]
    assert any(f.endswith("/js/worker.js") for f in told["files"])
    for file in told["files"]:
        answer = client.get(file)
        assert answer.status_code == 200, file
        assert "immutable" in answer["Cache-Control"]
        answer.close()


def test_the_shell_names_nobody(who: Who) -> None:
    html = who("outsider").get("/phone/shell").content.decode()
    assert "data-person" not in html
    assert 'id="phone"' in html


def test_the_shell_is_in_the_language_that_the_device_chose_though_it_comes_without_its_cookies(who: Who) -> None:
    script = who("outsider").get("/worker.js?language=es", headers={"Accept-Language": "en"}).content.decode()
    told = json.loads(re.search(r"serve\((\{.*\})\);", script).group(1))  # type: ignore[union-attr]
    bare = who("outsider").get(told["shell"], headers={"Accept-Language": "en"}).content.decode()
    assert '<html lang="es"' in bare
    assert "Estantes" in bare
    assert '<html lang="en-gb"' in who("outsider").get("/phone/shell?language=xx").content.decode()


def test_a_phone_learns_who_is_signed_in_and_gets_a_token_only_then(who: Who) -> None:
    assert who("outsider").get("/phone/now").json()["person"] is None
    assert who("outsider").get("/phone/now").json()["csrf"] is None
    told = who("hand").get("/phone/now").json()
    assert (told["person"], told["role"]) == ("Bram", "hand")
    assert told["now"] == small_farm.NOW


def test_a_phone_learns_whether_the_book_still_has_what_it_took_last(who: Who) -> None:
    hand, first = who("hand"), small_farm.entries()[0].id
    sent = hand.post("/phone/entries", a_sending({"deed": "feed", "bin": "E1-1"}), content_type="application/json")
    (answer,) = sent.json()["answers"]
    assert answer["got"] == "taken"
    told = hand.get(f"/phone/now?last={answer['id']}").json()
    assert (told["book"], told["has"]) == (first, True)
    assert hand.get(f"/phone/now?last={uuid7()}").json()["has"] is False
    assert hand.get("/phone/now").json()["has"] is None
    assert "has" not in who("outsider").get(f"/phone/now?last={answer['id']}").json(), (
        "tells nobody what is in the book"
    )


def test_the_pocket_holds_the_round_the_racks_and_every_form(who: Who) -> None:
    told = who("hand").get("/phone/pocket").json()
    assert told["person"] == "Bram"
    assert {"E1-1", "W1-1", "W2-1"} <= told["bins"].keys()
    assert any(i["how"] == "tap" and i["fill"]["deed"] for s in told["stops"] for i in s["items"])
    assert told["lots"]["G1"]["bin"] == "W1-1"
    assert {f["name"] for f in told["deeds"]["deaths"]["ways"][0]["needed"]} >= {"lot", "quantity"}
    assert "correct" not in told["deeds"]


def test_the_pocket_tells_no_money_and_is_not_sent_twice(who: Who) -> None:
    client = who("owner")
    first = client.get("/phone/pocket")
    assert str(small_farm.folder().farm.wage_per_hour) not in first.content.decode()
    assert client.get("/phone/pocket", headers={"If-None-Match": first["ETag"]}).status_code == 304
    assert client.get("/phone/pocket", headers={"If-None-Match": first["ETag"]}).content == b""


def test_what_a_tap_writes_on_the_phone_is_what_it_writes_on_the_server(
    who: Who, monkeypatch: pytest.MonkeyPatch
) -> None:
    from chirr.desk import clock
    from chirr.desk import round as desk

    told = who("hand").get("/phone/pocket").json()
    items = {i["key"]: i["fill"] for s in told["stops"] for i in s["items"] if i["how"] in ("tap", "look")}
    assert items
    by_key = {i.key: i for s in desk.round_sheet().stops for i in s.items}
    taken = [key for key in by_key if key in items]
    written = desk.entries_for(taken, day=clock.today(), at=clock.now(), person="Bram")
    from chirr.desk.forms import entry_from_form

    for key, entry in zip(taken, written, strict=True):
        read = entry_from_form(items[key], actor=small_farm.HAND, now=clock.now())
        assert {**_columns(read)} == _columns(entry)


def _columns(entry: object) -> dict[str, object]:
    import msgspec

    return {k: v for k, v in msgspec.to_builtins(entry).items() if k not in ("id", "minutes")}


def test_entries_go_up_once(who: Who) -> None:
    client, sending = who("hand"), a_sending({"deed": "feed", "bin": "E1-1"}, {"deed": "water", "bin": "E1-1"})
    before = ledger.how_many("1")
    assert [a["got"] for a in post(client, sending).json()["answers"]] == ["taken", "taken"]  # type: ignore[attr-defined]
    assert [a["got"] for a in post(client, sending).json()["answers"]] == ["there", "there"]  # type: ignore[attr-defined]
    assert ledger.how_many("1") == before + 2


def test_a_sending_needs_the_token_of_its_own_page(who: Who) -> None:
    who("hand")
    client = Client(enforce_csrf_checks=True)
    from django.contrib.auth import get_user_model

    client.force_login(get_user_model().objects.get(username="Bram"))
    sending = json.dumps(a_sending({"deed": "feed", "bin": "E1-1"}))
    assert client.post("/phone/entries", sending, content_type="application/json").status_code == 403
    token = client.get("/phone/now").json()["csrf"]
    answer = client.post("/phone/entries", sending, content_type="application/json", headers={"X-CSRFToken": token})
    assert answer.status_code == 200


@pytest.mark.parametrize(
    "body", ["", "{", "[]", '{"now": 1}', '{"now": "x", "entries": []}', '{"now":1,"entries":[{}]}']
)
def test_what_cannot_be_read_is_answered_in_a_sentence(who: Who, body: str) -> None:
    answer = post(who("hand"), body)
    assert answer.status_code == 422, body  # type: ignore[attr-defined]
    assert "cannot be read" in answer.json()["why"]  # type: ignore[attr-defined]


def test_only_those_who_write_send_entries(who: Who) -> None:
    for person, status in (("outsider", 302), ("stranger", 403), ("reader", 403)):
        assert post(who(person), a_sending({"deed": "feed", "bin": "E1-1"})).status_code == status  # type: ignore[attr-defined]


def test_a_contradiction_is_shown_on_the_round_and_settled_on_its_page(who: Who) -> None:
    client = who("hand")
    post(client, a_sending({"deed": "pull", "clutch": "C2", "to_place": "west/2/3"}))
    assert "1 entry to settle" in client.get("/round").content.decode()
    page = client.get("/settle").content.decode()
    assert "pulled already" in page
    assert "Aoife" in page or "Bram" in page
    (wrong,) = ledger.live().misfits
    stands = next(e.id for e in ledger.entries("deed = 'pull' AND clutch = 'C2' AND id != %s", (wrong,)))
    client.post("/settle/give-way", {"entry": wrong, "stands": stands})
    assert not ledger.live().misfits
    assert "All entries fit together" in client.get("/settle").content.decode()


def test_a_reader_sees_what_is_to_settle_and_settles_nothing(who: Who) -> None:
    assert who("reader").get("/settle").status_code == 200
    assert who("reader").post("/settle/give-way", {}).status_code == 403


def test_the_entry_says_what_the_phone_s_clock_said(who: Who) -> None:
    client, sending = who("hand"), a_sending({"deed": "feed", "bin": "E1-1"})
    sending["now"] += 86400  # type: ignore[operator]
    sending["entries"][0]["at"] += 86400  # type: ignore[index]
    post(client, sending)
    page = client.get(f"/book/{sending['entries'][0]['id']}").content.decode()  # type: ignore[index]
    assert "clock of the phone" in page
    assert "came in" in page


def test_the_pocket_knows_what_every_label_stands_for(who: Who) -> None:
    client = who("hand")
    before = client.get("/phone/pocket")
    assert before.json()["sheets"] == {}
    sheet = walk_sheet.make(clock.today(), actor=small_farm.HAND)
    after = client.get("/phone/pocket", headers={"If-None-Match": before["ETag"]})
    assert after.status_code == 200, "a sheet has been printed since"
    told = after.json()
    assert list(told["sheets"]) == [sheet.code]
    for name, batch in told["substrates"].items():
        assert name in told["choices"]["substrates"]
        assert batch["caution"].startswith("Spent substrate can carry living eggs")
        assert set(batch["trays"]) <= told["clutches"].keys()
    assert told["substrates"]


def test_this_device_keeps_its_hand_sound_and_buzz(who: Who) -> None:
    client = who("hand")
    assert 'data-side="right"' in client.get("/me").content.decode()
    client.post("/look", {"side": "left", "sound": "off", "buzz": "sideways"})
    page = client.get("/me").content.decode()
    assert 'data-side="left" data-sound="off" data-buzz="on"' in page


def test_every_word_the_scripts_say_can_be_translated() -> None:
    said = set()
    for script in SCRIPTS.rglob("*.js"):
        said |= {m.replace('\\"', '"') for m in re.findall(r'\bt\("((?:[^"\\]|\\.)*)"', script.read_text())}
    assert said
    assert said == set(phone_words.WORDS)
