"""The files of a project as one text.

A list of globals is called by the name of its file, which one text cannot carry; so its variables
are called by their own names there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, is_dataclass, replace
from typing import TypeVar

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.write import write_file

_Node = TypeVar("_Node")


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


def _without_lists(node: _Node, lists: dict[str, set[str]]) -> _Node:
    """`node` with ``x`` for each ``list.x``."""
    if isinstance(node, sx.Name):
        first, _, rest = node.text.partition(".")
        in_list = lists.get(first.casefold(), set())
        if rest.partition(".")[0].casefold() in in_list:
            return replace(node, text=rest)
        return node
    if isinstance(node, tuple):
        return tuple(_without_lists(part, lists) for part in node)  # type: ignore[return-value]
    if not is_dataclass(node) or isinstance(node, type | Place):
        return node
    before = {part.name: getattr(node, part.name) for part in fields(node)}
    after = {name: _without_lists(value, lists) for name, value in before.items()}
    changed = {name: value for name, value in after.items() if value is not before[name]}
    return replace(node, **changed) if changed else node
