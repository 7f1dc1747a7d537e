"""The chart library kept with the pages is what its source gives, and is said to be whose it is."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.contrib.staticfiles import finders

from chirr.pages import vendor


def test_the_bundle_written_anew_is_the_one_kept(tmp_path: Path) -> None:
    pytest.importorskip("vl_convert")
    fresh = vendor.write_bundle(tmp_path)
    kept = vendor.FOLDER / fresh.name
    assert kept.read_bytes() == fresh.read_bytes()


def test_the_bundle_names_its_makers_and_licence() -> None:
    path = finders.find(vendor.bundle_name())
    assert path is not None
    head = Path(path).read_text(encoding="utf-8")[:600]
    for words in ("BSD-3-Clause", "University of Washington", "VEGA-LICENCE.txt"):
        assert words in head
    assert "AS IS" in (vendor.FOLDER / "VEGA-LICENCE.txt").read_text(encoding="utf-8")
