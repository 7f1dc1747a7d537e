"""What the scripts of every page say, and how they write figures and days in the language of the page."""

from __future__ import annotations

from typing import Any

from django.utils.translation import get_language, gettext

from chirr.desk import spoken
from chirr.pages import phone_words
from chirr.says import word

SENTENCES = (
    word("No answer from the farm's computer. Nothing was written; try again when the signal is back."),
    word("That did not work, and nothing was written. Open the page afresh and try again."),
    word("The chart could not be drawn here; its figures are in the table below."),
)


def words() -> dict[str, Any]:
    """Nothing for a page in English; else the sentences, and the locale of charts (of d3-format, d3-time-format)."""
    if spoken.is_english():
        return {}
    language = get_language() or "en"
    group, point = spoken.signs(language)
    return {
        "sentences": {text: gettext(text) for text in SENTENCES} | phone_words.translated(),
        "number": {"decimal": point, "thousands": group, "grouping": [3], "currency": ["", ""]},
        "time": {
            "dateTime": "%x, %X", "date": "%-d/%-m/%Y", "time": "%H:%M:%S", "periods": ["AM", "PM"],
            "days": spoken.full_weekdays(), "shortDays": [spoken.weekday((n + 6) % 7) for n in range(7)],
            "months": spoken.full_months(), "shortMonths": spoken.short_months(),
        },
    }  # fmt: skip
