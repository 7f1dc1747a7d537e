"""The manual says what the program does: whatever the program knows of itself has its place in the pages."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

from chirr import deeds
from chirr.files.columns import CARD, SHEETS, SIZE_CLASSES

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAGES = sorted(p for p in DOCS.rglob("*.md") if "_build" not in p.parts)


def _page(name: str) -> str:
    return (DOCS / name).read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def generate() -> ModuleType:
    spec = importlib.util.spec_from_file_location("generate_docs", DOCS / "generate.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("page", ["commands.md", "file-formats.md", "values.md"])
def test_what_make_docs_writes_is_what_stands_in_the_page(generate: ModuleType, page: str) -> None:
    assert generate.filled(_page(page)) == _page(page), "run make docs and commit what it writes"


def test_every_command_has_its_heading() -> None:
    from chirr.cli import app

    names = {command.name for command in app.registered_commands} | {group.name for group in app.registered_groups}
    headings = set(re.findall(r"^## chirr (\S+)", _page("commands.md"), re.MULTILINE))
    assert names == headings


@pytest.mark.parametrize("deed", sorted(deeds.DEEDS))
def test_every_deed_has_its_row(deed: str) -> None:
    assert f"| `{deed}` |" in _page("file-formats.md")


@pytest.mark.parametrize("key", [c.name for c in CARD] + [f"[[size_class]]` `{c.name}" for c in SIZE_CLASSES.columns])
def test_every_key_of_the_farm_card_has_its_row(key: str) -> None:
    assert f"| `{key}` |" in _page("file-formats.md")


@pytest.mark.parametrize(("file", "column"), [(s.file, c.name) for s in SHEETS for c in s.columns])
def test_every_column_of_every_file_has_its_row(file: str, column: str) -> None:
    section = re.search(rf"^### {re.escape(file)}$(.*?)(?=^##|\Z)", _page("file-formats.md"), re.MULTILINE | re.DOTALL)
    assert section is not None
    assert f"| `{column}` |" in section[1]


@pytest.mark.parametrize("page", [*PAGES, ROOT / "README.md", ROOT / "CONTRIBUTING.md"], ids=lambda p: p.name)
def test_no_link_or_picture_of_a_page_leads_nowhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#\s]+)[^)]*\)", page.read_text(encoding="utf-8")):
        assert (page.parent / target).exists() or (page.parent / f"{target}.md").exists(), target


def test_every_page_is_reached_from_the_index() -> None:
    for page in PAGES:
        if page.name != "index.md" and page.parent == DOCS:
            assert re.search(rf"^{page.stem}$", _page("index.md"), re.MULTILINE), page.name


@pytest.mark.parametrize("page", ["README.md", "docs/cautions.md"])
@pytest.mark.parametrize(
    "word",
    ["asthma", "shellfish", "carbon dioxide", "ammonia", "shut in|open from inside", "stacks", "electrician", "species",
     "fertiliser", "licen[sc]ed|hold a\\s+licence"],
)  # fmt: skip
def test_every_caution_is_given(page: str, word: str) -> None:
    assert re.search(word, (ROOT / page).read_text(encoding="utf-8"), re.IGNORECASE)


@pytest.mark.parametrize(
    "target", ["demo", "test", "install", "lint", "bench", "docs", "format", "requirements", "pictures"]
)
def test_every_make_target_that_is_spoken_of_exists(target: str) -> None:
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    assert re.search(rf"^{target}:", makefile, re.MULTILINE)


def test_every_make_command_in_the_pages_exists() -> None:
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    targets = set(re.findall(r"^(\w+):", makefile, re.MULTILINE))
    for page in [*PAGES, ROOT / "README.md", ROOT / "CONTRIBUTING.md"]:
        text = page.read_text(encoding="utf-8")
        assert set(re.findall(r"(?:^|`)make (\w+)", text, re.MULTILINE)) <= targets, page.name


def test_requirement_files_are_hashed_and_name_no_index() -> None:
    for file in sorted((ROOT / "requirements").glob("*.txt")):
        text = file.read_text(encoding="utf-8")
        assert "://" not in text, file.name
        assert "--index" not in text, file.name
        pins = re.findall(r"^[a-z0-9].*?(?=^[a-z0-9]|\Z)", text, re.MULTILINE | re.DOTALL)
        assert all("==" in pin and "--hash=sha256:" in pin for pin in pins), file.name


def test_the_sets_of_requirements_never_disagree() -> None:
    """They may be installed into one environment."""
    pins: dict[str, set[str]] = {}
    for file in ("run", "small", "dev", "docs"):
        text = (ROOT / "requirements" / f"{file}.txt").read_text(encoding="utf-8")
        for name, pin in re.findall(r"^([a-z0-9._-]+)(==.*?) *\\$", text, re.MULTILINE):
            pins.setdefault(f"{name} {pin.partition(';')[2].strip()}", set()).add(pin)
    assert {name for name, found in pins.items() if len(found) > 1} == set()
