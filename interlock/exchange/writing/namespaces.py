"""A project without its namespaces, which the exchange format does not have."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import fields, is_dataclass, replace
from typing import TypeVar

from interlock.base.errors import Place
from interlock.exchange.writing.declared import refusal
from interlock.st import syntax as sx

_Node = TypeVar("_Node")
# Where a name may have a namespace before it.
_NAMING = {
    sx.TypeRef: ("name", "base"),
    sx.Call: ("function",),
    sx.Name: ("text",),
    sx.Qualified: ("type_name",),
    sx.TypeDef: ("extends", "namespace"),
    sx.Unit: ("extends", "namespace"),
    sx.ProgramInstance: ("type_name",),
}


def without_namespaces(files: Sequence[sx.SourceFile]) -> Sequence[sx.SourceFile]:
    """`files` with every name by itself.

    Raises
    ------
    InputError
        Where two units or types would then be called alike.
    """
    named = names_of(files)
    spaces = {thing.namespace.casefold() for thing in named if thing.namespace}
    if not spaces:
        return files
    count = Counter(thing.name.casefold() for thing in named)
    for thing in named:
        if thing.namespace and count[thing.name.casefold()] > 1:
            says = f"the namespace {thing.namespace} of {thing.name}, which is declared elsewhere"
            raise refusal(thing.place, f"{says} as well, is not written")
    # Inside of a namespace the outer ones may be left out, so every tail of one is one, too.
    tails = {".".join(parts[n:]) for s in spaces for parts in [s.split(".")] for n in range(9)}
    known = sorted(filter(None, tails | spaces), key=len, reverse=True)
    return [_bare(file, known) for file in files]


def names_of(files: Sequence[sx.SourceFile]) -> list[sx.Unit | sx.TypeDef]:
    """What files declare that may stand in a namespace."""
    found: list[sx.Unit | sx.TypeDef] = []
    for file in files:
        found += file.units
        found += file.types
    return found


def _bare(node: _Node, spaces: Sequence[str]) -> _Node:
    """`node` with all names in it by themselves."""
    if isinstance(node, tuple):
        return tuple(_bare(part, spaces) for part in node)  # type: ignore[return-value]
    if not is_dataclass(node) or isinstance(node, type | Place):
        return node
    naming = _NAMING.get(type(node), ())
    changed = {}
    for part in fields(node):
        before = getattr(node, part.name)
        if part.name == "namespace":
            after: object = ""
        elif part.name in naming:
            after = _own(before, spaces)
        elif part.name == "implements":
            after = tuple(_own(name, spaces) for name in before)
        else:
            after = _bare(before, spaces)
        if after is not before:
            changed[part.name] = after
    return replace(node, **changed) if changed else node


def _own(name: str, spaces: Sequence[str]) -> str:
    for space in spaces:
        if name.casefold().startswith(space + "."):
            return name[len(space) + 1 :]
    return name
