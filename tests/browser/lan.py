"""The small farm served to its network by the real command, and browsers that trust just one authority."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Playwright

from browser.conftest import CHROMIUM, FLAGS, OURS, TESTS

NAME = "hazel.local"
SERVE = "import sys, chirr.cli.lan as lan; lan.LOOK_AGAIN_S = 0.5; from chirr.cli import main; main()"
"""The command itself, only looking twice a second instead of once a minute whether its address has changed."""


def free_pair() -> int:
    """A port that is free, with the one after it."""
    while True:
        with socket.socket() as one, socket.socket() as two:
            one.bind(("127.0.0.1", 0))
            port = one.getsockname()[1]
            try:
                two.bind(("127.0.0.1", port + 1))
            except OSError:
                continue
            return int(port)


def environment(book: Path) -> dict[str, str]:
    """The environment in which the command and the maker of the farm run."""
    return os.environ | {
        "CHIRR_FARM": str(book), "DJANGO_SETTINGS_MODULE": "chirr.settings", "PYTHONPATH": OURS,
        "OPENBLAS_NUM_THREADS": "1",
    }  # fmt: skip


@contextmanager
def served(book: Path, *more: str) -> Iterator[int]:
    """The book's farm under `chirr serve --lan`; gives the port of the encrypted pages."""
    port = free_pair()
    env = environment(book)
    if not book.exists():
        subprocess.run([sys.executable, str(TESTS / "browser/make_small_farm.py")], env=env, check=True)
    with Path(f"{book}.out").open("wb") as out:
        server = subprocess.Popen(
            [sys.executable, "-c", SERVE, "serve", "--lan", "--name", "hazel", "--port", str(port), *more],
            env=env, stdout=out, stderr=subprocess.STDOUT,
        )  # fmt: skip
        try:
            for _ in range(300):
                with socket.socket() as line:
                    if line.connect_ex(("127.0.0.1", port)) == 0:
                        break
                assert server.poll() is None, Path(f"{book}.out").read_text()
                time.sleep(0.1)
            yield port
        finally:
            server.terminate()
            server.wait(15)


def trusting(playwright: Playwright, home: Path, authority: bytes) -> BrowserContext:
    """A Chromium with a home of its own, in whose certificate store stands this authority and no other of ours."""
    if not shutil.which("certutil"):
        pytest.fail("This test needs certutil; run 'sudo apt-get install libnss3-tools'.")
    store = home / ".pki/nssdb"
    store.mkdir(parents=True)
    (home / "authority.pem").write_bytes(authority)
    for arguments in (
        ["-N", "--empty-password"],
        ["-A", "-t", "C,,", "-n", "the farm", "-i", str(home / "authority.pem")],
    ):
        subprocess.run(["certutil", "-d", f"sql:{store}", *arguments], check=True)
    env = {**os.environ, "HOME": str(home), "XDG_DATA_HOME": str(home / ".local/share"),
           "XDG_CONFIG_HOME": str(home / ".config")}  # fmt: skip
    return playwright.chromium.launch_persistent_context(
        str(home / "profile"), executable_path=CHROMIUM, env=env,
        args=[*FLAGS, f"--host-resolver-rules=MAP {NAME} 127.0.0.1, MAP bank.example 127.0.0.1"],
        viewport={"width": 360, "height": 740}, has_touch=True,
    )  # fmt: skip


__all__ = ["NAME", "Browser", "served", "trusting"]
