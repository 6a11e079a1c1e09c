"""How a model's own matrix of causes and effects is told on a terminal: a word for each cell."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from interlock.judgement.effect_cells import JudgedMatrix
from interlock.kernel.requirement import Outcome

_STYLE = {Outcome.HOLDS: "green", Outcome.VIOLATED: "bold red", Outcome.UNDECIDED: "yellow"}
# So many columns of a terminal a cause and an effect take, at least.
_CAUSE, _EFFECT = 26, 14


def tell_matrix(judged: JudgedMatrix, width: int) -> RenderableType:
    """The matrix with the verdict of each sign, as many effects side by side as there is room for.

    Parameters
    ----------
    judged : JudgedMatrix
    width : int
        Columns that there are.
    """
    matrix = judged.matrix
    said = ", ".join(f"{n} {word}" for word, n in judged.counts.items())
    name = matrix.file.replace("\\", "/").rpartition("/")[2]
    rows: list[RenderableType] = [Text(f"Causes and effects, {name}: {said}", style="bold")]
    at_once = max(1, (width - _CAUSE) // _EFFECT)
    for first in range(0, len(matrix.effects), at_once):
        columns = range(first, min(first + at_once, len(matrix.effects)))
        rows.append(_table(judged, columns))
    rows += [
        Padding(Text(f"{letter}: {meaning.says}"), (0, 0, 0, 2), expand=False)
        for letter, meaning in matrix.legend.items()
    ]
    return Group(*rows)


def _table(judged: JudgedMatrix, columns: range) -> Table:
    matrix = judged.matrix
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    table.add_column("", overflow="fold", min_width=_CAUSE - 2)
    for column in columns:
        table.add_column(escape(matrix.effects[column].text), overflow="fold")
    for row, cause in enumerate(matrix.causes):
        cells = [_cell(judged, row, column) for column in columns]
        if any(cell.plain for cell in cells):
            table.add_row(escape(cause.called), *cells)
    return table


def _cell(judged: JudgedMatrix, row: int, column: int) -> Text:
    sign = judged.matrix.cells.get((row, column))
    if sign is None:
        return Text("")
    outcome = judged.outcome(row, column)
    style = "" if outcome is None else _STYLE[outcome]
    return Text(f"{sign.letter} {judged.says(row, column)}", style=style)
