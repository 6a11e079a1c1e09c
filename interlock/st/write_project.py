"""The files of a project as one text.

A list of globals is called by the name of its file, which one text cannot carry; so its variables
are called by their own names there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from interlock.st import syntax as sx
from interlock.st.renaming import with_names
from interlock.st.write import write_file


def write_project(files: Sequence[sx.SourceFile]) -> str:
    """The text of `files`, one after the other.

    Read again it means the same, except where a variable of a list is called like another that is
    nearer or in another list: whoever writes it compares.
    """
    lists = {
        file.name.casefold(): {
            name.text.casefold() for declaration in file.globals for name in declaration.names
        }
        for file in files
        if file.globals
    }
    if len(files) < 2:
        lists = {}
    return "\n".join(write_file(_without_lists(file, lists)) for file in files)


def _without_lists(file: sx.SourceFile, lists: dict[str, set[str]]) -> sx.SourceFile:
    """`file` with ``x`` for each ``list.x``."""

    def renamed(name: sx.Name) -> sx.Name:
        first, _, rest = name.text.partition(".")
        in_list = lists.get(first.casefold(), set())
        return replace(name, text=rest) if rest.partition(".")[0].casefold() in in_list else name

    return with_names(file, renamed)
