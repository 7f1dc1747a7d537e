"""How a phone reaches the farm: the addresses, the authority to trust, and a code to scan."""

from __future__ import annotations

import io
import re
import unicodedata
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import msgspec
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509.oid import NameOID

from chirr.wire import certificates, safe


class AuthorityShown(msgspec.Struct, frozen=True, kw_only=True):
    """An authority as a person sees it: its name on the phone, its fingerprint, its last day, the file to fetch."""

    name: str
    fingerprint: str
    ends: datetime
    file: str
    der: bytes


class Reach(msgspec.Struct, frozen=True, kw_only=True):
    """What the page 'Set up a phone' shows. `pages` is empty while the farm is not served to its network."""

    pages: tuple[str, ...]
    set_up: str
    qr: str
    authorities: tuple[AuthorityShown, ...]
    folder: str


def reach(folder: Path, lan: Mapping[str, Any] | None) -> Reach:
    """How phones reach the farm, whose authority is kept in `folder`; lan: what `chirr serve --lan` has told."""
    set_up = str((lan or {}).get("set_up", ""))
    return Reach(
        pages=tuple((lan or {}).get("pages", ())),
        set_up=set_up,
        qr=picture_qr(set_up) if set_up else "",
        authorities=tuple(_shown(c, n) for n, c in enumerate(safe.authorities(folder))),
        folder=folder.name,
    )


def of_book(book: Path, lan: Mapping[str, Any] | None) -> Reach:
    """The same, for the farm of a book."""
    return reach(safe.folder_of(book), lan)


def _shown(certificate: Any, number: int) -> AuthorityShown:
    name = str(certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)[0].value)
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    stem = re.sub(r"[^a-z0-9]+", "-", plain).strip("-") or "farm"
    return AuthorityShown(
        name=name, fingerprint=certificates.fingerprint(certificate), ends=certificate.not_valid_after_utc,
        file=f"{stem}{f'-{number + 1}' if number else ''}.crt", der=certificate.public_bytes(Encoding.DER),
    )  # fmt: skip


def picture_qr(text: str) -> str:
    """A QR code as a picture to put into a page: a data address, black on white whatever the theme."""
    import segno

    return str(segno.make(text, error="m", micro=False).svg_data_uri(scale=6, border=4, dark="#000", light="#fff"))


def terminal_qr(text: str) -> str:
    """A QR code in half-height blocks for a terminal."""
    import segno

    out = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(out, border=2, compact=True)
    return out.getvalue()
