"""A program of scalars, as elaboration makes it, as a project that can be executed as written.

Names such as ``m[1].t`` become plain ones, and a choice by a computed index becomes a MUX.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import Any

from interlock.base.errors import Place
from interlock.st import syntax as sx


def plain_name(name: str) -> str:
    """``m[1,2].t`` as one identifier; different names stay different."""
    signs = {".": "__dot_", "[": "__at_", "]": "__", ",": "__and_", "@": "__number_", "-": "minus_"}
    return "".join(signs.get(character, character) for character in name)


def as_project(program: sx.Program) -> sx.SourceFile:
    """`program` as the only unit of a file."""
    names = {name.text for d in program.declarations for name in d.names}
    known = {name.casefold(): plain_name(name) for name in names}

    def named(text: str) -> str:
        parts = text.split(".")
        for used in range(len(parts), 0, -1):
            plain = known.get(".".join(parts[:used]).casefold())
            if plain is not None:
                return ".".join((plain, *parts[used:]))
        return text

    def plain(node: Any) -> Any:
        if isinstance(node, tuple):
            return tuple(plain(part) for part in node)
        if not is_dataclass(node) or isinstance(node, Place | type):
            return node
        if isinstance(node, sx.Choice):
            index = plain(node.index)
            first = sx.Number(abs(node.first), node.place)
            op = "-" if node.first >= 0 else "+"
            at = sx.Call("TO_DINT", (index,), node.place)
            shifted = sx.Binary(op, at, first, node.place)
            # An index outside is told where the index stands.
            return sx.Call("MUX", (shifted, *plain(node.values)), node.index.place)
        changed = replace(
            node, **{f.name: plain(getattr(node, f.name)) for f in fields(node) if f.init}
        )
        return replace(changed, text=named(node.text)) if isinstance(node, sx.Name) else changed

    unit = sx.Unit(
        "PROGRAM", program.name, plain(program.declarations), plain(program.body), program.place
    )
    return sx.SourceFile("scalars", plain(program.types), (unit,), (), (), ())
