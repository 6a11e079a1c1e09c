"""The requirements of a matrix of causes and effects as entries of the model that names it."""

from __future__ import annotations

from pathlib import Path as FilePath

from interlock.base.errors import Mistake, Place
from interlock.model.effect_matrix import (
    EffectMatrix,
    is_otherwise,
    read_effect_matrix,
    requirements_of,
)
from interlock.model.files import file_beside, is_read
from interlock.model.names import Mistakes, Names
from interlock.model.schema import ModelShape
from interlock.model.yaml import Document, Path


def with_matrix(
    document: Document, shape: ModelShape, mistakes: Mistakes
) -> tuple[Document, ModelShape, EffectMatrix | None]:
    """A model file with the requirements of the matrix that it names, where it names one."""
    if shape.matrix is None:
        return document, shape, None
    path: Path = ("matrix", "file")
    place = document.place(path)
    with mistakes.collected():
        file = file_beside(document, path, shape.matrix.file, "the matrix", "matrix.csv")
        is_read(file)
        matrix = read_effect_matrix(FilePath(file), shape.matrix.legend, shape.matrix.sheet, place)
        found = requirements_of(matrix)
        whole = _WithMatrix(document, matrix)
        for id_ in found:
            if id_ in shape.requirements:
                says = (
                    f"'{id_}' is what a sign of the matrix is called, {whole.key_place(_at(id_))}"
                )
                mistakes.add(document.key_place(_at(id_)), says)
        merged = {**shape.requirements, **found}
        return whole, shape.model_copy(update={"requirements": merged}), matrix
    return document, shape, None


def _at(id_: str) -> Path:
    return ("requirements", id_)


class _WithMatrix(Document):
    """A model file whose further requirements stand in a matrix: each has the place of its cell."""

    def __init__(self, own: Document, matrix: EffectMatrix) -> None:
        super().__init__(own.file, own.value)
        self._own = own
        self._of_matrix = {sign.requirement: sign.place for sign in matrix.cells.values()}
        lines = {"causes": matrix.causes, "effects": matrix.effects}
        self._lines: dict[Path, Place] = {
            (key, n): line.place for key, found in lines.items() for n, line in enumerate(found)
        }

    def place(self, path: Path, offset: int | None = None) -> Place:
        return self._in_matrix(path) or self._own.place(path, offset)

    def key_place(self, path: Path) -> Place:
        return self._in_matrix(path) or self._own.key_place(path)

    def _in_matrix(self, path: Path) -> Place | None:
        if path[:1] == ("requirements",) and len(path) > 1:
            return self._of_matrix.get(str(path[1]))
        return self._lines.get(path[1:3]) if path[:1] == ("matrix",) else None


def check_lines(names: Names, matrix: EffectMatrix) -> frozenset[str]:
    """Check each cause and effect by itself, so that a mistake is told once, at its heading.

    Returns
    -------
    frozenset of str
        The requirements of which a part is wrong.
    """
    known = names.with_signals()
    bad: set[tuple[str, int]] = set()
    for key, lines in (("causes", matrix.causes), ("effects", matrix.effects)):
        for n, line in enumerate(lines):
            if key == "causes" and is_otherwise(line):
                continue
            before = len(names.mistakes.found)
            if names.formula(("matrix", key, n), line.text, known) is None:
                bad.add((key, n))
                for number in range(before, len(names.mistakes.found)):
                    mistake = names.mistakes.found[number]
                    says = f"{key[:-1]} '{line.text[:60]}': {mistake.says}"
                    names.mistakes.found[number] = Mistake(mistake.place, says)
    return frozenset(
        sign.requirement
        for (r, c), sign in matrix.cells.items()
        if ("effects", c) in bad or any(key == "causes" for key, _ in bad)
    )
