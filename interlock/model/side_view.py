"""The ``side_view`` of a model file: which drawing, and what the state does to its elements."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import TypeVar

from interlock.base.errors import nearest
from interlock.drawings.drawing import read_drawing
from interlock.drawings.elements import Drawing, Node
from interlock.drawings.rules import TEXTS
from interlock.model.files import file_beside, read_text
from interlock.model.model import Choice, Formula, MovingDrawing, Part
from interlock.model.names import Names
from interlock.model.schema import PartShape, SideViewShape
from interlock.model.yaml import Path
from interlock.st.types import BOOL, BoolType, EnumType, Type, label_of, number_of

SECTION = "side_view"
ELSE = "ELSE"  # a reserved word, so no value can have this name

Result = TypeVar("Result")
Given = TypeVar("Given")


@dataclass(frozen=True)
class ReadView:
    """A moving drawing with the text of its file, by the file's name."""

    moving: MovingDrawing
    source: Mapping[str, str]


def read_side_view(names: Names) -> ReadView | None:
    """The side view of a model file, or None where it has none or after noting mistakes."""
    shape = names.shape.side_view
    if shape is None:
        return None
    at: Path = (SECTION, "drawing")
    with names.mistakes.collected():
        file = file_beside(names.document, at, shape.drawing, "the drawing", "mimic.svg")
        text = read_text(file, names.document.place(at))
        moving = _Bindings(names, read_drawing(text, str(file))).read(shape)
        return ReadView(moving, {str(file): text})
    return None


class _Bindings:
    """Reads what the state does to the elements of one drawing."""

    def __init__(self, names: Names, drawing: Drawing) -> None:
        self._names = names
        self._document = names.document
        self._physical = names.physical()
        self._drawing = drawing
        self._file = FilePath(drawing.file).name
        self._ids = {id_: node for id_, node in drawing.ids.items() if node is not drawing.root}
        # Many elements follow the same few expressions.
        self._formulas: dict[tuple[str, Type | None], Formula] = {}

    def read(self, shape: SideViewShape) -> MovingDrawing:
        parts = [self._part(id_, part) for id_, part in shape.parts.items()]
        words = self._choices((SECTION, "words"), shape.words, str)
        given = [part for part in parts if part is not None]
        return MovingDrawing(self._drawing, self._window(shape), tuple(given), words)

    def _window(self, shape: SideViewShape) -> tuple[float, float, float, float]:
        if shape.window is None:
            return self._drawing.box
        left, top, width, height = shape.window
        if width <= 0 or height <= 0:
            place = self._document.place((SECTION, "window"))
            self._names.mistakes.add(place, "a window needs a width and a height above 0")
        return left, top, width, height

    def _part(self, id_: str, shape: PartShape) -> Part | None:
        path: Path = (SECTION, "parts", id_)
        node = self._ids.get(id_)
        if node is None:
            said = f"no element of {self._file} has the id '{id_}'{nearest(id_, self._ids)}"
            self._note(path, said)
            return None
        if shape.value is not None or shape.text:
            self._check_text(path, node, shape)
        shown = None
        if shape.shown is not None:
            shown = self._formula((*path, "shown"), shape.shown, False, BOOL)
        for key, given in shape.look.items():
            self._check_looks((*path, "look", key), given)
        moved = self._choices((*path, "moved"), shape.moved, lambda given: (given[0], given[1]))
        looks = self._choices((*path, "look"), shape.look, str)
        return Part(id_, shown, moved, self._text(path, shape), looks)

    def _note(self, path: Path, says: str) -> None:
        self._names.mistakes.add(self._document.key_place(path), says)

    def _check_text(self, path: Path, node: Node, shape: PartShape) -> None:
        if node.tag not in TEXTS or node.elements:
            self._note(path, f"'{node.id}' is no text without parts, so it can show no words")
        if shape.value is not None and shape.text:
            self._note((*path, "value"), "'value' and 'text' exclude each other")

    def _check_looks(self, path: Path, given: Mapping[str, str]) -> None:
        known = self._drawing.classes
        for value, look in given.items():
            for name in look.split():
                if name not in known:
                    said = f"no class '{name}' in the style sheet of {self._file}"
                    place = self._document.place((*path, value))
                    self._names.mistakes.add(place, said + nearest(name, known))

    def _text(self, path: Path, shape: PartShape) -> Choice[str] | None:
        if shape.value is not None:
            formula = self._chooser((*path, "value"), shape.value, False)
            return None if formula is None else Choice(formula, _labels(formula))
        return next(iter(self._choices((*path, "text"), shape.text, str)), None)

    def _choices(
        self,
        path: Path,
        given: Mapping[str, Mapping[str, Given]],
        result: Callable[[Given], Result],
    ) -> tuple[Choice[Result], ...]:
        found = []
        for key, by_value in given.items():
            formula = self._chooser((*path, key), key, True)
            chosen = None if formula is None else self._chosen((*path, key), formula, by_value)
            if formula is not None and chosen is not None:
                found.append(Choice(formula, tuple(result(value) for value in chosen)))
        return tuple(found)

    def _chosen(
        self, path: Path, formula: Formula, given: Mapping[str, Given]
    ) -> list[Given] | None:
        """What is given for each value of the formula, or None after noting what is wrong."""
        labels = _labels(formula)
        found: dict[int, Given] = {}
        n_before = len(self._names.mistakes.found)
        for label in given:
            number = number_of(formula.tree.type, label)
            if number is None and label != ELSE:
                said = f"'{label}' is no value of {formula.text}{nearest(label, labels)}"
                self._note((*path, label), said)
            elif number in found:
                self._note((*path, label), f"'{label}' is given twice")
            elif number is not None:
                found[number] = given[label]
        missing = [number for number in range(len(labels)) if number not in found]
        if missing and ELSE not in given and len(self._names.mistakes.found) == n_before:
            said = f"nothing for {formula.text} = {labels[missing[0]]}"
            self._note(path, f"{said}; ELSE stands for all others")
        if len(self._names.mistakes.found) > n_before:
            return None
        return [found[n] if n in found else given[ELSE] for n in range(len(labels))]

    def _chooser(self, path: Path, text: str, is_key: bool) -> Formula | None:
        """An expression with few values: an enumeration or a BOOL."""
        formula = self._formula(path, text, is_key, None)
        if formula is None or isinstance(formula.tree.type, BoolType | EnumType):
            return formula
        said = f"expected a BOOL or a machine, not {formula.tree.type}; write a comparison"
        self._names.mistakes.add(formula.place, said)
        return None

    def _formula(
        self, path: Path, text: str, is_key: bool, expected: Type | None
    ) -> Formula | None:
        if (text, expected) not in self._formulas:
            found = self._names.formula(path, text, self._physical, expected, is_key)
            if found is None:
                return None
            self._formulas[text, expected] = found
        return self._formulas[text, expected]


def _labels(formula: Formula) -> tuple[str, ...]:
    """The values of an expression of an enumeration or a BOOL, in order."""
    type_ = formula.tree.type
    n_values = len(type_.labels) if isinstance(type_, EnumType) else 2
    return tuple(label_of(type_, number) for number in range(n_values))
