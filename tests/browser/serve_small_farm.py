"""Serve a made-up farm whose last day is today. Run as a program: PORT, then any of these words.

`bare`: a book that holds no farm yet; `forty`: the farm whose round goes to forty bins; `newer`: as if the files of the
pages were of a later version. A book that has a farm already is served as it is.
"""

from __future__ import annotations

import sys
import time

import django


def main(port: int, *words: str) -> None:
    if "newer" in words:
        from chirr.pages import assets

        assets.version = lambda: "0later0000"  # type: ignore[assignment]
    django.setup()
    from django.core.management import call_command
    from granian import Granian
    from granian.constants import Interfaces

    from builders import forty_bins, small_farm
    from chirr.desk import farm

    call_command("migrate", verbosity=0)
    if farm.card() is not None or "bare" in words:
        pass
    elif "forty" in words:
        forty_bins.found(int(time.time()))
    else:
        small_farm.found(passwords=True, later_s=int(time.time()) - small_farm.NOW)
    Granian(
        "chirr.wsgi:application", address="127.0.0.1", port=port, interface=Interfaces.WSGI, log_enabled=False
    ).serve()


if __name__ == "__main__":
    main(int(sys.argv[1]), *sys.argv[2:])
