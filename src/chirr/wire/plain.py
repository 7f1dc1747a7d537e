"""The set-up port: plain HTTP for a phone that does not trust the farm yet. It knows a few fixed answers and no more.

A phone must fetch the authority before it can make a connection that it trusts. So these few bytes go unencrypted, and
the fingerprint beside them is what a person compares.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from socketserver import ThreadingMixIn
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server

PATIENCE_S = 10
"""A phone that says nothing for so long is let go."""
FIRST_LANGUAGE = "en"
_GUARDS = [
    ("Cache-Control", "no-store"),
    ("Content-Security-Policy", "default-src 'none'; style-src 'self'; img-src data:; frame-ancestors 'none'"),
    ("Referrer-Policy", "no-referrer"),
    ("X-Content-Type-Options", "nosniff"),
]


@dataclass(frozen=True)
class Answer:
    """What an address of the set-up port gives; `other` is the same in other languages, by their two letters."""

    kind: str
    body: bytes
    other: Mapping[str, bytes] = field(default_factory=dict)

    def for_one_who_reads(self, languages: str) -> bytes:
        """The body in the first language of an Accept-Language that there is; else the body itself."""
        for code in (part.split(";")[0].strip()[:2].lower() for part in languages.split(",")):
            if code in self.other:
                return self.other[code]
            if code == FIRST_LANGUAGE:
                break
        return self.body


class SetUpPort:
    """A WSGI application of fixed answers by path; `/` leads to the encrypted pages. `answers` may be exchanged."""

    def __init__(self, answers: Mapping[str, Answer], secure: str) -> None:
        self.answers, self.secure = answers, secure

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        if environ["REQUEST_METHOD"] not in ("GET", "HEAD"):
            return self._send(start_response, "405 Method Not Allowed", Answer("text/plain", b"Only for looking.\n"))
        path = environ.get("PATH_INFO", "/")
        if path == "/":
            start_response("302 Found", [("Location", self.secure), ("Content-Length", "0"), *_GUARDS])
            return []
        answer = self.answers.get(path)
        if answer is None:
            return self._send(start_response, "404 Not Found", Answer("text/plain", b"There is nothing here.\n"))
        return self._send(start_response, "200 OK", answer, environ.get("HTTP_ACCEPT_LANGUAGE", ""))

    @staticmethod
    def _send(start_response: Callable[..., Any], status: str, answer: Answer, languages: str = "") -> list[bytes]:
        body = answer.for_one_who_reads(languages)
        start_response(status, [("Content-Type", answer.kind), ("Content-Length", str(len(body))), *_GUARDS])
        return [body]


class _Server(ThreadingMixIn, WSGIServer):
    daemon_threads = True

    def server_bind(self) -> None:
        """Bind without asking a name server who we are, which may take seconds on a farm without internet."""
        super(WSGIServer, self).server_bind()
        self.server_name, self.server_port = str(self.server_address[0]), int(self.server_address[1])
        self.setup_environ()

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A phone that goes away in the middle is nothing to tell."""


class _Quiet(WSGIRequestHandler):
    timeout = PATIENCE_S

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 - the name the library calls it by
        pass


@contextmanager
def served(port: SetUpPort, host: str, number: int) -> Iterator[int]:
    """Serve the set-up port in a thread beside; gives the number of the port. Raises OSError when it is taken."""
    server = make_server(host, number, port, server_class=_Server, handler_class=_Quiet)
    threading.Thread(target=server.serve_forever, name="set-up port", daemon=True).start()
    try:
        yield int(server.server_address[1])
    finally:
        server.shutdown()
        server.server_close()
