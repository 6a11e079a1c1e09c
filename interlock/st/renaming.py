"""A part of the text with some of its names written otherwise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from typing import TypeVar

from interlock.base.errors import Place
from interlock.st import syntax as sx

_Node = TypeVar("_Node")


def with_names(node: _Node, renamed: Callable[[sx.Name], sx.Name]) -> _Node:
    """`node` with what `renamed` makes of each name in it; what has none of these stays the same.

    Parameters
    ----------
    node : any part of the tree, or a tuple of such
    renamed : callable
        Gives the name itself where it stays.
    """
    if isinstance(node, sx.Name):
        return renamed(node)  # type: ignore[return-value]
    if isinstance(node, tuple):
        made = tuple(with_names(part, renamed) for part in node)
        is_same = all(a is b for a, b in zip(node, made, strict=True))
        return node if is_same else made  # type: ignore[return-value]
    if not is_dataclass(node) or isinstance(node, type | Place):
        return node
    before = {part.name: getattr(node, part.name) for part in fields(node)}
    after = {name: with_names(value, renamed) for name, value in before.items()}
    changed = {name: value for name, value in after.items() if value is not before[name]}
    return replace(node, **changed) if changed else node
