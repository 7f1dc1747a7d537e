"""The authority's folder beside the book: made at first, read again, renewed in time, remade for a new address."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import load_pem_private_key

from chirr.wire import certificates
from chirr.wire.certificates import Pair

NEXT_MADE = timedelta(days=365)
"""How long before the authority's end the next one is made, so that phones can learn both."""
NEXT_TAKES_OVER = timedelta(days=60)
SERVER_RENEWED = timedelta(days=30)
LEARNT_IN = timedelta(days=30)
AUTHORITY, FOLLOWING, RETIRED = "authority.pem", "following.pem", "retired.pem"
"""Key and certificate in one file, so that one never stands there without the other. A retired one is only kept."""
OLDEST_CLOCK = datetime(2026, 1, 1, tzinfo=UTC)
"""Older than this program: a small board without a battery wakes up in 1970 and would make certificates of no use."""


class Untrusted(Exception):  # noqa: N818 - it is told to a person
    """No certificate can be made or used; the text says why and what to do."""


@dataclass(frozen=True)
class Kept:
    """What to serve with, which authority a phone must trust, and what a person should be told."""

    authority: x509.Certificate
    following: x509.Certificate | None
    certificate_file: Path
    key_file: Path
    names: tuple[str, ...]
    addresses: tuple[str, ...]
    news: tuple[str, ...] = ()
    changed: bool = False
    """Whether the server must begin anew: with another certificate, or to tell people of another authority."""


def folder_of(book: Path) -> Path:
    """Where the authority of a book is kept."""
    return book.with_name(f"{book.name}.authority")


def keep(folder: Path, farm: str, names: list[str], addresses: list[str], now: datetime | None = None) -> Kept:
    """Make or renew whatever is due, and say what was done.

    names, addresses: of this machine, the most important first. Those that the authority may not vouch for are left
    out and told. Raises Untrusted when the clock, a file or a folder stands in the way.
    """
    now = now or datetime.now(UTC)
    if now < OLDEST_CLOCK:
        raise Untrusted(f"The clock of this computer says {now:%Y-%m-%d}; set it right, then start again.")
    try:
        folder.mkdir(mode=0o700, parents=False, exist_ok=True)
        news = [*_made_private(folder)]
        authority, following, told = _authority(folder, farm, names, addresses, now)
        vouched_names = [n for n in names if certificates.may_vouch(authority.certificate, n)]
        vouched_addresses = [a for a in addresses if certificates.may_vouch(authority.certificate, a)]
        news += told + _left_out([*names, *addresses], [*vouched_names, *vouched_addresses], folder)
        if not vouched_names and not vouched_addresses:
            raise Untrusted(f"{news[-1]} There is nothing else to serve under.")
        remade = _server(folder, authority, vouched_names, vouched_addresses, now)
    except OSError as error:
        raise Untrusted(
            f"{error.filename or folder} cannot be read or written ({error.strerror}); see that the account that "
            "runs Chirr owns it."
        ) from error
    return Kept(
        authority=authority.certificate, following=following.certificate if following else None,
        certificate_file=folder / "server.crt", key_file=folder / "server.key", names=tuple(vouched_names),
        addresses=tuple(vouched_addresses), news=(*news, *([remade] if remade else ())), changed=bool(remade or told),
    )  # fmt: skip


def authorities(folder: Path) -> list[x509.Certificate]:
    """The authority's certificate and, once it is made, the following one's; empty when there is none to read."""
    found = []
    for name in (AUTHORITY, FOLLOWING):
        try:
            found.append(x509.load_pem_x509_certificate((folder / name).read_bytes()))
        except (OSError, ValueError):
            continue
    return found


# --- the authority -----------------------------------------------------------------------------------------------


def _authority(
    folder: Path, farm: str, names: list[str], addresses: list[str], now: datetime
) -> tuple[Pair, Pair | None, list[str]]:
    """The authority that signs now, the one that will follow it if its end is near, and what is new about them."""
    if not (folder / AUTHORITY).exists() and (folder / FOLLOWING).exists():
        (folder / FOLLOWING).replace(folder / AUTHORITY)  # a crash between the two steps of taking over
    if not (folder / AUTHORITY).exists():
        made = certificates.make_authority(farm, names, addresses, now)
        _write(folder / AUTHORITY, made.key_pem() + made.certificate_pem(), 0o600)
        return made, None, [f"This farm's certificate authority was made in {folder}; set each phone up once."]
    authority = _read_authority(folder / AUTHORITY)
    if now < authority.certificate.not_valid_before_utc:
        raise Untrusted(
            f"The clock of this computer says {now:%Y-%m-%d}, but the farm's authority was made on "
            f"{authority.certificate.not_valid_before_utc + certificates.BACKDATED:%Y-%m-%d}; set the clock right."
        )
    following, news = None, []
    if (folder / FOLLOWING).exists():
        following = _read_authority(folder / FOLLOWING)
    elif now > authority.ends:
        raise Untrusted(
            f"The farm's authority ended on {authority.ends:%-d %B %Y}, and the clock of this computer says "
            f"{now:%Y-%m-%d}; if that is right, take the folder {folder} away, start again, and set each phone up anew."
        )
    elif now > authority.ends - NEXT_MADE:
        following = certificates.make_authority(farm, names, addresses, now)
        _write(folder / FOLLOWING, following.key_pem() + following.certificate_pem(), 0o600)
        news.append(
            f"This farm's authority ends on {authority.ends:%-d %B %Y}, and its successor was made: set each phone up "
            f"again before {authority.ends - NEXT_TAKES_OVER:%-d %B %Y}."
        )
    if following is not None and _takes_over(authority, following, now):
        (folder / AUTHORITY).replace(folder / RETIRED)
        (folder / FOLLOWING).replace(folder / AUTHORITY)
        news.append("The farm's new authority has taken over: set up again each phone that is refused.")
        return following, None, news
    return authority, following, news


