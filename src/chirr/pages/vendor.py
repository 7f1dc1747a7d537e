"""The chart library kept with the pages: Vega, Vega-Lite and their embedding in one file, made without a network.

`python -m chirr.pages.vendor` writes it anew from the installed vl-convert-python; the file is committed, so a farm
needs neither that package nor Node.
"""

from __future__ import annotations

import re
import sys
from functools import cache
from importlib.metadata import version
from pathlib import Path

FOLDER = Path(__file__).parent / "static" / "chirr" / "vendor"
STEM = "vega"

NOTICE = """/*! Vega {vega}, Vega-Lite {vegalite}, vega-embed {embed}; Copyright (c) University of Washington
Interactive Data Lab and contributors, BSD-3-Clause; with parts of D3 (c) Mike Bostock, ISC.
Bundled by vl-convert-python {convert} (BSD-3-Clause). The licence texts are in {licence} beside this file. */
"""


@cache
def bundle_name() -> str:
    """Path of the bundle under the static files; its version is in its name, so that no browser keeps an old one."""
    found = sorted(FOLDER.glob(f"{STEM}-*.js"))
    if not found:
        raise LookupError("The chart library is missing; write it with: python -m chirr.pages.vendor")
    return f"chirr/vendor/{found[-1].name}"


def write_bundle(folder: Path = FOLDER) -> Path:
    """Write the bundle into `folder`, in the place of older ones, and return its path."""
    import vl_convert  # only for whoever renews the bundle

    script = vl_convert.javascript_bundle()  # type: ignore[call-arg]  # its stub forgets that the snippet may be left out
    versions = {
        "vega": vl_convert.get_vega_version(), "embed": vl_convert.get_vega_embed_version(),
        "vegalite": max(vl_convert.get_vegalite_versions(), key=_numbers), "convert": version("vl-convert-python"),
    }  # fmt: skip
    target = folder / f"{STEM}-{versions['vega']}-{versions['vegalite']}.js"
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob(f"{STEM}-*.js"):
        old.unlink()
    # as an ordinary script the bundle's own names would be global; in a function they stay inside
    target.write_text(
        f"{NOTICE.format(licence='VEGA-LICENCE.txt', **versions)}(() => {{\n{script}\n}})();\n", encoding="utf-8"
    )
    return target


def _numbers(version: str) -> tuple[int, ...]:
    return tuple(int(n) for n in re.findall(r"\d+", version))


if __name__ == "__main__":
    sys.stdout.write(f"{write_bundle()}\n")
