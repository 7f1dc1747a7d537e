"""The words of the pages: every one is gathered, translated whole, and compiled as it stands."""

from __future__ import annotations

import ast
import gettext
import importlib.util
import io
import re
import string
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SOURCE = ROOT / "src" / "chirr"

_spec = importlib.util.spec_from_file_location("catalogue", ROOT / "words" / "catalogue.py")
assert _spec is not None
assert _spec.loader is not None
catalogue = importlib.util.module_from_spec(_spec)
sys.modules["catalogue"] = catalogue
_spec.loader.exec_module(catalogue)

LANGUAGES = catalogue.LANGUAGES


@pytest.fixture(scope="module")
def source():
    return catalogue.gathered()


def texts(value) -> tuple[str, ...]:
    return tuple(value) if isinstance(value, list | tuple) else (value,)


def places(text: str) -> list[str]:
    """What is filled in, in no order: {name} with its format, %(name)s, and the tags of HTML."""
    braces = [f"{name}:{spec}" for _, name, spec, _ in string.Formatter().parse(text) if name] if "{" in text else []
    return sorted([*braces, *re.findall(r"%\(\w+\)[sd]", text), *re.findall(r"</?\w+[^>]*>", text)])


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_text_is_translated_and_none_is_doubtful(language, source):
    lacking = catalogue.missing(language, source)
    assert not lacking, "run `make words`, then translate:\n" + "\n".join(lacking)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_kept_catalogue_has_the_texts_of_the_source_and_no_others(language, source):
    kept = {catalogue.key(m) for m in catalogue.kept(language) if m.id}
    told = {catalogue.key(m) for m in source if m.id}
    assert told - kept == set(), "run `make words`"
    assert kept - told == set(), "run `make words`"


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_is_filled_in_is_the_same_in_every_form_of_a_text(language):
    for message in catalogue.kept(language):
        if not message.id:
            continue
        wanted = places(texts(message.id)[-1])
        for told in texts(message.string):
            found = places(told)
            assert found == wanted or (len(texts(message.id)) > 1 and set(found) <= set(wanted)), message.id


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_text_about_many_has_a_form_for_each_number(language):
    kept = catalogue.kept(language)
    for message in kept:
        if message.id and len(texts(message.id)) > 1:
            assert len(texts(message.string)) == kept.num_plurals, message.id


@pytest.mark.parametrize("language", LANGUAGES)
def test_spaces_and_full_stops_at_the_ends_are_kept(language):
    for message in catalogue.kept(language):
        for text, told in zip(texts(message.id), texts(message.string), strict=True) if message.id else ():
            assert (text[:1] == " ") == (told[:1] == " "), text
            assert (text[-1:] == " ") == (told[-1:] == " "), text
            assert (text[-1:] == ".") == (told[-1:] == "."), text


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_compiled_catalogue_is_the_written_one(language):
    """Read with the standard library's gettext, which is not what wrote it."""
    kept = catalogue.kept(language)
    path = catalogue.po_path(language).with_suffix(".mo")
    assert path.read_bytes() == catalogue.compiled(kept), "run `make words`"
    read = gettext.GNUTranslations(io.BytesIO(path.read_bytes()))
    for message in kept:
        if not message.id:
            continue
        one, told = texts(message.id)[0], texts(message.string)
        if len(told) > 1:
            assert read.ngettext(one, texts(message.id)[1], 1) == told[0]
            assert read.ngettext(one, texts(message.id)[1], 7) == told[1]
        elif message.context:
            assert read.pgettext(message.context, one) == told[0]
        else:
            assert read.gettext(one) == told[0]


# --- texts that nobody marked --------------------------------------------------------------------------------------

