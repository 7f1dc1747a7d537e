"""`chirr serve --lan` as a shell sees it: where it serves, what it tells, and what it does while it runs."""

from __future__ import annotations

import http.client
import re
import socket
import ssl
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from urllib.parse import urlencode

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes

from browser.lan import SERVE, environment, free_pair, served
from chirr.wire import addresses, plain, safe
from cli.test_the_command import _one_sentence, _run, book, chirr  # noqa: F401 - the two fixtures are used by name


@pytest.fixture(scope="module")
def barn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("lan") / "barn.chirr"


@pytest.fixture(scope="module")
def port(barn: Path) -> Iterator[int]:
    with served(barn) as port:
        yield port


def _said(barn: Path) -> str:
    return Path(f"{barn}.out").read_text()


def _trusted(barn: Path) -> ssl.SSLContext:
    context = ssl.create_default_context(cafile=str(safe.folder_of(barn) / safe.AUTHORITY))
    context.verify_flags |= ssl.VERIFY_X509_STRICT
    return context


def _serial(barn: Path, port: int) -> int:
    """Serial number of the certificate that is served now."""
    with (
        socket.create_connection(("127.0.0.1", port), timeout=10) as line,
        _trusted(barn).wrap_socket(line, server_hostname="localhost") as talk,
    ):
        return x509.load_der_x509_certificate(talk.getpeercert(True) or b"").serial_number


def _until(what: Callable[[], bool]) -> None:
    for _ in range(200):
        try:
            if what():
                return
        except OSError:
            pass
        time.sleep(0.1)
    raise AssertionError("it never came")


def test_it_tells_each_address_where_phones_are_set_up_and_the_fingerprint(barn: Path, port: int) -> None:
    _until(lambda: "Stop with" in _said(barn))
    said = _said(barn)
    assert f"https://hazel.local:{port}/" in said
    for address in addresses.lan_addresses():
        assert f"https://{address}:{port}/" in said
    assert f"http://{[*addresses.lan_addresses(), 'hazel.local'][0]}:{port + 1}/phone" in said, (
        "by number, if it has one"
    )
    authority = safe.authorities(safe.folder_of(barn))[0]
    assert authority.fingerprint(hashes.SHA256()).hex(":").upper() in said


def _ask(
    line: http.client.HTTPConnection, path: str, method: str = "GET", body: str | None = None, **headers: str
) -> http.client.HTTPResponse:
    """One question on a line that is closed after it; the answer's body is read already, into `.text`."""
    with closing(line):
        line.request(method, path, body, {name.replace("_", "-"): value for name, value in headers.items()})
        answer = line.getresponse()
        answer.text = answer.read().decode()  # type: ignore[attr-defined]
        return answer


def _line(barn: Path, port: int, host: str = "localhost") -> http.client.HTTPSConnection:
    return http.client.HTTPSConnection(host, port, context=_trusted(barn), timeout=20)


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1"])
def test_only_the_farms_own_authority_need_be_trusted(barn: Path, port: int, host: str) -> None:
    answer = _ask(_line(barn, port, host), "/sign-in")
    assert answer.status == 200
    assert "Strict-Transport-Security" not in answer.headers
    cookies = answer.headers.get_all("Set-Cookie") or []
    assert cookies
    assert all("Secure" in cookie for cookie in cookies)


def test_a_form_is_taken_from_the_farms_own_page_and_not_from_another(barn: Path, port: int) -> None:
    def send(origin: str) -> int:
        page = _ask(_line(barn, port), "/sign-in")
        cookie = (page.getheader("Set-Cookie") or "").split(";")[0].strip()
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page.text)[1]  # type: ignore[attr-defined, index]
        body = urlencode({"csrfmiddlewaretoken": token, "name": "Bram", "password": "not this"})
        kind = "application/x-www-form-urlencoded"
        return _ask(_line(barn, port), "/sign-in", "POST", body, Cookie=cookie, Origin=origin, Content_Type=kind).status

    assert send(f"https://localhost:{port}") == 422, "the form is taken, and the password is wrong"
    assert send("https://elsewhere.example") == 403
    assert send(f"http://localhost:{port + 1}") == 403, "nor from the set-up port"


def test_a_name_that_is_not_ours_is_refused(barn: Path, port: int) -> None:
    assert _ask(_line(barn, port), "/sign-in", Host="elsewhere.example").status == 400


def test_the_set_up_port_leads_on_to_the_encrypted_pages(port: int) -> None:
    answer = _ask(http.client.HTTPConnection("127.0.0.1", port + 1, timeout=20), "/")
    assert (answer.status, answer.getheader("Location")) == (302, f"https://hazel.local:{port}/")


def test_a_certificate_made_anew_is_taken_up_while_it_serves(barn: Path, port: int) -> None:
    before = _serial(barn, port)
    (safe.folder_of(barn) / "server.crt").unlink()
    _until(lambda: _serial(barn, port) != before)
    assert "A certificate was made for this computer." in _said(barn)


def test_a_silent_phone_does_not_keep_the_set_up_port_from_the_next(port: int) -> None:
    silent = [socket.create_connection(("127.0.0.1", port + 1), timeout=10) for _ in range(20)]
    try:
        assert _ask(http.client.HTTPConnection("127.0.0.1", port + 1, timeout=5), "/phone").status == 200
    finally:
        for one in silent:
            one.close()


