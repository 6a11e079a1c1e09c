"""The compiled routines by their names; those of one number of words are compiled once."""

from __future__ import annotations

from functools import cache
from typing import Any

from interlock.engines.enumerate.components import analysis_text
from interlock.engines.enumerate.jit import Library
from interlock.engines.enumerate.kept_steps import KeptTables, keeping_text
from interlock.engines.enumerate.legs_text import legs_text
from interlock.engines.enumerate.longest_text import longest_text
from interlock.engines.enumerate.runtime import DECLARATIONS, space_text

# How many arguments each has.
_OF_SPACES = {
    "explore": 2,
    "rehash": 1,
    "flag": 4,
    "tally": 4,
    "find_parent": 4,
    "index_of": 2,
    "collect": 4,
}
_OF_SEARCHES = {
    "sweep": 4,
    "trap": 2,
    "stay": 2,
    "mark": 2,
    "search": 5,
    "begin": 4,
    "walk": 3,
    "longest": 2,
}
_SEARCHES = (analysis_text, legs_text, longest_text)

Routines = tuple[Library, dict[str, Any]]


@cache
def routines(n_words: int, searching: bool) -> Routines:
    """What builds and reads a space and, where `searching`, searches through it."""
    text, wanted = space_text(n_words), _OF_SPACES
    if searching:
        texts = [search(n_words) for search in _SEARCHES]
        text = "\n".join([text, *texts, keeping_text(n_words)])
        wanted = _OF_SPACES | _OF_SEARCHES | {"keep_steps": 3}
    return _compiled(text, wanted)


@cache
def searches_by_kept_steps(n_words: int) -> Routines:
    """The searches once more, through a space whose steps are kept."""
    texts = [search(n_words, KeptTables) for search in _SEARCHES]
    return _compiled("\n".join([DECLARATIONS, *texts]), _OF_SEARCHES)


def _compiled(text: str, wanted: dict[str, int]) -> Routines:
    library = Library(text, optimised=True)
    return library, {name: library.function(name, n_args) for name, n_args in wanted.items()}
