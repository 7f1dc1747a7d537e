"""Opening the farm's book: there, ours, of this Chirr or brought up to it."""

from __future__ import annotations

import atexit
import gc
import os
import sqlite3
from contextlib import closing
from pathlib import Path

from chirr.cli.say import BadInput, Trouble, sorry

BESIDE = ("-wal", "-shm", ".key", ".learnt", ".grade.json")
"""Endings of the files that stand beside a book."""


def farm_path() -> Path:
    """The book that --farm or CHIRR_FARM names."""
    return Path(os.environ["CHIRR_FARM"])


def open_farm(*, create: bool = False) -> Path:
    """Make the framework ready for the farm's book, which must exist unless `create`."""
    path = farm_path()
    new = not path.exists()
    if new and not create:
        raise Trouble(
            f"There is no farm at {path}. Begin one with 'chirr new PATH' or 'chirr import FOLDER', "
            "or name another with --farm PATH."
        )
    if new:
        _room_for(path)
    else:
        _must_be_ours(path)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "chirr.settings")
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # many small matrices: more threads only wait for one another
    gc.set_threshold(100_000, 50, 100)  # a big farm is a million small objects that stay: look through them seldom
    import django

    django.setup()
    atexit.register(_leave)
    _bring_up_to_date(path, new)
    return path


def _leave() -> None:
    """Close the book, so that all of it stands in its one file, and end without looking through every object again."""
    from django.db import connections

    connections.close_all()
    gc.freeze()


def _room_for(path: Path) -> None:
    if not path.parent.is_dir():
        raise BadInput(f"There is no folder {path.parent}; make it first, or choose another place for the book.")
    if not os.access(path.parent, os.W_OK):
        raise BadInput(f"The folder {path.parent} cannot be written to; choose another place for the book.")


def _must_be_ours(path: Path) -> None:
    if path.is_dir():
        raise BadInput(f"{path} is a folder, not a farm's book; a folder comes in with 'chirr import'.")
    not_ours = BadInput(f"{path} is not a book of Chirr; name the farm's book with --farm PATH.")
    try:
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as book:
            names = {name for (name,) in book.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    except sqlite3.DatabaseError as error:
        raise not_ours from error
    if not {"book_entryrow", "django_migrations"} <= names:
        raise not_ours


def _bring_up_to_date(path: Path, new: bool) -> None:
    """Bring a new or older book to this Chirr's shape, an older one with a copy kept beside it."""
    from django.core.management import call_command
    from django.db import OperationalError, connection
    from django.db.migrations.executor import MigrationExecutor

    try:
        executor = MigrationExecutor(connection)
        known = set(executor.loader.graph.nodes)
        unknown = [m for m in executor.loader.applied_migrations if m not in known and m[0] in ("book", "pages")]
        if unknown:
            raise Trouble(f"{path} was written by a newer Chirr than this one; update Chirr to open it.")
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            if not new:
                sorry(f"Bringing {path.name} up to date; the book as it was is kept in {_copy(path).name}.")
            call_command("migrate", verbosity=0, interactive=False)
    except OperationalError as error:
        raise Trouble(
            f"{path} cannot be opened for writing ({error}); close what else uses it, or check who owns it."
        ) from error


def _copy(path: Path) -> Path:
    from chirr import __version__

    copy = path.with_name(f"{path.name}.before-{__version__}")
    with closing(sqlite3.connect(path)) as old, closing(sqlite3.connect(copy)) as fresh:
        old.backup(fresh)
    return copy


def remove_book(path: Path) -> None:
    """Take away a book that was only just begun, with the files beside it."""
    from django.conf import settings

    if settings.configured:  # an earlier demo is taken away before anything is open
        from django.db import connections

        connections.close_all()
    for file in (path, *(path.with_name(path.name + ending) for ending in BESIDE)):
        file.unlink(missing_ok=True)
