"""Commands that put the pages in front of people: demo, serve, person."""

from __future__ import annotations

import os
import secrets
import socket
import sqlite3
import sys
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chirr.cli.farm import farm_path, open_farm, remove_book
from chirr.cli.say import BadInput, Trouble, progress, say, sorry
from chirr.cli.weekly import grade_weekly
from chirr.wire.addresses import lan_addresses

if TYPE_CHECKING:
    from chirr.cli.lan import Server
    from chirr.records import Person

PORT = 8765
THREADS = 4
LOOPBACK = ("127.0.0.1", "localhost", "::1")


def demo(
    path: Annotated[Path, typer.Option(metavar="PATH", help="Where the scratch book is to be.")] = Path(
        "demo/demo.chirr"
    ),
    port: Annotated[
        int, typer.Option(min=1, max=65535, help="The port to serve on; another one when it is taken.")
    ] = PORT,
    serve: Annotated[bool, typer.Option(help="Start the pages once the farm is made.")] = True,
) -> None:
    """A made-up farm in a scratch book, then the pages on 127.0.0.1.

    The book is made anew each time; three people get sign-ins, whose passwords are printed.
    """
    one_thread_each()
    path = path.expanduser().absolute()
    os.environ["CHIRR_FARM"] = str(path)
    _make_room(path)
    from datetime import date

    from chirr.demo import make_farm

    with progress() as told:
        told("Making up a farm", 0, None)
        folder = make_farm(date.today())  # noqa: DTZ011 - the day on the wall
        _clear(path, folder.farm.name)
        open_farm(create=True)
        from chirr.desk.transfer import found_farm

        found_farm(folder, progress=told)
    say(f"{folder.farm.name}, a made-up farm, is in {path}.")
    for one in _three(folder.people):
        word = _password()
        _give(one.person, word)
        say(f"  sign in as {one.person:<10} password {word}   ({one.role})")
    if serve:
        _run("127.0.0.1", _free_port(port))


def serve(
    host: Annotated[
        str, typer.Option(help="The address to serve on; by default only this machine can reach it.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=1, max=65535, help="The port to serve on.")] = PORT,
    lan: Annotated[
        bool,
        typer.Option(
            "--lan", help="Serve the farm's own network over HTTPS, for phones; they are set up on the next port."
        ),
    ] = False,
    name: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="With --lan: what others call this machine, instead of its own name."),
    ] = None,
) -> None:
    """Serve the pages of the farm, to this machine or with --lan to the phones on its network."""
    one_thread_each()
    if name is not None and not lan:
        raise BadInput("--name is for serving to phones; say --lan too.")
    if lan:
        _serve_lan(host, port, name)
        return
    if host not in LOOPBACK:
        names = {host, socket.gethostname(), *LOOPBACK[:2], "[::1]", *lan_addresses()} - {"0.0.0.0", "::"}  # noqa: S104
        os.environ.setdefault("CHIRR_HOSTS", ",".join(sorted(names)))
    open_farm()
    _must_be_free(host, port)
    _somebody_signs_in(others=host not in LOOPBACK)
    if host not in LOOPBACK:
        sorry("Other machines can reach these pages, and what is sent is not encrypted: only on a network you trust.")
    _run(host, port)


def _serve_lan(host: str, port: int, name: str | None) -> None:
    from chirr.cli.lan import Lan, get_ready, run

    here = Lan(farm_path(), host, port, name)
    get_ready(here)
    open_farm()
    from django.db import connections

    from chirr.desk import farm

    card = farm.card()
    here.farm = card.name if card else farm_path().stem  # phones show the authority under this name
    _must_be_free(here.host, port)
    _must_be_free(here.host, port + 1)
    _somebody_signs_in(others=True)
    connections.close_all()
    grade_weekly(farm_path())
    run(here, lambda certificate, key: _server(here.host, port, certificate, key))


def _must_be_free(host: str, port: int) -> None:
    if not _is_free(host, port):
        raise Trouble(f"Port {port} on {host} cannot be had; choose another with --port.")


def _somebody_signs_in(*, others: bool) -> None:
    """Say what to do where nobody can come in yet. `others`: other machines reach the pages."""
    from chirr.desk import farm, people

    if farm.card() is None:
        say("This book holds no farm yet; its pages begin with setting one up.")
        if others:  # anybody on the network could make themselves the owner
            os.environ["CHIRR_SETUP_CODE"] = code = _password()
            say(f"From another machine they ask for this code, which is good until the farm is made: {code}")
    elif not any(has for _, has in people.everybody()):
        sorry("Nobody can sign in yet; give somebody a password first: chirr person NAME --role owner")


