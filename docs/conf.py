"""Sphinx: the manual of Chirr."""

from __future__ import annotations

project = "Chirr"
author = "The Chirr authors"
copyright = "2026, The Chirr authors"  # the name is Sphinx's

extensions = ["myst_parser"]
myst_enable_extensions = ["deflist", "dollarmath", "colon_fence"]
myst_heading_anchors = 3
suppress_warnings = ["myst.header"]
exclude_patterns = ["_build"]

html_theme = "furo"
html_title = "Chirr"
html_copy_source = False
html_show_sourcelink = False
