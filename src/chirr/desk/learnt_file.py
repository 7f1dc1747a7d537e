"""Where the last search of a farm ended, kept in a file beside the book that may be thrown away at any time."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import msgspec
from django.db import connection

from chirr.book import ledger
from chirr.engine.colony.learnt import Learnt


def path_of() -> Path | None:
    name = str(connection.settings_dict["NAME"])
    return None if "mode=memory" in name or name == ":memory:" else Path(name + ".learnt")


class _Ends(msgspec.Struct):
    """The newest entry of the book from which was learnt; it stands in the file among what was learnt."""

    newest_entry: str = ""


def read_learnt() -> Learnt | None:
    """Where the last search of this farm ended: a file beside the book that may be thrown away at any time.

    It is of no use once the book no longer has all from which was learnt, because it was put back to an older copy: a
    search may stay where entries that are gone had led it.
    """
    path = path_of()
    try:
        told = b"" if path is None else path.read_bytes()
        newest = msgspec.json.decode(told, type=_Ends).newest_entry
        if newest and not ledger.how_many("id = %s", (newest,)):
            return None
        return msgspec.json.decode(told, type=Learnt)
    except (OSError, msgspec.DecodeError, msgspec.ValidationError):
        return None


def keep_learnt(learnt: Learnt, newest_entry: str) -> None:
    path = path_of()
    if path is None:
        return
    try:
        fresh = path.with_name(f"{path.name}.{os.getpid()}-{threading.get_ident()}")
        fresh.write_bytes(msgspec.json.encode(msgspec.to_builtins(learnt) | {"newest_entry": newest_entry}))
        fresh.replace(path)
    except OSError:
        return  # a book on a disk that cannot be written to is read all the same
