"""Pages read the book while somebody writes: no one waits for the other, and nothing shows before it is committed.

In a process of its own, on a book in a file: only there have reader and writer a connection each, as when pages are
served.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

FOUND = """
import threading
from chirr.cli.farm import open_farm
open_farm(create=True)
from django.db import connection, transaction
from chirr.book import actions, ledger
from chirr.records import Bin, Entry, FarmCard, FarmFolder, Person, Room

owner = Person(person="Ines", role="owner")
bins = [Bin(bin="B1", room="warm", stack=1, level=1, duty="grow-out", floor_cm2=5000, hides_cm2=9000)]
actions.found(FarmFolder(farm=FarmCard(name="Test barn", timezone="Europe/Lisbon"),
                         rooms=[Room(room="warm", set_temperature_c=30)], bins=bins, people=[owner]), actor=owner)

def feed(n, at=1_900_000_000):
    actions.record([Entry(id=f"01900000-0000-7000-8000-{n:012d}", at=at, person="Ines", deed="feed", bin="B1")],
                   actor=owner)

def in_thread(what):
    out = []
    def run():
        out.append(what())
        connection.close()
    one = threading.Thread(target=run)
    one.start()
    one.join(15)
    assert out, "a reader waited for a writer"
    return out[0]
"""


def told(tmp_path: Path, script: str) -> list[str]:
    """What a script prints on a farm of one bin."""
    env = os.environ | {"CHIRR_FARM": str(tmp_path / "farm.chirr")}
    run = subprocess.run(
        [sys.executable, "-c", FOUND + script], env=env, capture_output=True, text=True, check=False, timeout=120
    )
    assert run.returncode == 0, run.stderr
    return run.stdout.split()


def test_a_reader_in_the_midst_of_a_transaction_sees_what_was_committed_and_at_once(tmp_path: Path) -> None:
    script = """
feed(1)
seen = lambda: ledger.live().entries
print(in_thread(seen))
with transaction.atomic():
    feed(2)
    print(seen(), in_thread(seen))
print(seen(), in_thread(seen))
"""
    assert told(tmp_path, script) == ["1", "2", "1", "2", "2"]


@pytest.mark.parametrize("where", ["outside", "inside"])
def test_what_was_rolled_back_is_gone_for_all_and_its_number_is_free_again(tmp_path: Path, where: str) -> None:
    script = f"""
feed(1)
class Stop(Exception): pass
def broken():
    with transaction.atomic():
        feed(2)
        ledger.live()
        raise Stop
try:
    if {where == "inside"}:
        with transaction.atomic():
            feed(3)
            try:
                broken()
            except Stop:
                pass
            print(ledger.live().entries)
    else:
        broken()
except Stop:
    print(ledger.live().entries)
feed(4)
same = ledger.live() == ledger.replayed()
print(ledger.live().entries, same, in_thread(lambda: ledger.live().entries))
"""
    assert told(tmp_path, script) == (["2", "3", "True", "3"] if where == "inside" else ["1", "2", "True", "2"])


def test_entries_of_the_same_second_are_put_on_top_and_not_replayed_from_the_first(tmp_path: Path) -> None:
    script = """
feed(1)
ledger.live()
whole = []
before = ledger._rebuild
ledger._rebuild = lambda *a: whole.append(1) or before(*a)
for n in range(2, 8):
    feed(n)
    ledger.live()
print(len(whole), ledger.live() == ledger.replayed())
"""
    assert told(tmp_path, script) == ["0", "True"]


def test_four_threads_at_once_come_to_the_same_standing(tmp_path: Path) -> None:
    script = """
over, wrong = threading.Event(), []
def read():
    last = 0
    while not over.is_set():
        try:
            now = ledger.live()
            sum(len(lot.facts) for lot in now.lots.values())
            if now.entries < last:
                wrong.append("went back")
            last = now.entries
        except Exception as error:
            wrong.append(repr(error))
    connection.close()
def write(first):
    try:
        for n in range(first, first + 20):
            feed(n, at=1_900_000_000 + n)
    except Exception as error:
        wrong.append(repr(error))
    connection.close()
readers = [threading.Thread(target=read) for _ in range(2)]
writers = [threading.Thread(target=write, args=(k,)) for k in (100, 200)]
for t in readers + writers: t.start()
for t in writers: t.join()
over.set()
for t in readers: t.join()
print(ledger.live() == ledger.replayed(), len(wrong), *wrong[:2])
"""
    assert told(tmp_path, script)[:2] == ["True", "0"]
