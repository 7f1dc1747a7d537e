"""The folder with the authority: made once, read again, renewed in time, and what stands in the way told plainly."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.serialization import load_pem_private_key

from chirr.wire import safe
from chirr.wire.certificates import fingerprint, known_as
from chirr.wire.safe import Kept, Untrusted, authorities, keep

NOW = datetime(2027, 4, 1, 9, 30, tzinfo=UTC)
NAMES = ["hazel.local", "hazel", "localhost"]
ADDRESSES = ["192.168.7.20", "127.0.0.1"]
Keep = Callable[..., Kept]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return safe.folder_of(tmp_path / "barn.chirr")


@pytest.fixture
def kept(folder: Path) -> Keep:
    def again(days: float = 0, names: list[str] = NAMES, addresses: list[str] = ADDRESSES) -> Kept:
        return keep(folder, "Low Barn", names, addresses, NOW + timedelta(days=days))

    return again


def test_it_is_made_once_and_is_the_same_at_the_next_start(kept: Keep) -> None:
    first = kept()
    second = kept(days=1)
    assert first.changed
    assert "set each phone up once" in first.news[0]
    assert (second.changed, second.news) == (False, ())
    assert second.authority == first.authority


@pytest.mark.skipif(os.name != "posix", reason="Windows keeps permissions otherwise")
def test_keys_are_readable_by_the_owner_alone(kept: Keep, folder: Path) -> None:
    kept()
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    for file in (folder / "authority.pem", folder / "server.key"):
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
    load_pem_private_key((folder / "server.key").read_bytes(), None)
    (folder / "authority.pem").chmod(0o644)
    assert "could be read by others" in kept().news[0]
    assert stat.S_IMODE((folder / "authority.pem").stat().st_mode) == 0o600


def test_the_servers_certificate_is_renewed_a_month_before_it_ends_and_phones_need_nothing(kept: Keep) -> None:
    first = kept()
    assert not kept(days=360).changed
    later = kept(days=366)
    assert later.changed
    assert later.authority == first.authority
    assert "phones need nothing" in later.news[0]


@pytest.mark.parametrize(
    ("names", "addresses"), [(NAMES, ["192.168.7.31", "127.0.0.1"]), (["alder.local", "localhost"], ADDRESSES)]
)
def test_another_name_or_address_makes_another_certificate_of_the_same_authority(
    kept: Keep, names: list[str], addresses: list[str]
) -> None:
    first = kept()
    moved = kept(days=2, names=names, addresses=addresses)
    assert moved.changed
    assert moved.authority == first.authority
    from cryptography import x509

    has = known_as(x509.load_pem_x509_certificate(moved.certificate_file.read_bytes()))
    assert has == (set(names), set(addresses))


def test_the_order_in_which_addresses_are_found_changes_nothing(kept: Keep) -> None:
    kept()
    assert not kept(addresses=ADDRESSES[::-1]).changed


def test_an_address_that_goes_away_and_comes_back_changes_nothing(kept: Keep) -> None:
    """The Wi-Fi drops for an hour: only loopback is left, and nobody's connection is broken off for it."""
    first = kept()
    for addresses in (["127.0.0.1"], ADDRESSES):
        later = kept(days=1, addresses=addresses)
        assert (later.changed, later.news) == (False, ())
        assert later.certificate_file.read_bytes() == first.certificate_file.read_bytes()
    assert not kept(days=2, names=NAMES[:1]).changed


def test_an_address_beside_the_one_that_went_away_is_taken_up(kept: Keep) -> None:
    kept()
    moved = kept(days=1, addresses=["10.4.4.4", "127.0.0.1"])
    assert moved.changed
    assert "new name or address" in moved.news[-1]


def test_a_name_outside_the_farm_is_left_out_and_told(kept: Keep) -> None:
    kept()
    later = kept(names=["hazel.local", "shop.example", "localhost"])
    assert later.names == ("hazel.local", "localhost")
    assert "may not vouch for shop.example" in later.news[0]


def test_a_bare_name_that_is_covered_by_its_local_form_is_left_out_without_a_word(kept: Keep) -> None:
    kept()
    later = kept(days=1, names=["alder.local", "alder", "localhost"])
    assert later.names == ("alder.local", "localhost")
    assert not any("may not vouch" in words for words in later.news)