MARKS = {*catalogue.KEYWORDS, "_"}
SPOKEN = ("desk", "pages")
"""Rooms whose sentences are shown on pages."""
IN_ENGLISH = {
    # the command line and what only it shows speak English
    "desk/examine.py", "desk/gather.py", "desk/rawrows.py", "desk/rehearsal.py", "desk/transfer.py", "desk/timing.py",
    "desk/grade.py", "desk/grade_cases.py", "desk/kept_grade.py", "desk/usual_week.py", "desk/usual_moves.py",
    "desk/limits.py",
    "desk/trial_answers.py", "desk/trial_lots.py", "desk/trial_notes.py", "desk/trial_plans.py", "desk/trial_rows.py",
    "desk/trial_sizes.py", "desk/trial_stakes.py", "desk/trial_tables.py", "desk/trial_words.py",
    "desk/trial_worth.py", "desk/trials.py", "pages/vendor.py", "desk/shapes.py",
    # a calendar program asks without saying in which language; what is kept in the book is in one language
    "desk/turns.py", "desk/calendar_file.py", "desk/photos.py", "desk/from_wall.py",
}  # fmt: skip


def unmarked(path: Path) -> list[str]:
    """Sentences in a file that no call marks: with a space, beginning with a capital and ending with a full stop."""
    tree = ast.parse(path.read_text())
    marked = {
        id(part)
        for call in ast.walk(tree)
        if isinstance(call, ast.Call) and getattr(call.func, "id", getattr(call.func, "attr", "")) in MARKS
        for argument in call.args
        for part in ast.walk(argument)
    }
    bodies = [body for node in ast.walk(tree) if isinstance(body := getattr(node, "body", None), list)]
    prose = {
        id(part.value)
        for body in bodies
        for part in body
        if isinstance(part, ast.Expr) and isinstance(part.value, ast.Constant)
    }
    inside = {id(p) for n in ast.walk(tree) if isinstance(n, ast.JoinedStr) for p in ast.walk(n) if p is not n}
    found = []
    for node in ast.walk(tree):
        if id(node) in marked | prose | inside:
            continue
        if isinstance(node, ast.JoinedStr):
            text = "".join(p.value if isinstance(p, ast.Constant) else "{}" for p in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        else:
            continue
        if re.match(r"(?:[A-Z“]|{})", text) and re.search(r"[a-z] [a-z]", text) and re.search(r"[.?!…]$", text):
            found.append(f"{path.relative_to(SOURCE)}:{node.lineno}: {text}")
    return found


def test_no_sentence_of_desk_or_pages_is_left_unmarked():
    files = [p for room in SPOKEN for p in sorted((SOURCE / room).rglob("*.py"))]
    shown = [p for p in files if str(p.relative_to(SOURCE)) not in IN_ENGLISH]
    bare = [line for path in shown for line in unmarked(path)]
    assert not bare, "wrap these in say(...) of chirr.desk.spoken:\n" + "\n".join(bare)


def test_no_text_of_a_template_is_left_unmarked():
    bare = []
    for path in sorted((SOURCE / "pages" / "templates").rglob("*.html")):
        if path.name in ("500.html", "403_csrf.html"):
            continue  # drawn without language, when all else fails
        text = path.read_text()
        text = re.sub(r"{%\s*blocktrans(?:late)?\b.*?{%\s*endblocktrans(?:late)?\s*%}", "", text, flags=re.DOTALL)
        text = re.sub(r"{%\s*trans(?:late)?\s.*?%}|{{.*?}}|{#.*?#}", "", text, flags=re.DOTALL)
        labels = re.findall(r'(?:aria-label|alt|title|placeholder)="([^"{]*[a-z]{2}[^"{]*)"', text)
        arguments = re.findall(r'{%\s*field\s+\S+\s+"[^"]+"|\b(?:hint|blank|words)="[^"]+"', text)
        text = re.sub(r"{%.*?%}", "", text, flags=re.DOTALL)
        text = re.sub(r"<(?:script|style|code)\b.*?</(?:script|style|code)>|<[^>]*>", "\n", text, flags=re.DOTALL)
        words = [line.strip() for line in text.splitlines() if re.search(r"[A-Za-z]{2}", line)]
        bare += [
            f"{path.name}: {x}"
            for x in (*labels, *arguments, *words)
            if re.sub(r"&\w+;|Chirr|kg|cm|narrow", "", x).strip()
        ]
    assert not bare, "mark these for translation:\n" + "\n".join(bare)
