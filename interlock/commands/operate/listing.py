"""The program's text with the values that its names had at the end of the last scan."""

from __future__ import annotations

import re
import sys
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from html import escape
from typing import Generic, TypeVar

from interlock.base.errors import Place
from interlock.base.visible import made_visible
from interlock.model.model import Model
from interlock.st import typed as ty
from interlock.st.types import BOOL, BoolType, RealType, TimeType, Type, label_of
from interlock.st.words import RESERVED

N = TypeVar("N")

_KEPT_LINES = 20_000
# Comments as the grammar of the programs has them; words may name the output of a block, t1.Q.
_PIECE = re.compile(
    r"(?P<comment>\(\*[\s\S]*?\*\)|/\*[\s\S]*?\*/|//[^\n]*)"
    r"|(?P<word>[A-Za-z_]\w*(?:\.[A-Za-z_]\w*)?)"
    r"|(?P<plain>[^A-Za-z_(/]+|[(/])"
)


class Row(Generic[N], Mapping[str, N]):
    """Values by name; the names are shared by all rows of a bench, since a run keeps many.

    Parameters
    ----------
    places : mapping of str to int
        Where each name's value stands in `cells`.
    cells : tuple of int or float
    """

    __slots__ = ("_cells", "_places")

    def __init__(self, places: Mapping[str, int], cells: tuple[N, ...]) -> None:
        self._places = places
        self._cells = cells

    def __getitem__(self, name: str) -> N:
        return self._cells[self._places[name]]

    def __iter__(self) -> Iterator[str]:
        return iter(self._places)

    def __len__(self) -> int:
        return len(self._cells)


@dataclass(frozen=True)
class Scanned:
    """One scan as the program's interpreter did it.

    Attributes
    ----------
    values : mapping of str to float
        Of every name of the program at the end of the scan, casefolded; of a REAL the number.
    memory : mapping of str to int
        The controller's memory, by the names of the lowering, counters as far as they counted.
    executed : frozenset of str
        Lines with an assignment, a call or a branch that was taken, as ``controller.st:12``.
    decided : tuple of str
        Places that decided the outputs that changed, as ``controller.st:12``.
    """

    values: Mapping[str, float]
    memory: Mapping[str, int]
    executed: frozenset[str] = frozenset()
    decided: tuple[str, ...] = ()


@dataclass(frozen=True)
class Piece:
    """A stretch of a line: plain text, a comment, a keyword, or a name that has a value."""

    text: str
    kind: str = "plain"
    name: str = ""


@dataclass(frozen=True)
class Shown:
    """A value as it is shown; `truth` is None where it is no BOOL."""

    text: str
    truth: bool | None


@dataclass(frozen=True)
class Sheet:
    """One file of the program.

    Attributes
    ----------
    file : str
        Its name without folders.
    lines : list of list of Piece
    """

    file: str
    text: str
    lines: list[list[Piece]]

    def place(self, line: int) -> str:
        """A line as places are told: ``controller.st:12``."""
        return f"{self.file}:{line}"


