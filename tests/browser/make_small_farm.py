"""Write the book of the small farm, its last day being today, where CHIRR_FARM says. Run as a program."""

from __future__ import annotations

import time

import django


def main() -> None:
    django.setup()
    from django.core.management import call_command

    from builders import small_farm

    call_command("migrate", verbosity=0)
    small_farm.found(passwords=True, later_s=int(time.time()) - small_farm.NOW)


if __name__ == "__main__":
    main()
