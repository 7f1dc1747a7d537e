"""The words of the pages: gathered from the source, kept in one .po for each language, compiled to .mo.

    make words            gather anew, keep what is translated, list what is not, compile
    make words CHECK=1    change nothing; fail when something is missing

GNU gettext is not needed: Babel reads the Python, and Django turns a template into something that Babel can read.
"""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from babel.messages import Catalog
from babel.messages.extract import extract
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

ROOT = Path(__file__).resolve().parent.parent
SOURCE = ROOT / "src" / "chirr"
LOCALE = SOURCE / "locale"
LANGUAGES = ("es",)

KEYWORDS = {
    "_": None, "gettext": None, "gettext_lazy": None, "gettext_noop": None, "ngettext": (1, 2),
    "ngettext_lazy": (1, 2), "pgettext": ((1, "c"), 2), "pgettext_lazy": ((1, "c"), 2),
    "npgettext": ((1, "c"), 2, 3),
    "say": None, "say_n": (1, 2), "said": None, "said_n": (1, 2), "word": None, "mark": ((1, "c"), 2),
}  # fmt: skip
"""What marks a text: Django's own, and those of `chirr.says`, `chirr.desk.spoken` and `chirr.desk.terms`."""

SKIPPED = ("locale", "static", "migrations", "demo", "cli")
ALWAYS = datetime(2026, 1, 1, tzinfo=UTC)
"""No date goes into the files, so that the same words give the same bytes."""
HEAD = "# Spanish words of Chirr's pages. Written by hand; gathered by words/catalogue.py.\n#\n"

Found = tuple[str, "str | tuple[str, ...]", "str | None"]


def _of_python(path: Path) -> Iterator[Found]:
    for _, message, _, context in extract("python", io.BytesIO(path.read_bytes()), keywords=KEYWORDS):
        if message and (isinstance(message, tuple) or message.strip()):
            yield str(path.relative_to(SOURCE.parent)), message, context


def _of_template(path: Path) -> Iterator[Found]:
    from django.utils.translation.template import templatize

    code = templatize(path.read_text(), origin=str(path))
    calls = "\n".join(
        line
        for line in re.findall(r"\b(?:n?p?gettext|_)\((?:[^()\"']|\"(?:[^\"\\]|\\.)*\"|'(?:[^'\\]|\\.)*')*\)", code)
    )
    for _, message, _, context in extract("python", io.BytesIO(calls.encode()), keywords=KEYWORDS):
        if message:
            yield str(path.relative_to(SOURCE.parent)), message, context


def gathered() -> Catalog:
    """All messages of the source, in the order of the files."""
    catalogue = Catalog(charset="utf-8")
    for path in sorted(SOURCE.rglob("*")):
        if any(part in SKIPPED for part in path.relative_to(SOURCE).parts):
            continue
        of = {".py": _of_python, ".html": _of_template}.get(path.suffix)
        for where, message, context in of(path) if of else ():
            flags = ("python-brace-format",) if re.search(r"{\w", str(message)) else ()
            catalogue.add(message, locations=[(where, None)], context=context, flags=flags)
    return catalogue


def po_path(language: str) -> Path:
    return LOCALE / language / "LC_MESSAGES" / "django.po"


def kept(language: str) -> Catalog:
    """The catalogue of a language as it is kept."""
    path = po_path(language)
    if not path.exists():
        return Catalog(locale=language, charset="utf-8")
    with path.open("rb") as f:
        catalogue = read_po(f, locale=language)
    catalogue.creation_date = catalogue.revision_date = ALWAYS
    return catalogue


def compiled(catalogue: Catalog) -> bytes:
    """The catalogue as Django reads it."""
    out = io.BytesIO()
    write_mo(out, catalogue)
    return out.getvalue()


def key(message: object) -> tuple[str | None, object]:
    """What tells a message apart: its context, and its text or texts."""
    of = message.id  # type: ignore[attr-defined]
    return message.context, tuple(of) if isinstance(of, list | tuple) else of  # type: ignore[attr-defined]


def missing(language: str, source: Catalog | None = None) -> list[str]:
    """Texts of the source that the language lacks or is not sure of, in words to put right."""
    have = {key(m): m for m in kept(language) if m.id}
    lacking = []
    for message in source or gathered():
        if not message.id:
            continue
        told = have.get(key(message))
        text = told and (told.string if isinstance(told.string, list | tuple) else (told.string,))
        if not text or not all(text) or (told is not None and told.fuzzy):
            where = message.locations[0][0] if message.locations else "?"
            lacking.append(f"{where}: {message.context + ' | ' if message.context else ''}{message.id!r}")
    return lacking


def renew(language: str) -> None:
    """Bring the kept catalogue to what the source says now, and compile it."""
    old = {key(m): m.string for m in kept(language) if m.id}
    new = Catalog(locale=language, charset="utf-8", project="chirr", version="", fuzzy=False, header_comment=HEAD)
    for message in gathered():
        if message.id:
            new.add(
                message.id, old.get(key(message), ""), locations=message.locations, context=message.context,
                flags=message.flags - {"fuzzy"},
            )  # fmt: skip
    path = po_path(language)
    path.parent.mkdir(parents=True, exist_ok=True)
    out = io.BytesIO()
    write_po(out, new, width=110, omit_header=False, include_lineno=False)
    lines = out.getvalue().decode().splitlines(keepends=True)
    path.write_text("".join(x for x in lines if not re.match(r'"(POT-Creation|PO-Revision)-Date', x)))
    path.with_suffix(".mo").write_bytes(compiled(kept(language)))


def main() -> int:
    """Renew, or with --check only look."""
    if "--check" not in sys.argv:
        for language in LANGUAGES:
            renew(language)
    lacking = [f"{language}: {text}" for language in LANGUAGES for text in missing(language)]
    sys.stdout.write("".join(f"not translated: {x}\n" for x in lacking) or "Every text is translated.\n")
    return 1 if lacking and "--check" in sys.argv else 0


if __name__ == "__main__":
    sys.exit(main())
