"""The files of a project in either form: text, or the open exchange format."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from pathlib import PurePath

from interlock.base.errors import InputError, MistakeList, Place
from interlock.exchange.additional import Additional
from interlock.exchange.configurations import Resources
from interlock.exchange.declarations import type_defs
from interlock.exchange.elements import parse
from interlock.exchange.known_types import KnownTypes
from interlock.exchange.units import Head, complete, read_head, read_interface
from interlock.exchange.vocabulary import check_elements, check_root
from interlock.st import syntax as sx
from interlock.st.load import Loaded, load_files
from interlock.st.parser import parse_file
from interlock.st.quoted_globals import with_quoted_globals
from interlock.st.real_inputs import NO_LIMITS, Limits
from interlock.st.wired import NOT_WIRED, Wired

ENDING = ".xml"


def load_project(
    texts: Mapping[str, str],
    root: str | None = None,
    place: Place | None = None,
    keeps: Collection[str] = (),
    limits: Limits = NO_LIMITS,
    wired: Wired = NOT_WIRED,
) -> Loaded:
    """Read a project; see `interlock.st.load.load_files`.

    Parameters
    ----------
    texts : mapping of str to str
        The text of each file by its name; what ends in ``.xml`` is of the exchange format.
    root : str, optional
    place : Place, optional
    keeps : collection of str
    limits : mapping
    wired : Wired

    Raises
    ------
    InputError
        With every mistake of the first step that finds any: reading, elaborating, checking.
    """
    return load_files(read_files(texts), root, place, keeps, limits, wired)


def read_files(texts: Mapping[str, str]) -> list[sx.SourceFile]:
    """The files of a project as syntax trees, in the order in which they are given.

    Drawn bodies are read when all that the project declares is known, since a wire has a type.

    Raises
    ------
    InputError
        With every mistake that was found.
    """
    mistakes = MistakeList()
    found: list[sx.SourceFile | _Drawn] = []
    for name, text in texts.items():
        try:
            if PurePath(name).suffix.casefold() == ENDING:
                found.append(_read(text, name))
            else:
                found.append(parse_file(text, name))
        except InputError as error:
            mistakes.extend(error.mistakes)
    if mistakes:
        raise InputError(mistakes)
    flat = [
        file
        for one in found
        for file in ((one.declared, *one.lists) if isinstance(one, _Drawn) else (one,))
    ]
    known = KnownTypes.of(flat)
    files: list[sx.SourceFile] = []
    for one in found:
        if not isinstance(one, _Drawn):
            files.append(one)
            continue
        units = []
        notes = list(one.declared.notes)
        for head in one.heads:
            try:
                units.append(complete(head, known, notes))
            except InputError as error:
                mistakes.extend(error.mistakes)
        files += [replace(one.declared, units=tuple(units), notes=tuple(notes)), *one.lists]
    if mistakes:
        raise InputError(mistakes)
    return with_quoted_globals(files)


@dataclass
class _Drawn:
    """A file of the exchange format whose code is not read yet.

    Attributes
    ----------
    declared : syntax.SourceFile
        All but the code.
    heads : list of Head
    lists : list of syntax.SourceFile
        Lists of globals with a name, each as a file of that name.
    """

    declared: sx.SourceFile
    heads: list[Head] = field(default_factory=list)
    lists: list[sx.SourceFile] = field(default_factory=list)


def _read(text: str, file: str) -> _Drawn:
    root = parse(text, file)
    check_root(root)
    check_elements(root)
    additional = Additional()
    additional.look_over(root)
    mistakes = MistakeList()
    heads: list[Head] = []
    types: list[sx.TypeDef] = []
    resources = Resources(additional)

    # Also what stands in additional data: they are data of this format as well.
    for node in list(root.walk()):
        try:
            if node.name == "pou":
                heads.append(read_head(node, additional))
            elif node.name == "dataType":
                types += type_defs([node])
            elif node.name.casefold() == "interface" and node.get("name"):
                heads.append(read_interface(node, additional))
        except InputError as error:
            mistakes.extend(error.mistakes)
    try:
        resources.read(root)
    except InputError as error:
        mistakes.extend(error.mistakes)
    if mistakes:
        raise InputError(mistakes)
    declared = sx.SourceFile(
        PurePath(file).stem,
        tuple(types),
        tuple(head.unit for head in heads),
        tuple(resources.globals),
        tuple(resources.tasks),
        tuple(resources.instances),
        tuple(additional.notes),
    )
    lists = [
        sx.SourceFile(name, (), (), tuple(declared_there), (), ())
        for name, declared_there in resources.lists.items()
    ]
    return _Drawn(declared, heads, lists)
