"""Numbers as people type them: decimal comma or point, spaces, points or commas between thousands; never a guess.

'1,500' is one and a half to one person and fifteen hundred to another, and so is '1.500'. In English a point is always
the decimal sign; in a language with a decimal comma either may be meant, so both are asked about.
"""

from __future__ import annotations

import math
import re

from chirr.desk.spoken import decimal_sign

_SPACES = str.maketrans({" ": "", "\u202f": "", "\u00a0": "", "\u2009": "", "'": "", "’": "", "−": "-"})


class TwoWays(ValueError):  # noqa: N818 - it is a question, not a failure
    """A number that can be read two ways: as `whole`, or as `part`, each written so that it cannot be mistaken."""

    def __init__(self, whole: str, part: str) -> None:
        super().__init__(f"{whole} or {part}")
        self.whole, self.part = whole, part


def read_number(text: str) -> float | None:
    """The number that a person typed; None when it is none. Raises TwoWays.

    >>> read_number("1,5"), read_number("1 500.25"), read_number("1.500.000"), read_number("1.500,5"), read_number("a")
    (1.5, 1500.25, 1500000.0, 1500.5, None)
    """
    bare = text.translate(_SPACES)
    doubtful = "[.,]" if decimal_sign() == "," else ","
    if re.fullmatch(rf"-?[1-9]\d{{0,2}}{doubtful}\d{{3}}", bare):
        whole, part = re.split("[.,]", bare)
        raise TwoWays(whole + part, f"{whole}.{part}" if doubtful == "," else shown_number(float(f"{whole}.{part}")))
    for group, point in ((",", r"\."), (r"\.", ",")):
        if re.fullmatch(rf"-?\d{{1,3}}({group}\d{{3}}){{2,}}({point}\d+)?|-?\d{{1,3}}{group}\d{{3}}{point}\d+", bare):
            bare = re.sub(group, "", bare)
    if bare.count(",") == 1 and "." not in bare:
        bare = bare.replace(",", ".")
    value = float(bare) if re.fullmatch(r"-?(\d+\.?\d*|\.\d+)", bare) else math.nan
    return value if math.isfinite(value) else None


def shown_number(value: float, spec: str = ".10g") -> str:
    """A number as the value of a field, with the decimal sign of the language, so that `read_number` reads it back.

    Three decimals get a nought behind them where the number could else be read two ways.

    >>> shown_number(0.5), shown_number(1.125), shown_number(1500.0)
    ('0.5', '1.125', '1500')
    """
    text = format(value, spec)
    if decimal_sign() == ".":
        return text
    return re.sub(r"^(-?[1-9]\d{0,2}\.\d{3})$", r"\g<1>0", text).replace(".", decimal_sign())
