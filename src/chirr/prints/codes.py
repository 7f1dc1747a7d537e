"""QR codes as drawings: the square code of ISO/IEC 18004."""

from __future__ import annotations

import io
from functools import lru_cache

QUIET_MODULES = 4
"""White modules round a code (ISO/IEC 18004)."""


@lru_cache(maxsize=4096)
def qr_svg(text: str) -> str:
    """The QR code of a text as SVG, white margin included, with as much error correction as its size has room for."""
    import segno

    out = io.BytesIO()
    segno.make_qr(text, error="m", encoding="utf-8").save(
        out, kind="svg", border=QUIET_MODULES, xmldecl=False, svgclass=None, lineclass=None, omitsize=True, nl=False
    )
    return out.getvalue().decode()
