"""Plain text files: whether a file can be read at all, and where it breaks if not."""

from __future__ import annotations

import codecs
from pathlib import Path

from chirr.files.faults import Ledger

MAX_BYTES = 2 * 1024**3
_BLOCK = 1 << 24
_ADVICE = "text saved as UTF-8 (in a spreadsheet: save as 'CSV UTF-8')"


def sound(path: Path, ledger: Ledger) -> bool:
    """Whether the file can be opened, is of a sane size and is UTF-8 throughout; a fault is noted when not."""
    try:
        if not path.exists():
            ledger.whole(path.name, "this file in the folder", "no such file")
            return False
        size = path.stat().st_size
        if size > MAX_BYTES:
            ledger.whole(
                path.name, f"at most {MAX_BYTES:,} bytes; give the farm's years in several folders", f"{size:,} bytes"
            )
            return False
        return _utf8(path, ledger)
    except OSError as error:
        ledger.whole(
            path.name, "a file that may be opened and read", (error.strerror or "a file that cannot be read").lower()
        )
        return False


def read_text(path: Path, ledger: Ledger) -> str | None:
    """The whole text of a small file; None, with a fault noted, when it cannot be had."""
    return path.read_text(encoding="utf-8-sig") if sound(path, ledger) else None


def _utf8(path: Path, ledger: Ledger) -> bool:
    decoder = codecs.getincrementaldecoder("utf-8")()
    line = 1
    with path.open("rb") as file:
        last = False
        while not last:
            block = file.read(_BLOCK)
            last = not block
            nul = block.find(b"\0")
            if nul >= 0:
                ledger.whole(path.name, _ADVICE, "a NUL byte, which is no text", line + block.count(b"\n", 0, nul))
                return False
            try:
                decoder.decode(block, last)
            except UnicodeDecodeError as error:
                broken = bytes(error.object)
                line += broken.count(b"\n", 0, error.start)
                ledger.whole(path.name, _ADVICE, _around(broken, error.start), line)
                return False
            line += block.count(b"\n")
    return True


def _around(broken: bytes, at: int) -> str:
    """The word in which the encoding breaks, as the commonest other encoding shows it."""
    start = max(broken.rfind(sign, 0, at) for sign in (b",", b";", b"\t", b"\n", b'"')) + 1
    ends = [end for sign in (b",", b";", b"\t", b"\n", b"\r", b'"') if (end := broken.find(sign, at)) >= 0]
    word = broken[max(start, at - 20) : min([*ends, at + 20])].decode("cp1252", errors="replace")
    return f"{word} in another encoding"