def one_thread_each() -> None:
    """Matrices of a farm's size go fastest on one thread each; several wait for each other and a page crawls.

    Must come before NumPy is loaded; what the environment says already stands.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def person(
    name: Annotated[str, typer.Argument(metavar="NAME", help="The name that stands in the entries.")],
    role: Annotated[
        str | None,
        typer.Option(metavar="ROLE", help="owner (may change everything), hand (writes entries) or reader (looks)."),
    ] = None,
    password_stdin: Annotated[
        bool, typer.Option("--password-stdin", help="Read the password from standard input.")
    ] = False,
) -> None:
    """Give somebody a sign-in, or a new role or password.

    Whoever may open the book's file may do this, so it is also the way back in when every password is lost.
    """
    open_farm()
    from chirr.desk import people
    from chirr.desk.forms import FormFaults

    known = {p.person: p for p, _ in people.everybody()}
    if name not in known and role is None:
        raise BadInput(f"Nobody here is called {name} yet; to add them, say --role owner, hand or reader.")
    word = _ask(password_stdin)
    try:
        people.check_password(word)
        if role is not None and (name not in known or known[name].role != role):
            people.save_person(name, role, actor=_implicit_owner(), new=name not in known)
        _give(name, word)
    except FormFaults as fault:
        raise BadInput(str(fault)) from fault
    say(f"{name} can sign in{f' as {role}' if role else ''}.")


def _implicit_owner() -> Person:
    from chirr.desk.transfer import IMPLICIT_OWNER

    return IMPLICIT_OWNER


def _give(name: str, word: str) -> None:
    from chirr.desk import people

    people.set_password(name, word, actor=_implicit_owner())


def _ask(from_stdin: bool) -> str:
    if from_stdin:
        return sys.stdin.readline().rstrip("\r\n")
    if not sys.stdin.isatty():
        raise BadInput("There is no terminal to ask for the password on; send it with --password-stdin.")
    word: str = typer.prompt("Password", hide_input=True, confirmation_prompt=True)
    return word


def _three(everybody: list[Person]) -> list[Person]:
    """An owner, a hand and a reader, as far as the farm has them."""
    first = {p.role: p for p in reversed(everybody)}
    return [first[role] for role in ("owner", "hand", "reader") if role in first]


def _password() -> str:
    """A password that can be read out: three groups of letters that are not mistaken for one another."""
    letters = "abcdefghkmnpqrstuvwxyz"
    return "-".join("".join(secrets.choice(letters) for _ in range(4)) for _ in range(3))


def _make_room(path: Path) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(f"The folder {path.parent} cannot be made; choose another place with --path.") from error


def _clear(path: Path, farm: str) -> None:
    """Take an earlier demo away; anything else that is there stays, and the demo goes elsewhere."""
    if not path.exists():
        return
    try:
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as book:
            row = book.execute("SELECT json_extract(card, '$.name') FROM book_farmrow").fetchone()
    except sqlite3.DatabaseError:
        row = ("?",)
    if row is not None and row[0] != farm:
        raise BadInput(f"{path} is not a demo book, so it is left alone; choose another place with --path.")
    remove_book(path)


def _is_free(host: str, port: int) -> bool:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            return False
    return True


def _free_port(wanted: int) -> int:
    for port in range(wanted, min(wanted + 50, 65536)):
        if _is_free("127.0.0.1", port):
            return port
    raise Trouble(f"No port from {wanted} on is free; choose another with --port.")


def _run(host: str, port: int) -> None:
    """Serve until told to stop."""
    from django.db import connections

    connections.close_all()
    name = f"[{host}]" if ":" in host else host
    say(f"The pages of {farm_path().name} are at http://{name}:{port}/ ; stop them with Ctrl+C.")
    sys.stdout.flush()
    grade_weekly(farm_path())
    _server(host, port).serve()


def _server(host: str, port: int, certificate: Path | None = None, key: Path | None = None) -> Server:
    """The server, with TLS when it is given a certificate and its key."""
    from granian import Granian
    from granian.constants import Interfaces, SSLProtocols
    from granian.log import LogLevels

    server: Server = Granian(
        "chirr.wsgi:application", address=host, port=port, interface=Interfaces.WSGI, workers=1,
        blocking_threads=THREADS, log_level=LogLevels.warning, websockets=False, ssl_cert=certificate, ssl_key=key,
        ssl_protocol_min=SSLProtocols.tls12,
    )  # fmt: skip
    return server
