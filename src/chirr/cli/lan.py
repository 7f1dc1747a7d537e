"""Serving the farm's own network: HTTPS with the farm's certificate, and beside it the port where phones are set up."""

from __future__ import annotations

import json
import os
import sys
import threading
from collections.abc import Callable
from contextlib import ExitStack
from ipaddress import IPv4Address
from pathlib import Path
from typing import Any, Protocol

from chirr.cli.say import BadInput, Trouble, say, sorry
from chirr.wire import addresses as where
from chirr.wire import plain, safe
from chirr.wire.safe import Kept

LOOK_AGAIN_S = 60
"""How often it is looked whether the address has changed or a certificate ends."""
LOOPBACK = "127.0.0.1"
ANYWHERE = "0.0.0.0"  # noqa: S104 - the network is what it is for


class Server(Protocol):
    """What we need of a server: to run it, and to end it from another thread."""

    def serve(self) -> None: ...

    def signal_handler_interrupt(self) -> None: ...


class Lan:
    """How the farm's computer is reached from its network. host: bound to; name: the machine's name for others."""

    def __init__(self, book: Path, host: str, port: int, name: str | None) -> None:
        if port >= 65535:
            raise BadInput("The port must be 65534 or lower: phones are set up on the one after it.")
        if name is not None and not where.is_name(name.lower()):
            raise BadInput(f"{name!r} cannot be the name of a computer: use letters, digits, hyphens and dots.")
        self.folder, self.port, self.asked_host = safe.folder_of(book), port, host
        self.host = ANYWHERE if host == LOOPBACK else host
        self.asked_name = name.lower() if name else None
        self.name = self.asked_name or where.host_name()
        if ":" in self.host:
            raise BadInput("With --lan the pages are served on IPv4; leave --host away or give an IPv4 address.")
        try:
            IPv4Address(self.host)
        except ValueError as wrong:
            raise BadInput(f"--host is an IPv4 address with --lan, not {host!r}; for a name use --name.") from wrong
        self.farm = ""

    def look(self) -> Kept:
        """The certificates as they should be now."""
        found = where.lan_addresses() if self.host == ANYWHERE else [self.host]
        try:
            return safe.keep(self.folder, self.farm, where.names_for(self.name), [*found, LOOPBACK])
        except safe.Untrusted as told:
            raise Trouble(str(told)) from told

    def hosts(self) -> list[str]:
        """What a browser may call us, before a certificate says it exactly."""
        found = where.lan_addresses() if self.host == ANYWHERE else [self.host]
        return [*where.names_for(self.name), *found, LOOPBACK]

    def pages(self, kept: Kept) -> list[str]:
        """Addresses of the pages for other machines, the best first: a name that was asked for, else a number."""
        numbers = [a for a in kept.addresses if a != LOOPBACK]
        names = [n for n in kept.names if n != "localhost"]
        one, two = (names, numbers) if self.asked_name else (numbers, names)
        best = [*one[:1], *two[:1], *one[1:], *two[1:]]
        return [f"https://{h}:{self.port}/" for h in (best or ["localhost"])]

    def set_up(self, kept: Kept) -> str:
        """Address of the page where a phone is set up: by number, which every phone finds."""
        numbers = [a for a in kept.addresses if a != LOOPBACK]
        return f"http://{[*numbers, *kept.names][0]}:{self.port + 1}/phone"


def get_ready(lan: Lan) -> None:
    """Tell the settings how we are reached; before the framework is loaded."""
    os.environ.setdefault("CHIRR_HOSTS", ",".join(lan.hosts()))
    os.environ["CHIRR_LAN"] = "{}"


def run(lan: Lan, serve_with: Callable[[Path, Path], Server]) -> None:
    """Serve until told to stop; anew, within the same minute, when the address changes or a certificate is renewed."""
    kept = lan.look()
    port = plain.SetUpPort({}, lan.pages(kept)[0])
    told: set[str] = set()

    def take_in(kept: Kept) -> None:
        _publish(lan, kept, port)
        for words in (w for w in kept.news if w not in told):
            sorry(words)
        told.update(kept.news)

    with ExitStack() as beside:
        try:
            beside.enter_context(plain.served(port, lan.host, lan.port + 1))
        except OSError as error:
            raise Trouble(
                f"Port {lan.port + 1}, where phones are set up, cannot be had; choose another pair with --port."
            ) from error
        while True:
            take_in(kept)
            _tell(lan, kept)
            server = serve_with(kept.certificate_file, kept.key_file)
            watch = _Watch(lan, server, take_in)
            server.serve()
            watch.stop()
            if watch.changed is None:
                return
            kept = watch.changed


