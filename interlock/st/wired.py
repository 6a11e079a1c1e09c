"""Variables that the text gives no address, wired by whoever names them as inputs or outputs.

Many environments keep addresses outside of the text: a plain variable of the PROGRAM, or a global,
is linked to a terminal in a list of the hardware. Such a variable is what ``AT %I*`` or ``AT %Q*``
would make of it: an address that is given elsewhere (IEC 61131-3, from memory).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.copies import written_in

_INPUT, _OUTPUT = "%I*", "%Q*"
_SAYS = {
    _INPUT: "'{}' is an input: the model names it as one",
    _OUTPUT: "'{}' is an output: the model names it as one",
}


@dataclass(frozen=True)
class Wired:
    """Casefolded names of plain variables that are inputs and outputs all the same.

    Attributes
    ----------
    root : str
        The unit that is executed in each scan: only its own variables, and globals, are wired.
    inputs, outputs : collection of str
    """

    root: str = ""
    inputs: Collection[str] = ()
    outputs: Collection[str] = ()

    def address_of(self, name: str) -> str:
        """What stands for the address that is given elsewhere; empty where none is."""
        key = name.casefold()
        return _INPUT if key in self.inputs else _OUTPUT if key in self.outputs else ""


NOT_WIRED = Wired()


def wired_by(
    program: ty.Program,
    files: Sequence[sx.SourceFile],
    root: str,
    inputs: Iterable[str],
    outputs: Iterable[str],
) -> Wired:
    """Which plain variables of a program are inputs and outputs, as somebody names them.

    Nothing of the program may write such an input. What is one without being named stays one: a
    program that has some wired has ways in, see `interlock.st.elaborate.border`.

    Parameters
    ----------
    program : typed.Program
        Of these files, with nothing wired.
    files : sequence of syntax.SourceFile
    root : str
    inputs, outputs : iterable of str
        Names, which may be those of elements and members; others are passed over.
    """
    of_kind: dict[str, set[str]] = {}
    for variable in program.variables:
        of_kind.setdefault(variable.kind, set()).add(_base(variable.name))
    declared = _plain_variables(files, root)
    plain = of_kind.get("VAR", set()) & declared.keys()
    written = {_base(name) for name in written_in(program.body)}
    ins = {_base(name) for name in inputs} & plain - written
    outs = {_base(name) for name in outputs} & plain - ins
    if not ins | outs:
        return NOT_WIRED
    own = {name for name, declaration in declared.items() if declaration.kind == "VAR"}
    return Wired(root, ins | of_kind.get("VAR_INPUT", set()) & own, outs)


def _base(name: str) -> str:
    """The variable of which `name` may be an element or a member, casefolded."""
    return re.split(r"[.\[]", name.casefold(), maxsplit=1)[0]


def _plain_variables(files: Sequence[sx.SourceFile], root: str) -> dict[str, sx.Declaration]:
    """The variables that may be wired, by casefolded name: without an address, and of one place."""
    found: dict[str, sx.Declaration] = {}
    n_declared: Counter[str] = Counter()
    for declaration in _declarations(files, root):
        if declaration.kind == "VAR_EXTERNAL":
            continue
        for name in declaration.names:
            n_declared[name.text.casefold()] += 1
            found[name.text.casefold()] = declaration
    return {key: d for key, d in found.items() if n_declared[key] == 1 and _is_plain(d)}


def with_wired(files: Sequence[sx.SourceFile], wired: Wired) -> tuple[sx.SourceFile, ...]:
    """The files with an address, given elsewhere, for each variable that is wired."""
    if not wired.inputs and not wired.outputs:
        return tuple(files)
    return tuple(_in_file(file, wired) for file in files)


def _in_file(file: sx.SourceFile, wired: Wired) -> sx.SourceFile:
    notes: list[sx.Note] = []
    units = tuple(
        replace(unit, declarations=tuple(_split(unit.declarations, wired, notes)))
        if _is_root(unit, wired.root)
        else unit
        for unit in file.units
    )
    listed = tuple(_split(file.globals, wired, notes))
    return replace(file, units=units, globals=listed, notes=(*file.notes, *notes))


def _split(
    declarations: Sequence[sx.Declaration], wired: Wired, notes: list[sx.Note]
) -> Iterator[sx.Declaration]:
    """The declarations, with one of its own for each variable that is wired."""
    for declaration in declarations:
        addresses = [wired.address_of(name.text) for name in declaration.names]
        if not _is_plain(declaration) or not any(addresses):
            yield declaration
            continue
        for name, address in zip(declaration.names, addresses, strict=True):
            if address:
                notes.append(sx.Note(name.place, _SAYS[address].format(name.text)))
            yield replace(declaration, names=(name,), address=address)


def _declarations(files: Sequence[sx.SourceFile], root: str) -> Iterator[sx.Declaration]:
    for file in files:
        yield from file.globals
        for unit in file.units:
            if _is_root(unit, root):
                yield from unit.declarations


def _is_root(unit: sx.Unit, root: str) -> bool:
    return unit.kind == "PROGRAM" and unit.name.casefold() == root.casefold()


def _is_plain(declaration: sx.Declaration) -> bool:
    return (
        declaration.kind in ("VAR", "VAR_GLOBAL")
        and not declaration.address
        and not declaration.constant
    )
