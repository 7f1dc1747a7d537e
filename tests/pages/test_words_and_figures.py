"""The examples beside the functions that show figures and words are true."""

from __future__ import annotations

import doctest
from types import ModuleType

import pytest

from chirr.desk import farm
from chirr.pages import display
from chirr.pages.templatetags import chirr as words


@pytest.mark.parametrize("module", [display, words, farm], ids=lambda m: m.__name__)
def test_the_examples_of_a_module_come_out_as_written(module: ModuleType) -> None:
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0
