"""What the square codes on paper hold: an address that a phone's own camera opens, and what it leads to.

A code is the farm's address and a short path, `/AT/BIN/N1-3`. It is written in capitals, since a QR code then holds
more in fewer squares (the alphanumeric mode of ISO/IEC 18004). Names keep their case, so a path in capitals means any
name that agrees but for the case of A to Z; where two do, the reader is asked. A path in small letters, as people type
it, means the name exactly, if the farm has it. Names too long for a small code are stood for by ten figures of SHA-256.
"""

from __future__ import annotations

import base64
import hashlib
import ipaddress
import re
import string
from collections.abc import Iterable
from urllib.parse import quote, urlsplit

import msgspec

from chirr.book import ledger, papers
from chirr.desk.spoken import say

KINDS = ("bin", "lot", "clutch", "substrate", "sheet")
SHORT = "code"
"""Stands in place of the kind before a name's ten figures."""
LONGEST = 28
"""Characters of a kind and a written-out name, a stroke between; longer ones are shortened."""
SHEETS = 2000
"""Run sheets, the newest first, that a code may still lead to: some years of one a day."""
_UPPER = str.maketrans(string.ascii_lowercase, string.ascii_uppercase)
_LOOPBACK = ("localhost", "127.0.0.1", "::1")


class Found(msgspec.Struct, frozen=True):
    """Something of the farm that a code may mean."""

    kind: str
    name: str


class NoAddress(Exception):  # noqa: N818 - it is told as it is
    """An address of the farm that no phone could open."""


def base_address(text: str) -> str:
    """The farm's address as it stands in codes: scheme, name and port, in capitals. Raises NoAddress.

    >>> base_address("https://barn.local:8765/round")
    'HTTPS://BARN.LOCAL:8765'
    """
    bare = text.strip() if "://" in text else f"https://{text.strip()}"
    match = re.fullmatch(r"(https?://(?:[a-z0-9.\-]+|\[[0-9a-f:.]+\])(?::[1-9]\d{0,4})?)(?:/\S*)?", bare, re.IGNORECASE)
    if match is None:
        wrong = text.strip()[:60]
        raise NoAddress(
            say("“{text}” is not an address of the farm's pages, such as https://barn.local:8765.", text=wrong)
        )
    return match[1].upper()


def is_only_here(address: str) -> bool:
    """Whether an address means the machine that asks, so that no phone can open it."""
    return (urlsplit(address.lower()).hostname or "").lower() in _LOOPBACK


def doubts(address: str) -> tuple[str, ...]:
    """What to say about an address before it goes on paper."""
    host = (urlsplit(address.lower()).hostname or "").lower()
    if is_only_here(address):
        return (say("A phone cannot open this address: it means the phone itself. Serve with 'chirr serve --lan'."),)
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return ()
    return (
        say(
            "This address is a number, which the network may give to another machine one day; labels then lead nowhere."
            " A name lasts: 'chirr serve --lan --name NAME'."
        ),
    )


def path_of(kind: str, name: str) -> str:
    """The path that stands in a code for a thing.

    >>> path_of("bin", "n1-3"), path_of("lot", "Größe 2"), path_of("bin", "a_b")
    ('/AT/BIN/N1-3', '/AT/LOT/GR%C3%B6%C3%9FE%202', '/AT/BIN/A%5FB')
    """
    written = quote(name.translate(_UPPER), safe="$*:").replace("_", "%5F").replace("~", "%7E")
    if len(f"{kind}/{written}") <= LONGEST:
        return f"/AT/{kind.upper()}/{written}"
    return f"/AT/{SHORT.upper()}/{figures_of(kind, name)}"


def figures_of(kind: str, name: str) -> str:
    """Ten figures that stand for a thing: SHA-256 of kind, line feed and name in UTF-8, in base 32 (RFC 4648)."""
    digest = hashlib.sha256(f"{kind}\n{name}".encode()).digest()
    return base64.b32encode(digest).decode()[:10]


def find(kind: str, name: str) -> list[Found]:
    """What a path may mean, as its kind and name are written; empty when the farm has nothing like it."""
    small, exact = kind.lower(), kind != kind.upper()
    if small == SHORT:
        wanted = name.upper()
        return [Found(k, n) for k in KINDS for n in _names(k) if figures_of(k, n) == wanted]
    if small not in KINDS:
        return []
    names = list(_names(small))
    if exact and name in names:
        return [Found(small, name)]
    wanted = name.translate(_UPPER)
    return [Found(small, n) for n in names if n.translate(_UPPER) == wanted]


def _names(kind: str) -> Iterable[str]:
    if kind == "sheet":
        return papers.sheet_days(most=SHEETS)
    standing = ledger.live()
    things: dict[str, Iterable[str]] = {
        "bin": standing.bins, "lot": standing.lots, "clutch": standing.clutches, "substrate": standing.substrates,
    }  # fmt: skip
    return things[kind]
