"""Serve the small farm, its last day being today, or (with 'bare') a book that holds no farm yet. Run as a program."""

from __future__ import annotations

import sys
import time

import django


def main(port: int, bare: str) -> None:
    django.setup()
    from django.core.management import call_command
    from granian import Granian
    from granian.constants import Interfaces

    from builders import small_farm

    call_command("migrate", verbosity=0)
    if not bare:
        small_farm.found(passwords=True, later_s=int(time.time()) - small_farm.NOW)
    Granian(
        "chirr.wsgi:application", address="127.0.0.1", port=port, interface=Interfaces.WSGI, log_enabled=False
    ).serve()


if __name__ == "__main__":
    main(int(sys.argv[1]), "".join(sys.argv[2:]))
