"""Chirr: the working tool of a commercial cricket farm."""

__version__ = "0.1.0"