class _Watch:
    """Looks once a minute whether there is news, and ends the server when it must take up another certificate."""

    def __init__(self, lan: Lan, server: Server, take_in: Callable[[Kept], None]) -> None:
        self.changed: Kept | None = None
        self._lan, self._server, self._take_in, self._over = lan, server, take_in, threading.Event()
        threading.Thread(target=self._look, name="certificates", daemon=True).start()

    def stop(self) -> None:
        self._over.set()

    def _look(self) -> None:
        told = ""
        while not self._over.wait(LOOK_AGAIN_S):
            try:
                kept = self._lan.look()
            except Exception as trouble:  # noqa: BLE001 - a watch that dies silently lets the certificate run out
                if str(trouble) != told:
                    sorry(str(trouble))
                told = str(trouble)
                continue
            if kept.changed:
                self.changed = kept
                self._server.signal_handler_interrupt()
                return
            if kept.news:
                self._take_in(kept)


def _publish(lan: Lan, kept: Kept, port: plain.SetUpPort) -> None:
    """Let the pages and the set-up port know where we are now."""
    from django.conf import settings

    pages = lan.pages(kept)
    told: dict[str, Any] = {"set_up": lan.set_up(kept), "pages": pages}
    if kept.following is not None:
        told["renew_before"] = f"{kept.authority.not_valid_after_utc - safe.NEXT_TAKES_OVER:%Y-%m-%d}"
    os.environ["CHIRR_LAN"] = json.dumps(told)
    settings.LAN = told
    hosts = [*kept.names, *kept.addresses]
    settings.ALLOWED_HOSTS = list(dict.fromkeys([*settings.ALLOWED_HOSTS, *hosts]))
    os.environ["CHIRR_HOSTS"] = ",".join(settings.ALLOWED_HOSTS)
    port.answers, port.secure = _answers(lan, told), pages[0]


def _answers(lan: Lan, told: dict[str, Any]) -> dict[str, plain.Answer]:
    """All that the set-up port knows: one page, its look, and the authority's certificate (twice in its last year)."""
    from django.contrib.staticfiles import finders

    from chirr.desk import reach

    shown = reach.reach(lan.folder, told)
    sheets = [Path(str(finders.find(f"chirr/css/{name}.css"))) for name in ("ground", "shell", "parts")]
    look = b"\n".join(sheet.read_bytes() for sheet in sheets)
    answers = {
        "/phone": plain.Answer("text/html; charset=utf-8", *_page({"reach": shown, "farm": lan.farm})),
        "/look.css": plain.Answer("text/css; charset=utf-8", look),
    }
    for authority in shown.authorities:
        answers[f"/{authority.file}"] = plain.Answer("application/x-x509-ca-cert", authority.der)
    return answers


def _page(context: dict[str, Any]) -> tuple[bytes, dict[str, bytes]]:
    """The set-up page in the first language, and in each other one."""
    from django.conf import settings
    from django.template.loader import render_to_string
    from django.utils import translation

    pages = {}
    for code in dict.fromkeys(code[:2] for code, _ in settings.LANGUAGES):
        with translation.override(code):
            pages[code] = render_to_string("chirr/phone_plain.html", context | {"language": code}).encode()
    return pages.pop(settings.LANGUAGE_CODE[:2]), pages


def _tell(lan: Lan, kept: Kept) -> None:
    from chirr.desk import reach

    pages, set_up = lan.pages(kept), lan.set_up(kept)
    say(f"The pages of {lan.farm} are at")
    for address in pages:
        say(f"  {address}")
    say(f"Set each phone up once: on the farm's network, open {set_up}")
    if sys.stdout.isatty() and "utf" in (sys.stdout.encoding or "").lower():
        say(reach.terminal_qr(set_up))
    for authority in reach.reach(lan.folder, {"set_up": set_up, "pages": pages}).authorities:
        say(f"The authority that phones are to trust has the SHA-256 fingerprint\n  {authority.fingerprint}")
    say("Stop with Ctrl+C.")
    sys.stdout.flush()
