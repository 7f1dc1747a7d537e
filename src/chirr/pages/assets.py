"""Which files the phone keeps, and under which version: one short text that changes when any of them does."""

from __future__ import annotations

import re
from functools import cache
from hashlib import sha256
from importlib.metadata import version as version_of
from pathlib import Path

FOLDER = Path(__file__).parent / "static"
APART = ("chirr/vendor/",)
"""Too heavy to keep on every phone, and not needed in a room without radio: the chart library."""
HTMX = "django_htmx/htmx-2.min.js"


@cache
def version() -> str:
    """Ten letters that stand for the contents of all static files.

    They are part of the files' addresses, so a browser may keep each for ever and never mixes old with new.
    """
    told = sha256(version_of("django-htmx").encode())
    for path in sorted(p for p in FOLDER.rglob("*") if p.is_file()):
        told.update(path.relative_to(FOLDER).as_posix().encode())
        told.update(path.read_bytes())
    return told.hexdigest()[:10]


@cache
def kept_on_phones() -> tuple[str, ...]:
    """Paths below the static address that make up the phone's own pages."""
    ours = (p.relative_to(FOLDER).as_posix() for p in sorted(FOLDER.rglob("*")) if p.is_file())
    return (*(path for path in ours if not path.startswith(APART)), HTMX)


_IMPORT = re.compile(r'^import [^"]*"(\./[^"]+|\.\./[^"]+)";', re.MULTILINE)


@cache
def with_imports(path: str) -> tuple[str, ...]:
    """A script below the static folder and all that it imports at once, each file after the one that asks for it.

    A page that names them all gets them together, instead of one round trip for each step of who imports whom.
    """
    found = [path]
    for name in found:
        folder = (FOLDER / name).parent
        for told in _IMPORT.findall((FOLDER / name).read_text()):
            here = (folder / told).resolve().relative_to(FOLDER.resolve()).as_posix()
            if here not in found:
                found.append(here)
    return tuple(found)
