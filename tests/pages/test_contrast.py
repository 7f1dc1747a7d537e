"""Contrast of every pair of colours that the pages lay on each other, in both lights, by the formula of WCAG 2.2."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

GROUND = Path(__file__).resolve().parents[2] / "src/chirr/pages/static/chirr/css/ground.css"
TEXT, PARTS = 4.5, 3.0
"""1.4.3 Contrast (Minimum), level AA; 1.4.11 Non-text Contrast, level AA."""
SURFACES = ("ground", "sheet", "sunk")
PAIRS = [
    *((ink, on, TEXT) for ink in ("ink", "soft", "amber-ink", "leaf", "rust") for on in SURFACES),
    ("on-amber", "amber", TEXT), ("leaf", "leaf-ground", TEXT), ("rust", "rust-ground", TEXT),
    ("ink", "leaf-ground", TEXT), ("ink", "rust-ground", TEXT),
    *((part, on, PARTS) for part in ("edge", "focus") for on in SURFACES),
    *((f"chart-{n}", "sheet", PARTS) for n in range(1, 6)),
]  # fmt: skip


def luminance(colour: str) -> float:
    """Relative luminance of '#rrggbb', as WCAG 2.2 defines it."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(a: str, b: str) -> float:
    """Contrast ratio, as WCAG 2.2 defines it."""
    dark, light = sorted((luminance(a), luminance(b)))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(
    ("colour", "ratio"),
    [("#777777", 4.4781), ("#767676", 4.5422), ("#000000", 21.0), ("#0000ff", 8.5925), ("#ff0000", 3.9985)],
)
def test_the_formula_gives_the_known_contrasts_with_white(colour: str, ratio: float) -> None:
    """Worked from the definition in WCAG 2.2, W3C Recommendation; #777777 fails AA by a hair and #767676 passes."""
    assert contrast(colour, "#ffffff") == pytest.approx(ratio, abs=0.001)


def colours(light: int) -> dict[str, str]:
    """The named colours of the pages in one light: 0 for light, 1 for dark."""
    css = GROUND.read_text()
    both = re.findall(r"--([\w-]+):\s*light-dark\((#\w{6}),\s*(#\w{6})\)", css)
    one = re.findall(r"--([\w-]+):\s*(#\w{6});", css)
    return {name: pair[light] for name, *pair in both} | dict(one)


@pytest.mark.parametrize("light", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize(("fore", "back", "least"), PAIRS)
def test_what_is_read_stands_out_from_what_is_behind_it(fore: str, back: str, least: float, light: int) -> None:
    named = colours(light)
    assert contrast(named[fore], named[back]) >= least
