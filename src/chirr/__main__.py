"""`python -m chirr` is the command `chirr`."""

from chirr.cli import main

main()
