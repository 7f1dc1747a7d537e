"""A bare HTTPS server, for clients that must trust its certificate or refuse it."""

from __future__ import annotations

import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from chirr.wire.certificates import Pair


@contextmanager
def answering(pair: Pair, folder: Path) -> Iterator[int]:
    """A bare HTTPS server with this certificate."""
    (folder / "c.pem").write_bytes(pair.certificate_pem())
    (folder / "k.pem").write_bytes(pair.key_pem())
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(folder / "c.pem", folder / "k.pem")
    listening = socket.create_server(("127.0.0.1", 0))

    def answer() -> None:
        while True:
            try:
                caller, _ = listening.accept()
                with context.wrap_socket(caller, server_side=True) as talk:
                    talk.recv(4096)
                    talk.send(b"HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: 5\r\n\r\nchirr")
            except ssl.SSLError:
                continue
            except OSError:
                if listening.fileno() < 0:
                    return

    threading.Thread(target=answer, daemon=True).start()
    try:
        yield int(listening.getsockname()[1])
    finally:
        listening.close()
