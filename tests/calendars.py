"""A calendar read back by another library than the one that wrote it."""

import sys
from functools import cache

import ics
import pytest
from ics.grammar.parse import GRAMMAR


def read(text: str) -> ics.Calendar:
    """The calendar that a text says.

    The library's parser looks for colorama at each of thousands of steps, in vain. Most lines stand
    in every event; it would parse each of them anew.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(sys.modules, "colorama", None)
        patch.setattr(GRAMMAR, "parse", cache(GRAMMAR.parse))
        return ics.Calendar(text)