def test_without_encryption_it_answers_to_the_machines_own_addresses_and_warns(barn: Path, port: int) -> None:
    """The settings must hear of the addresses before they are read."""
    import subprocess
    import sys

    own, plainly = addresses.lan_addresses()[0], free_pair()
    with subprocess.Popen(
        [sys.executable, "-c", SERVE, "serve", "--host", "0.0.0.0", "--port", str(plainly)],  # noqa: S104
        env=environment(barn), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    ) as run:  # fmt: skip
        try:
            assert run.stderr is not None
            assert "not encrypted" in run.stderr.readline()

            def ask(host: str) -> int:
                return _ask(http.client.HTTPConnection("127.0.0.1", plainly, timeout=20), "/sign-in", Host=host).status

            _until(lambda: ask(f"{own}:{plainly}") == 200)
            assert ask("elsewhere.example") == 400
        finally:
            run.terminate()


# --- what stands in the way --------------------------------------------------------------------------------------


def test_a_taken_port_is_told_whichever_of_the_two_it_is(book: Path, tmp_path: Path) -> None:  # noqa: F811
    pair = free_pair()
    for taken in (pair, pair + 1):
        with socket.socket() as busy:
            busy.bind(("0.0.0.0", taken))  # noqa: S104
            busy.listen()
            run = _run("serve", "--lan", "--port", str(pair), cwd=tmp_path, CHIRR_FARM=str(book))
            assert f"Port {taken}" in _one_sentence(run, 1)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--lan", "--name", "two words"], "cannot be the name of a computer"),
        (["--lan", "--name", "-x"], "cannot be the name of a computer"),
        (["--lan", "--host", "::1"], "give an IPv4 address"),
        (["--lan", "--port", "65535"], "65534 or lower"),
        (["--name", "hazel"], "say --lan too"),
    ],
)
def test_an_option_that_will_not_do_is_told_in_one_sentence(
    book: Path,  # noqa: F811
    tmp_path: Path,
    arguments: list[str],
    words: str,
) -> None:
    run = _run("serve", *arguments, cwd=tmp_path, CHIRR_FARM=str(book))
    assert words in _one_sentence(run, 2)


def test_a_damaged_authority_is_told_in_one_sentence(barn: Path, port: int, tmp_path: Path) -> None:
    import shutil

    copy = tmp_path / "barn.chirr"
    shutil.copy(barn, copy)
    folder = safe.folder_of(copy)
    folder.mkdir()
    (folder / safe.AUTHORITY).write_text("mould")
    run = _run("serve", "--lan", "--port", str(free_pair()), cwd=tmp_path, CHIRR_FARM=str(copy))
    assert "put it back from your copy" in run.stderr
    assert "Traceback" not in run.stderr
    assert run.returncode == 1


def test_a_book_without_a_farm_is_set_up_from_the_network_by_a_code_that_is_another_each_time(tmp_path: Path) -> None:
    codes = []
    for name in ("one", "two"):
        empty = tmp_path / f"{name}.chirr"
        assert _run("new", str(empty), cwd=tmp_path).returncode == 0
        with served(empty):
            _until(lambda empty=empty: "Stop with" in _said(empty))
            said = _said(empty)
        assert "holds no farm yet" in said
        assert "give somebody a password" not in said
        codes += re.findall(r"good until the farm is made: ([a-z-]{14})$", said, re.MULTILINE)
    assert len(set(codes)) == 2


# --- addresses ---------------------------------------------------------------------------------------------------


def test_the_addresses_found_are_this_machines_own() -> None:
    found = addresses.lan_addresses()
    assert len(found) == len(set(found))
    assert not any(a.startswith("127.") for a in found)
    for address in found:
        with socket.socket() as own:
            own.bind((address, 0))


@pytest.mark.parametrize(
    ("name", "names"),
    [
        ("hazel", ["hazel.local", "hazel", "localhost"]),
        ("hazel.local", ["hazel.local", "localhost"]),
        ("localhost", ["localhost"]),
    ],
)
def test_a_machine_goes_by_its_name_and_by_local(name: str, names: list[str]) -> None:
    assert addresses.names_for(name) == names


def test_a_machine_whose_own_name_will_not_do_is_localhost(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("socket.gethostname", lambda: "Annas_PC")
    assert addresses.host_name() == "localhost"
    monkeypatch.setattr("socket.gethostname", lambda: "HAZEL.farm.example")
    assert addresses.host_name() == "hazel"


def test_the_set_up_port_knows_fixed_answers_only() -> None:
    app = plain.SetUpPort({"/phone": plain.Answer("text/plain", b"hello")}, "https://hazel.local:1/")
    told: list[str] = []

    def ask(path: str, method: str = "GET") -> bytes:
        return b"".join(
            app({"REQUEST_METHOD": method, "PATH_INFO": path}, lambda status, _headers: told.append(status))
        )

    assert ask("/phone") == b"hello"
    ask("/x")
    ask("/phone", "DELETE")
    assert [t[:3] for t in told] == ["200", "404", "405"]


@pytest.mark.parametrize(
    ("wanted", "given"),
    [
        ("es-MX,es;q=0.9,en;q=0.8", "hola"),
        ("en-GB,es;q=0.5", "hello"),
        ("fr, es", "hola"),
        ("fr", "hello"),
        ("", "hello"),
    ],
)
def test_the_set_up_page_is_given_in_the_phones_language(wanted: str, given: str) -> None:
    page = plain.Answer("text/plain", b"hello", {"es": b"hola"})
    assert page.for_one_who_reads(wanted) == given.encode()


def test_the_set_up_page_of_the_farm_is_there_in_spanish_too(port: int) -> None:
    def page(language: str) -> str:
        line = http.client.HTTPConnection("127.0.0.1", port + 1, timeout=20)
        return str(_ask(line, "/phone", Accept_Language=language).text)  # type: ignore[attr-defined]

    assert 'lang="en"' in page("en")
    assert "Set up a phone" in page("en")
    assert 'lang="es"' in page("es-MX")
    assert "Set up a phone" not in page("es-MX")
