"""Which constructs of real control programs a project uses, found in its texts as they are read.

The list follows a count over 150 public files of Structured Text by 75 authors: what at least one
of them needs. Each construct is a question to the syntax tree, or to the text where the tree no
longer shows it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cached_property
from typing import TypeVar

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.load import Loaded, load_project
from interlock.st.parser import parse_file
from interlock.st.typed_parts import expressions_in
from interlock.st.types import BitsType

_Node = TypeVar("_Node")
_OPERATORS = {"ADD", "SUB", "MUL", "DIV", "AND", "OR", "XOR", "NOT", "EQ", "NE", "GE", "GT"}
_BIT_STRINGS = {"BYTE", "WORD", "DWORD", "LWORD"}
_OTHER_INTEGERS = {"SINT", "DINT", "LINT", "USINT", "UINT", "UDINT", "ULINT"}


@dataclass(frozen=True)
class Project:
    """The texts of a project, and what was read of them.

    Attributes
    ----------
    texts : mapping of str to str
        By names of files.
    """

    texts: Mapping[str, str]

    @cached_property
    def files(self) -> list[sx.SourceFile]:
        return [parse_file(text, name) for name, text in self.texts.items()]

    @cached_property
    def loaded(self) -> Loaded:
        return load_project(self.texts)

    @cached_property
    def notes(self) -> str:
        return "\n".join(note.says for note in self.loaded.notes)

    @cached_property
    def _nodes(self) -> list[object]:
        return [node for file in self.files for node in _nodes_of(file)]

    def all(self, kind: type[_Node]) -> list[_Node]:
        """Every node of a kind."""
        return [node for node in self._nodes if isinstance(node, kind)]

    def units(self, *kinds: str) -> list[sx.Unit]:
        return [unit for unit in self.all(sx.Unit) if unit.kind in kinds]

    def typed(self) -> Iterator[ty.Expression]:
        return expressions_in(self.loaded.program.body)

    def has_type(self, *names: str) -> bool:
        """Whether something is declared of one of these types."""
        return any(ref.name.upper() in names for ref in self.all(sx.TypeRef))

    def has_note(self, says: str) -> bool:
        return says in self.notes

    def matches(self, pattern: str) -> bool:
        """Whether a text matches, comments included."""
        return any(re.search(pattern, text) for text in self.texts.values())

    def declared(self, *kinds: str) -> list[sx.Declaration]:
        return [d for d in self.all(sx.Declaration) if d.kind in kinds]

    def calls(self, *functions: str) -> list[sx.Call]:
        return [call for call in self.all(sx.Call) if call.function.upper() in functions]

    def names(self, pattern: str) -> list[sx.Name]:
        return [name for name in self.all(sx.Name) if re.fullmatch(pattern, name.text)]


def _nodes_of(node: object) -> Iterator[object]:
    if isinstance(node, tuple):
        for part in node:
            yield from _nodes_of(part)
    elif is_dataclass(node) and not isinstance(node, Place):
        yield node
        for part in fields(node):
            yield from _nodes_of(getattr(node, part.name))


def _of_other_files(p: Project) -> bool:
    """Types, blocks and globals of other files are all used."""
    home = {t.name.casefold(): f.name for f in p.files for t in f.types}
    home |= {u.name.casefold(): f.name for f in p.files for u in f.units}
    used = {
        (ref.name.casefold(), file.name)
        for file in p.files
        for ref in _nodes_of(file)
        if isinstance(ref, sx.TypeRef)
    }
    kinds = {u.name.casefold() for f in p.files for u in f.units if u.kind == "FUNCTION_BLOCK"}
    away = {name for name, file in used if name in home and home[name] != file}
    lists = {file.name.casefold() for file in p.files if file.globals}
    named = [name.text.casefold().partition(".")[0] in lists for name in p.all(sx.Name)]
    return bool(away & kinds) and bool(away - kinds) and any(named)


def _varying_preset(p: Project) -> bool:
    constants = {n.text.casefold() for d in p.all(sx.Declaration) if d.constant for n in d.names}
    given = [
        argument.value
        for call in p.all(sx.Invoke)
        for argument in call.inputs
        if argument.name.upper() == "PT"
    ]
    names = [value.text.casefold() for value in given if isinstance(value, sx.Name)]
    return any(name.rpartition(".")[2] not in constants for name in names)


def _own_instances(p: Project) -> bool:
    blocks = {unit.name.casefold() for unit in p.units("FUNCTION_BLOCK")}
    return any(ref.name.casefold() in blocks for ref in p.all(sx.TypeRef))


def _numbers_for_bool(p: Project) -> bool:
    return any(
        d.type.name.upper() == "BOOL" and isinstance(d.initial, sx.Number)
        for d in p.all(sx.Declaration)
    )


def _assigned_inputs(p: Project) -> bool:
    for unit in p.units("FUNCTION_BLOCK", "PROGRAM", "FUNCTION"):
        given = {n.text for d in unit.declarations if d.kind == "VAR_INPUT" for n in d.names}
        targets = [node.target for node in _nodes_of(unit.body) if isinstance(node, sx.Assign)]
        if any(isinstance(target, sx.Name) and target.text in given for target in targets):
            return True
    return False


def _bit_junctions(p: Project) -> bool:
    met = {
        e.op
        for e in p.typed()
        if isinstance(e, ty.Junction | ty.Binary) and isinstance(e.type, BitsType)
    }
    return {"AND", "OR", "XOR"} <= met


def _named_like_their_type(p: Project, *types: str) -> bool:
    return any(
        name.text.casefold() == d.type.name.casefold()
        and (not types or d.type.name.upper() in types)
        for d in p.all(sx.Declaration)
        for name in d.names
    )


def _several_dimensions(p: Project) -> bool:
    return any(len(ref.dimensions) > 1 for ref in p.all(sx.TypeRef))


def _numbered_enumeration(p: Project) -> bool:
    return any(ref.base and any(label.value for label in ref.labels) for ref in p.all(sx.TypeRef))


def _labels_with_a_dot(p: Project) -> bool:
    labels = {
        f"{t.name}.{label.name}".casefold() for t in p.all(sx.TypeDef) for label in t.type.labels
    }
    return any(name.text.casefold() in labels for name in p.all(sx.Name))


def _typed_literals(p: Project) -> bool:
    whole = any(n.prefix and n.prefix not in _BIT_STRINGS for n in p.all(sx.Number))
    bits = any(n.prefix in _BIT_STRINGS for n in p.all(sx.Number))
    return whole and bits and any(r.prefix for r in p.all(sx.Real))


CONSTRUCTS: dict[str, Callable[[Project], bool]] = {
    "FUNCTION_BLOCK as a unit": lambda p: bool(p.units("FUNCTION_BLOCK")),
    "plain INT": lambda p: any(r.name.upper() == "INT" and r.lo is None for r in p.all(sx.TypeRef)),
    "types, blocks, globals of other files": _of_other_files,
    "END_IF without a semicolon": lambda p: p.matches(r"END_IF\b(?!\s*;)"),
    "END_CASE without a semicolon": lambda p: p.matches(r"END_CASE\b(?!\s*;)"),
    "TIME variables": lambda p: p.has_type("TIME"),
    "LTIME": lambda p: p.has_type("LTIME"),
    "x_TO_y conversions": lambda p: any(
        re.fullmatch(r"\w+_TO_\w+", call.function) for call in p.all(sx.Call)
    ),
    "BYTE, WORD, DWORD": lambda p: p.has_type("BYTE") and p.has_type("WORD"),
    "REAL": lambda p: p.has_type("REAL"),
    "LREAL": lambda p: p.has_type("LREAL"),
    "text that an export wraps round": lambda p: p.has_note("lines of an export were read over"),
    "PT that is no constant": _varying_preset,
    "CONFIGURATION": lambda p: bool(p.all(sx.ProgramInstance)) and bool(p.all(sx.Task)),
    "call without inputs": lambda p: any(not c.inputs and not c.bare for c in p.all(sx.Invoke)),
    "initial value of VAR_INPUT": lambda p: any(d.initial for d in p.declared("VAR_INPUT")),
    "AT": lambda p: any(d.address for d in p.all(sx.Declaration)),
    "ARRAY": lambda p: any(ref.dimensions for ref in p.all(sx.TypeRef)),
    "ARRAY of several dimensions": _several_dimensions,
    "other integer types": lambda p: p.has_type(*_OTHER_INTEGERS),
    "typed literals": _typed_literals,
    "instances of user blocks": _own_instances,
    "no END of a unit": lambda p: p.has_note("END_FUNCTION_BLOCK of"),
    "METHOD": lambda p: bool(p.units("METHOD")),
    "PROPERTY": lambda p: bool(p.units("GET")) and bool(p.units("SET")),
    "INTERFACE": lambda p: any(u.implements for u in p.units("FUNCTION_BLOCK")),
    "EXTENDS": lambda p: any(u.extends for u in p.units("FUNCTION_BLOCK")),
    "call of a member": lambda p: any(
        c.on is not None or "." in c.instance.text for c in p.all(sx.Invoke)
    ),
    "bitwise AND, OR, XOR": _bit_junctions,
    "STRING": lambda p: p.has_type("STRING"),
    "POINTER": lambda p: p.has_type("POINTER") and bool(p.all(sx.Pointed)),
    "REFERENCE": lambda p: p.has_type("REFERENCE"),
    "FOR": lambda p: bool(p.all(sx.For)),
    "VAR_GLOBAL": lambda p: bool(p.declared("VAR_GLOBAL")),
    "VAR_EXTERNAL": lambda p: bool(p.declared("VAR_EXTERNAL")),
    "RETURN": lambda p: any(s.word == "RETURN" for s in p.all(sx.Leave)),
    "EXIT": lambda p: any(s.word == "EXIT" for s in p.all(sx.Leave)),
    "CONSTANT": lambda p: any(d.constant for d in p.all(sx.Declaration)),
    "operators as functions": lambda p: bool(p.calls(*_OPERATORS)),
    "EN and ENO": lambda p: any(
        {a.name.upper() for a in c.named} >= {"EN"} and any(o.name == "ENO" for o in c.outputs)
        for c in p.all(sx.Call)
    ),
    "no head of a unit": lambda p: p.has_note("no PROGRAM line"),
    "VAR_IN_OUT": lambda p: bool(p.declared("VAR_IN_OUT")),
    "structured initial value": lambda p: bool(p.all(sx.StructValue)),
    "0 and 1 for BOOL": _numbers_for_bool,
    "ACTION": lambda p: bool(p.all(sx.Action)),
    "NAMESPACE": lambda p: any(u.namespace for u in p.all(sx.Unit)),
    "USING": lambda p: p.has_note("USING"),
    "t.IN := …": lambda p: any(
        isinstance(s.target, sx.Name) and s.target.text.endswith(".IN") for s in p.all(sx.Assign)
    ),
    "textual SFC": lambda p: bool(p.all(sx.Chart)),
    "FUNCTION": lambda p: bool(p.units("FUNCTION")),
    "assigned inputs": _assigned_inputs,
    "shifts": lambda p: bool(p.calls("SHL", "SHR", "ROL", "ROR")),
    "pragmas": lambda p: p.has_note("{attribute ") and p.has_note("{region "),
    "VAR_TEMP": lambda p: bool(p.declared("VAR_TEMP")),
    "several PROGRAMs": lambda p: len(p.units("PROGRAM")) > 1,
    "bit access": lambda p: bool(p.names(r"\w+\.\d+")),
    "WHILE": lambda p: bool(p.all(sx.While)),
    "REPEAT": lambda p: bool(p.all(sx.Repeat)),
    "CTD, CTUD": lambda p: p.has_type("CTD") and p.has_type("CTUD"),
    "R_EDGE": lambda p: any(d.edge for d in p.all(sx.Declaration)),
    "DATE": lambda p: any(e.kind in ("DATE", "DT", "TOD") for e in p.all(sx.Opaque)),
    "T# 30000ms": lambda p: p.matches(r"T# +\d"),
    "IN := , PT := …": lambda p: p.has_note("nothing is given to IN"),
    "an instance ton : TON": lambda p: _named_like_their_type(p, "TON"),
    "a variable named like its type": lambda p: (
        _named_like_their_type(p)
        and any(
            d.type.name.casefold() in {u.name.casefold() for u in p.units("FUNCTION_BLOCK")}
            for d in p.all(sx.Declaration)
            if d.type.name.casefold() in {n.text.casefold() for n in d.names}
        )
    ),
    "reading t.IN": lambda p: any(
        isinstance(e, sx.Junction)
        and any(isinstance(o, sx.Name) and o.text.endswith(".IN") for o in e.operands)
        for e in p.all(sx.Junction)
    ),
    "nested comments": lambda p: p.matches(r"\(\*(?:(?!\*\))[\s\S])*\(\*"),
    "enumeration with values and a base type": _numbered_enumeration,
    "E#V": lambda p: bool(p.all(sx.Qualified)),
    "E.V": _labels_with_a_dot,
}