def test_the_authority_has_a_successor_in_its_last_year_and_phones_can_learn_both(kept: Keep, folder: Path) -> None:
    first = kept()
    assert first.following is None
    warned = kept(days=3650 - 300)
    assert warned.authority == first.authority
    assert warned.following is not None
    assert "set each phone up again before" in warned.news[0]
    assert warned.changed, "the pages must begin to tell it"
    assert authorities(folder) == [first.authority, warned.following]
    assert kept(days=3650 - 299).news == ()
    after = kept(days=3650 - 50)
    assert after.authority == warned.following
    assert after.following is None
    assert after.changed
    assert fingerprint(after.authority) != fingerprint(first.authority)


def test_a_successor_that_was_made_late_waits_a_month_so_that_phones_can_learn_it(kept: Keep, folder: Path) -> None:
    first = kept()
    late = kept(days=3650 - 50)
    assert late.following is not None
    assert kept(days=3650 - 25).authority == first.authority
    assert kept(days=3650 - 15).authority == late.following
    assert (folder / "retired.pem").exists()


def test_a_crash_while_the_successor_takes_over_is_mended(kept: Keep, folder: Path) -> None:
    kept()
    warned = kept(days=3650 - 300)
    (folder / "authority.pem").rename(folder / "retired.pem")
    assert kept(days=3650 - 50).authority == warned.following


def test_a_clock_far_ahead_never_throws_the_authority_away(kept: Keep, folder: Path) -> None:
    first = kept()
    with pytest.raises(Untrusted, match=r"ended on .* 2037, and the clock of this computer says 2040"):
        kept(days=5000)
    assert kept(days=1).authority == first.authority


def test_a_clock_that_woke_up_in_1970_is_told(folder: Path) -> None:
    with pytest.raises(Untrusted, match=r"The clock of this computer says 1970-01-01; set it right"):
        keep(folder, "Low Barn", NAMES, ADDRESSES, datetime(1970, 1, 1, tzinfo=UTC))
    assert not folder.exists()


def test_a_clock_from_before_the_authority_was_made_is_told(kept: Keep) -> None:
    kept()
    with pytest.raises(Untrusted, match="made on 2027-04-01; set the clock right"):
        kept(days=-90)


@pytest.mark.parametrize("damage", ["", "not a certificate", "key", "certificate"])
def test_a_damaged_authority_is_told_in_one_sentence_and_never_replaced_unasked(
    kept: Keep, folder: Path, damage: str
) -> None:
    kept()
    file = folder / "authority.pem"
    whole = file.read_text()
    key, certificate = whole.split("-----BEGIN CERTIFICATE-----")
    other = keep(folder.with_name("other.authority"), "Low Barn", NAMES, ADDRESSES, NOW)
    stranger = (other.certificate_file.parent / "authority.pem").read_text().split("-----BEGIN CERTIFICATE-----")[0]
    file.write_text({"key": stranger + whole[len(key) :], "certificate": key}.get(damage, damage))
    before = file.read_text()
    with pytest.raises(Untrusted, match="put it back from your copy"):
        kept()
    assert file.read_text() == before
    assert certificate


@pytest.mark.parametrize("file", ["server.crt", "server.key"])
@pytest.mark.parametrize("damage", [b"", b"\x00\xff", None])
def test_a_damaged_certificate_of_the_computer_is_simply_made_anew(
    kept: Keep, folder: Path, file: str, damage: bytes | None
) -> None:
    first = kept()
    if damage is None:
        (folder / file).unlink()
    else:
        (folder / file).write_bytes(damage)
    again = kept()
    assert again.changed
    assert again.authority == first.authority
    assert not kept().changed


def test_a_certificate_of_another_authority_is_made_anew(kept: Keep, folder: Path) -> None:
    kept()
    other = keep(folder.with_name("other.authority"), "Low Barn", NAMES, ADDRESSES, NOW)
    for file in ("server.crt", "server.key"):
        (folder / file).write_bytes((other.key_file.parent / file).read_bytes())
    assert "not of the farm's authority" in kept().news[0]


def test_a_folder_that_cannot_be_read_is_told_in_one_sentence(folder: Path) -> None:
    folder.write_text("in the way")
    with pytest.raises(Untrusted, match="see that the account that runs Chirr owns it"):
        keep(folder, "Low Barn", NAMES, ADDRESSES, NOW)


def test_a_key_of_somebody_else_is_told_in_one_sentence(kept: Keep, folder: Path, monkeypatch: object) -> None:
    kept()
    real = Path.read_bytes

    def refuse(path: Path) -> bytes:
        if path.name == "authority.pem":
            raise PermissionError(13, "Permission denied", str(path))
        return real(path)

    monkeypatch.setattr(Path, "read_bytes", refuse)  # type: ignore[attr-defined]
    with pytest.raises(Untrusted, match=r"authority\.pem cannot be read or written \(Permission denied\)"):
        kept()
