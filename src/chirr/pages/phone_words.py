"""The words that the phone's own scripts say, in one place so that they can be translated with all the others.

In the scripts they stand in English inside `t("...")`; what is in braces is filled in there.
"""

from __future__ import annotations

from django.utils.translation import get_language, gettext

WORDS: tuple[str, ...] = ()


def translated() -> dict[str, str]:
    """English words to those of the language asked for; empty for English itself."""
    if (get_language() or "en").startswith("en"):
        return {}
    return {word: gettext(word) for word in WORDS}