class Listing:
    """The texts of a model's program, taken apart once; that of the root comes first.

    Only in the root's own lines do names have values: elsewhere a name means something else in
    each instance, and what was assigned there is told beside the line, by instance.

    Parameters
    ----------
    model : Model
    names : collection of str
        Casefolded names that have values.
    """

    def __init__(self, model: Model, names: Collection[str]) -> None:
        root = model.program.place.file
        others = [name for name in model.program_files if name != root]
        self.sheets = [
            Sheet(short_name(name), model.sources[name], _lines(model, name, names))
            for name in (root, *others)
        ]
        self.file = self.sheets[0].file
        self._types: dict[str, Type] = {v.name.casefold(): v.type for v in model.program.variables}
        self._targets = _targets(model.program.body, names)
        self._made: dict[tuple[object, ...], str] = {}

    def text_of(self, file: str) -> str:
        """The text of the file with this short name; of the root's file where there is none."""
        return next((s.text for s in self.sheets if s.file == file), self.sheets[0].text)

    def show(self, name: str, value: float) -> Shown:
        """A value of the program's variable `name`; of a REAL the number itself."""
        type_ = self._types.get(name.casefold())
        if isinstance(type_, RealType):
            return Shown(repr(float(value)), None)
        if type_ is None:
            # Every output of a block but a count and a time is a BOOL.
            if name.casefold().endswith((".cv", ".et")):
                return Shown(str(value), None)
            type_ = BOOL
        label = label_of(type_, int(value))
        if isinstance(type_, BoolType):
            return Shown(label, bool(value))
        return Shown(f"{label} ms" if isinstance(type_, TimeType) else label, None)

    def assigned(self, place: str, scanned: Scanned) -> list[tuple[str, Shown]]:
        """What the statements of a line assign, with the values after the scan."""
        names = self._targets.get(place, ())
        return [(name, self.show(name, scanned.values[name.casefold()])) for name in names]

    def html(self, sheet: Sheet, line: int, scanned: Scanned) -> str:
        """A line's text as HTML, every name marked by its value."""
        pieces = sheet.lines[line - 1]
        values = (scanned.values[piece.name] for piece in pieces if piece.name)
        key = (sheet.place(line), *values)
        if key not in self._made:
            # A long run meets few different values of one line.
            if len(self._made) > _KEPT_LINES:
                self._made.clear()
            self._made[key] = "".join(self._piece(piece, scanned) for piece in pieces)
        return self._made[key]

    def _piece(self, piece: Piece, scanned: Scanned) -> str:
        text = escape(made_visible(piece.text))
        if not piece.name:
            return text if piece.kind == "plain" else f'<span class="{piece.kind}">{text}</span>'
        shown = self.show(piece.name, scanned.values[piece.name])
        if shown.truth is None:
            return f'<span class="v">{text}<i>={escape(shown.text)}</i></span>'
        return f'<b class="t">{text}</b>' if shown.truth else f'<span class="f">{text}</span>'


def line_of(place: Place) -> str:
    """A line as the listing names it: ``controller.st:12``."""
    return f"{place.file_name}:{place.line}"


def short_name(file: str) -> str:
    """A file's name without folders."""
    return file.replace("\\", "/").rsplit("/", 1)[-1]


def _lines(model: Model, file: str, names: Collection[str]) -> list[list[Piece]]:
    own = _own_lines(model, file)
    lines: list[list[Piece]] = [[]]
    for match in _PIECE.finditer(model.sources[file]):
        kind = match.lastgroup or "plain"
        known = names if len(lines) in own else ()
        piece = _word(match.group(), known) if kind == "word" else Piece(match.group(), kind)
        first, *further = piece.text.split("\n")
        if first:
            lines[-1].append(Piece(first, piece.kind, piece.name))
        lines += [[Piece(part, piece.kind)] if part else [] for part in further]
    return lines


def _own_lines(model: Model, file: str) -> range:
    """The lines of the root itself, up to the next unit or method."""
    root, project = model.program.place, model.project
    if root.file != file:
        return range(0)
    first, end = (1 if project is None or project.is_plain else root.line), sys.maxsize
    for unit in (u for f in (project.files if project else ()) for u in f.units):
        for place in (unit.place, *(method.place for method in unit.methods)):
            if place.file == file and place.line > root.line:
                end = min(end, place.line)
    return range(first, end)


def _word(word: str, names: Collection[str]) -> Piece:
    if word.casefold() in names:
        return Piece(word, "name", word.casefold())
    return Piece(word, "keyword" if word.upper() in RESERVED else "plain")


def _targets(body: tuple[ty.Statement, ...], names: Collection[str]) -> dict[str, tuple[str, ...]]:
    # What elaboration puts in between has no name that anybody gave, and no value afterwards.
    found: dict[str, tuple[str, ...]] = {}
    for where, name in _assignments(body):
        place = line_of(where)
        if name.casefold() in names and name not in found.get(place, ()):
            found[place] = (*found.get(place, ()), name)
    return found


def _assignments(body: tuple[ty.Statement, ...]) -> Iterator[tuple[Place, str]]:
    for statement in body:
        match statement:
            case ty.Assign():
                yield statement.place, statement.target
            case ty.If() | ty.Case():
                for branch in statement.branches:
                    yield from _assignments(branch.body)
                yield from _assignments(statement.otherwise)
            case ty.Invoke():
                for taken in statement.outputs:
                    yield taken.place, taken.target