def _takes_over(authority: Pair, following: Pair, now: datetime) -> bool:
    """Near the end of the old one, but not before phones had a month to learn the new one."""
    known_since = following.certificate.not_valid_before_utc + certificates.BACKDATED
    return now > authority.ends or (now > authority.ends - NEXT_TAKES_OVER and now - known_since > LEARNT_IN)


def _read_authority(path: Path) -> Pair:
    pair = _pair(path, path)
    if pair is None or not pair.belong_together():
        raise Untrusted(
            f"{path} does not hold the farm's authority any more; put it back from your copy, or take the folder "
            f"{path.parent} away, start again, and set each phone up anew."
        )
    return pair


# --- the server's certificate ------------------------------------------------------------------------------------


def _server(folder: Path, authority: Pair, names: list[str], addresses: list[str], now: datetime) -> str:
    """See that server.crt and server.key are good; if they were not, remake them and say why."""
    why = _why_remake(folder, authority, names, addresses, now)
    if why:
        made = certificates.make_server(authority, names, addresses, now)
        _write(folder / "server.key", made.key_pem(), 0o600)
        _write(folder / "server.crt", made.certificate_pem(), 0o644)
    return why


def _why_remake(folder: Path, authority: Pair, names: list[str], addresses: list[str], now: datetime) -> str:
    if not (folder / "server.crt").exists():
        return "A certificate was made for this computer."
    pair = _pair(folder / "server.crt", folder / "server.key")
    if pair is None or not pair.belong_together():
        return "This computer's certificate was damaged, and is made anew; phones need nothing."
    try:
        pair.certificate.verify_directly_issued_by(authority.certificate)
        its_names, its_addresses = certificates.known_as(pair.certificate)
    except (ValueError, TypeError, x509.ExtensionNotFound, InvalidSignature):
        return "This computer's certificate was not of the farm's authority, and is made anew."
    if pair.ends - now < SERVER_RENEWED and pair.ends < authority.ends:
        return "This computer's certificate was renewed; phones need nothing."
    if not (its_names.issuperset(names) and its_addresses.issuperset(addresses)):
        # an address that only went away comes back with the Wi-Fi: the certificate is good for it still
        return "This computer has a new name or address, and its certificate is made anew; phones need nothing."
    return ""


def _left_out(wanted: list[str], vouched: list[str], folder: Path) -> list[str]:
    missing = [w for w in wanted if w not in vouched and f"{w}.local" not in vouched]
    if not missing:
        return []
    words = (
        f"The farm's authority may not vouch for {', '.join(missing)}, which stood outside when it was made; to change "
        f"that, take the folder {folder} away, start again, and set each phone up anew."
    )
    return [words]


# --- files -------------------------------------------------------------------------------------------------------


def _pair(certificate_file: Path, key_file: Path) -> Pair | None:
    """The pair in its files; None when they do not hold what they should."""
    try:
        certificate = x509.load_pem_x509_certificate(certificate_file.read_bytes())
        key = load_pem_private_key(key_file.read_bytes(), None)
    except (FileNotFoundError, ValueError, TypeError):
        return None
    return Pair(certificate, key) if isinstance(key, ec.EllipticCurvePrivateKey) else None


def _write(path: Path, data: bytes, mode: int) -> None:
    """The file whole or not at all."""
    fresh = path.with_name(f"{path.name}.new")
    fresh.unlink(missing_ok=True)
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as f:
        f.write(data)
        f.flush()
        os.fsync(f.fileno())
    fresh.replace(path)


def _made_private(folder: Path) -> list[str]:
    """Keys that others could read are made private again; on Windows the folder's own permissions decide."""
    if os.name != "posix":
        return []
    news = []
    for key in sorted([*folder.glob("*.key"), *folder.glob("*.pem")]):
        if key.stat().st_mode & 0o077:
            key.chmod(0o600)
            news.append(f"{key} could be read by others and is private again; if somebody may have copied it, "
                        f"take the folder {folder} away, start again, and set each phone up anew.")  # fmt: skip
    return news
