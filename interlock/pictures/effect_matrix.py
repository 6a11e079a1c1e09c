"""The matrix of causes and effects that a model names, with what became of each of its signs.

What the program does where the matrix is empty is told beside it, as far as a cause is one signal
and an effect one output: that may be meant, and no requirement asks for it.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator

from interlock.judgement.effect_cells import JudgedMatrix
from interlock.kernel.requirement import Outcome
from interlock.model.effect_matrix import Line
from interlock.model.matrix_signs import Meaning
from interlock.model.model import Model
from interlock.pictures.dot import Markup, marked
from interlock.pictures.picture import Picture
from interlock.pictures.shown.influence import Influence
from interlock.pictures.style import ABNORMAL_FILL, DANGER_FILL, PALE, SAFE_FILL, new_graph
from interlock.sheets.write_xlsx import Look, Sheet, Shown, to_xlsx

NAME = "cause-effect"
ACTS = "(acts)"
ACTS_SAYS = (
    f"{ACTS} stands where the matrix is empty, and yet the cause acts on the effect within one "
    "scan of the program, somewhere."
)
# A word beside each colour: holds, violated and undecided are told in the cell.
_FILLS = {
    Outcome.HOLDS: SAFE_FILL,
    Outcome.VIOLATED: DANGER_FILL,
    Outcome.UNDECIDED: ABNORMAL_FILL,
}
_LOOKS = {Outcome.HOLDS: Look.GOOD, Outcome.VIOLATED: Look.BAD, Outcome.UNDECIDED: Look.OPEN}
_WORD = re.compile(r"[A-Za-z_][A-Za-z0-9_]*(?:\.[A-Za-z_][A-Za-z0-9_]*|\[[0-9,-]+\])*")


def acting_beside(
    judged: JudgedMatrix, model: Model, influence: Influence | None
) -> frozenset[tuple[int, int]]:
    """The empty cells in which the program lets the cause act on the effect.

    Only causes of one signal and effects of one output are looked at.
    """
    if influence is None:
        return frozenset()
    pairs = {(cause.casefold(), effect.casefold()) for cause, effect in influence.cells}
    causes = [_only(cause.text, model.sensors) for cause in judged.matrix.causes]
    effects = [_only(effect.text, model.outputs) for effect in judged.matrix.effects]
    return frozenset(
        (r, c)
        for r, cause in enumerate(causes)
        for c, effect in enumerate(effects)
        if (r, c) not in judged.matrix.cells and (cause, effect) in pairs
    )


def _only(expression: str, known: Collection[str]) -> str:
    """The one of the known names that an expression has, where it has one; else nothing."""
    names = {name.casefold() for name in known}
    found = {word.casefold() for word in _WORD.findall(expression)} & names
    return found.pop() if len(found) == 1 else ""


def cell_text(judged: JudgedMatrix, row: int, column: int) -> str:
    """The letter of a cell and what became of it; empty for an empty cell."""
    sign = judged.matrix.cells.get((row, column))
    return "" if sign is None else f"{sign.letter} {judged.says(row, column)}"


def summary(judged: JudgedMatrix) -> str:
    """How many signs there are of each outcome."""
    said = ", ".join(f"{n} {word}" for word, n in judged.counts.items())
    return f"{len(judged.matrix.cells)} signs: {said}"


def legend_of(judged: JudgedMatrix) -> Iterator[tuple[str, Meaning]]:
    """Each letter that is used and what it means."""
    yield from judged.matrix.legend.items()


def draw_effect_matrix(judged: JudgedMatrix, model: Model, influence: Influence | None) -> Picture:
    """The matrix as a picture and as a workbook."""
    acts = acting_beside(judged, model, influence)
    notes = [f"{letter}  {meaning.says}." for letter, meaning in legend_of(judged)]
    notes += ["Judged after each scan of the program, in everything reachable in the model."]
    notes += [summary(judged) + "."]
    notes += [ACTS_SAYS] if acts else []
    graph = new_graph(NAME, f"Causes and effects: {model.title}", notes)
    graph.node("matrix", _table(judged, acts), shape="plain", fontsize="10")
    workbook = to_xlsx(sheets_of(judged, acts))
    tables: dict[str, str | bytes] = {f"{NAME}.xlsx": workbook}
    return Picture(NAME, "matrix of causes and effects, judged", graph.text, tables)


def _table(judged: JudgedMatrix, acts: Collection[tuple[int, int]]) -> Markup:
    matrix = judged.matrix
    heads = "".join(_heading(effect) for effect in matrix.effects)
    rows = [f'<TR><TD COLSPAN="2"><B>cause</B></TD>{heads}</TR>']
    for r, cause in enumerate(matrix.causes):
        says = f'<FONT COLOR="{PALE}">{marked(cause.says)}</FONT>' if cause.says else ""
        cells = "".join(_cell(judged, r, c, acts) for c in range(len(matrix.effects)))
        name = f'<TD ALIGN="LEFT"><B>{marked(cause.text)}</B></TD>'
        rows.append(f'<TR>{name}<TD ALIGN="LEFT">{says}</TD>{cells}</TR>')
    return Markup(
        '<TABLE BORDER="1" CELLBORDER="1" CELLSPACING="0" CELLPADDING="3" '
        f'COLOR="#9a9a9a">{"".join(rows)}</TABLE>'
    )


def _heading(effect: Line) -> str:
    says = f'<BR/><FONT COLOR="{PALE}">{marked(_broken(effect.says))}</FONT>' if effect.says else ""
    return f"<TD><B>{marked(_broken(effect.text))}</B>{says}</TD>"


def _broken(text: str) -> str:
    """A heading in short lines."""
    return text.replace("_", "_ ").replace(" ", "\n")


def _cell(judged: JudgedMatrix, row: int, column: int, acts: Collection[tuple[int, int]]) -> str:
    sign = judged.matrix.cells.get((row, column))
    if sign is None:
        told = f'<FONT COLOR="{PALE}">{ACTS}</FONT>' if (row, column) in acts else ""
        return f"<TD>{told}</TD>"
    outcome = judged.outcome(row, column)
    fill = "" if outcome is None else f' BGCOLOR="{_FILLS[outcome]}"'
    says = marked(judged.says(row, column))
    return f"<TD{fill}><B>{marked(sign.letter)}</B><BR/>{says}</TD>"


def sheets_of(judged: JudgedMatrix, acts: Collection[tuple[int, int]]) -> list[Sheet]:
    """The matrix with its legend, as it can be read back, and a sheet with a word for each cell."""
    matrix = judged.matrix
    return [_signs(judged), _words(judged, acts), _list(judged)] if matrix.cells else []


def _heads(judged: JudgedMatrix, first: str) -> list[list[Shown]]:
    effects = judged.matrix.effects
    above = ["", "", "", *(effect.says for effect in effects)]
    texts = ["id", first, "description", *(effect.text for effect in effects)]
    return [[Shown(t, Look.HEADING) for t in texts_] for texts_ in (above, texts)]


def _signs(judged: JudgedMatrix) -> Sheet:
    rows: list[list[Shown | str | int | float]] = [list(row) for row in _heads(judged, "cause")]
    for r, cause in enumerate(judged.matrix.causes):
        cells: list[Shown | str | int | float] = [cause.id, cause.text, cause.says]
        for c in range(len(judged.matrix.effects)):
            sign = judged.matrix.cells.get((r, c))
            outcome = judged.outcome(r, c)
            look = Look.PLAIN if outcome is None else _LOOKS[outcome]
            cells.append(Shown("" if sign is None else sign.letter, look))
        rows.append(cells)
    rows.append([])
    rows += [["", "legend", letter, m.value, m.says] for letter, m in legend_of(judged)]
    return Sheet("Matrix", rows, n_headings=2)


def _words(judged: JudgedMatrix, acts: Collection[tuple[int, int]]) -> Sheet:
    rows: list[list[Shown | str | int | float]] = [list(r) for r in _heads(judged, "verdict for")]
    for r, cause in enumerate(judged.matrix.causes):
        cells: list[Shown | str | int | float] = [cause.id, cause.text, cause.says]
        for c in range(len(judged.matrix.effects)):
            outcome = judged.outcome(r, c)
            text = cell_text(judged, r, c) or (ACTS if (r, c) in acts else "")
            look = Look.QUIET if outcome is None else _LOOKS[outcome]
            cells.append(Shown(text, look))
        rows.append(cells)
    rows += [[], [Shown(summary(judged) + ".", Look.QUIET)]]
    rows += [[Shown(ACTS_SAYS, Look.QUIET)]] if acts else []
    return Sheet("Verdicts", rows, n_headings=2)


def _list(judged: JudgedMatrix) -> Sheet:
    heads = ("requirement", "says", "verdict")
    rows: list[list[Shown | str | int | float]] = [[Shown(text, Look.HEADING) for text in heads]]
    for (r, c), sign in judged.matrix.cells.items():
        found = judged.findings.get((r, c))
        outcome = judged.outcome(r, c)
        look = Look.PLAIN if outcome is None else _LOOKS[outcome]
        says = "" if found is None else found.requirement.says
        rows.append([sign.requirement, says, Shown(judged.says(r, c), look)])
    return Sheet("Requirements", rows)
