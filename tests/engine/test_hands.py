"""Work shared among processors: the same answers whoever does it."""

from __future__ import annotations

import multiprocessing
import subprocess
import sys
import textwrap
import threading
from functools import partial

import numpy as np
import pytest

from chirr.engine import hands


def piece(number: int) -> tuple[int, float]:
    """Something with a result of its own."""
    assert multiprocessing.parent_process() is None
    return number, float(np.random.default_rng(number).normal(size=1000).sum())


ALONE = [piece(n) for n in range(5)]
PIECES = [partial(piece, n) for n in range(5)]


def alone_in_a_process(script: str) -> subprocess.CompletedProcess[str]:
    """A process without other threads, as a command is, that shares work between two hands."""
    before = "import multiprocessing, os\nfrom chirr.engine import hands\nos.sched_getaffinity = lambda _: {0, 1}\n"
    return subprocess.run(
        [sys.executable, "-c", before + textwrap.dedent(script)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere copies of a process are not safe")
def test_copies_of_a_process_give_what_each_piece_gives_in_order() -> None:
    done = alone_in_a_process(
        """
        def piece(n):
            assert multiprocessing.parent_process() is not None
            return n * n, os.getpid()
        got = hands.share([lambda n=n: piece(n) for n in range(6)])
        assert os.getpid() not in {pid for _, pid in got}
        print([square for square, _ in got])
        """
    )
    assert done.stdout.strip() == "[0, 1, 4, 9, 16, 25]", done.stderr


def test_what_goes_wrong_in_a_piece_is_told() -> None:
    done = alone_in_a_process(
        """
        def wrong():
            raise LookupError("no such lot")
        try:
            hands.share([wrong, wrong])
        except LookupError as error:
            print(error)
        """
    )
    assert done.stdout.strip() == "no such lot", done.stderr


def test_a_process_with_another_thread_works_alone() -> None:
    over = threading.Event()
    other = threading.Thread(target=over.wait)
    other.start()
    try:
        assert hands.count() == 1
        assert hands.share(PIECES) == ALONE
    finally:
        over.set()
        other.join()


def test_there_is_always_a_hand_and_never_more_than_memory_allows() -> None:
    assert 1 <= hands.count() <= hands.AT_MOST
