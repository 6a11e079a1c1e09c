"""The matrix of causes and effects beside a model file: rows are causes, columns effects.

Causes and effects are expressions over what the program is told and decides, such as
``door_open``, ``NOT pressure_ok`` or ``level > 20``; each sign in a cell is a requirement of the
model. The words for an effect may stand in the row above its expression.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from interlock.base.errors import InputError, Mistake, MistakeList, Place, nearest
from interlock.model.matrix_signs import KNOWN, MEANINGS, OTHERWISE, Meaning, any_of, demand
from interlock.model.schema import RequirementShape
from interlock.sheets.headings import Headings, find_headings, plain_heading
from interlock.sheets.read import read_tables
from interlock.sheets.table import Row, Table

COLUMNS = {
    "cause": (
        *("cause", "causes", "cause tag", "tag", "signal", "symbol", "variable", "condition"),
        *("ursache", "ursachen", "bedingung", "cause effect", "causes effects"),
        *("ursache wirkung", "cause and effect"),
    ),
    "says": (
        *("description", "comment", "function", "text", "says", "service"),
        *("beschreibung", "kommentar", "funktion", "bezeichnung", "klartext"),
    ),
    "id": ("id", "no", "nr", "number", "row", "item", "lfd nr", "nummer", "pos", "position"),
    "hazards": ("hazard", "hazards", "gefahrdung", "gefahrdungen"),
    "passed over": (
        *("remark", "remarks", "note", "notes", "bemerkung", "bemerkungen", "anmerkung"),
        *("drawing", "revision", "rev", "address", "adresse", "terminal", "sil", "pl", "kind"),
    ),
}
_EMPTY = ("", "-", "–", "—", ".", "0")
_LEGEND = ("legend", "legende", "key")
_MOST_REQUIREMENTS = 4_000
_LONGEST_ID = 60
_MOST_UNKNOWN = 6


@dataclass(frozen=True)
class Line:
    """A cause or an effect.

    Attributes
    ----------
    text : str
        The expression.
    says : str
        Its description; empty where none is given.
    id : str
        What its requirements are called after.
    place : Place
    hazards : tuple of str
    """

    text: str
    says: str
    id: str
    place: Place
    hazards: tuple[str, ...] = ()

    @property
    def called(self) -> str:
        """The description, else the expression."""
        return self.says or self.text


@dataclass(frozen=True)
class Sign:
    """What stands in a cell: the letter, its meaning and the requirement that it is."""

    letter: str
    meaning: Meaning
    requirement: str
    place: Place


@dataclass(frozen=True)
class EffectMatrix:
    """A matrix of causes and effects.

    Attributes
    ----------
    file : str
    sheet : str
        The sheet of a workbook; empty in a CSV file.
    causes, effects : tuple of Line
    cells : mapping of (int, int) to Sign
        By the numbers of cause and effect; empty cells are left out.
    legend : mapping of str to Meaning
        Of each letter that is used.
    notes : tuple of str
        How it was read, where that was a choice.
    text : str
        What the file says, as CSV.
    """

    file: str
    sheet: str
    causes: tuple[Line, ...]
    effects: tuple[Line, ...]
    cells: Mapping[tuple[int, int], Sign]
    legend: Mapping[str, Meaning]
    notes: tuple[str, ...]
    text: str

    @property
    def source_name(self) -> str:
        """What it is called among the files that were read."""
        return f"{self.file} (as CSV)" if self.sheet else self.file


def read_effect_matrix(
    file: Path,
    legend: Mapping[str, str],
    sheet: str | None = None,
    wanted_at: Place | None = None,
) -> EffectMatrix:
    """Read a matrix; whether its expressions mean anything is not judged here.

    Parameters
    ----------
    file : Path
    legend : mapping of str to str
        Meanings of letters besides those that the matrix states.
    sheet : str, optional
        The sheet of a workbook with several.
    wanted_at : Place, optional
        Where the file is named.

    Raises
    ------
    InputError
        Where there is no matrix in it, a sign has no stated meaning, or a cause or effect comes
        twice.
    """
    place = wanted_at or Place(str(file), 1, 1)
    table, headings = _chosen(read_tables(file, wanted_at), sheet, place)
    return _Reader(table, headings, legend).read()


def _chosen(tables: list[Table], sheet: str | None, place: Place) -> tuple[Table, Headings]:
    if sheet is not None:
        names = [table.sheet for table in tables]
        tables = [table for table in tables if table.sheet == sheet]
        if not tables:
            raise InputError(
                [Mistake(place, f"there is no sheet '{sheet}'{nearest(sheet, names)}")]
            )
    found = [(t, h) for t in tables if (h := find_headings(t, COLUMNS, "cause", {})) is not None]
    if not found:
        says = "no row is headed 'cause', followed by the effects as expressions such as pump"
        raise InputError([Mistake(place, says)])
    if len(found) > 1:
        names = [table.sheet for table, _ in found]
        says = f"several sheets have causes in them ({', '.join(names)}); name one with 'sheet'"
        raise InputError([Mistake(place, says)])
    return found[0]


class _Reader:
    def __init__(self, table: Table, headings: Headings, legend: Mapping[str, str]) -> None:
        self._table = table
        self._at = {kind: columns[0] for kind, columns in headings.at.items()}
        self._headings = headings
        self._mistakes = MistakeList()
        self._legend = {letter: Meaning(word) for letter, word in legend.items()}
        self._ids: set[str] = set()
        # Where each sign without a meaning stands.
        self._unknown: dict[str, list[Place]] = {}

    def read(self) -> EffectMatrix:
        rows = [row for row in self._table.rows if row.line > self._headings.row.line]
        body = [row for row in rows if not self._is_legend(row)]
        columns = self._effect_columns()
        effects = [self._effect(column) for column in columns]
        used = [row for row in body if row.text(self._at["cause"])]
        causes = [self._cause(row) for row in used]
        self._check_doubled(causes, "cause")
        self._check_doubled(effects, "effect")
        if not causes or not effects:
            what = "cause" if not causes else "effect"
            place = Place(self._table.file, self._headings.row.line, 1)
            self._mistakes.append(Mistake(place, f"the matrix has no {what}"))
        cells: dict[tuple[int, int], Sign] = {}
        for r, row in enumerate(used):
            for c, column in enumerate(columns):
                sign = self._sign(row, column, causes[r], effects[c])
                if sign is not None:
                    cells[r, c] = sign
        for row in body:
            if row not in used and any(column in row.cells for column in columns):
                place = Place(self._table.file, row.line, 1)
                self._mistakes.append(Mistake(place, "this row has signs and no cause"))
        if len(cells) > _MOST_REQUIREMENTS:
            says = f"more than {_MOST_REQUIREMENTS:,} signs"
            self._mistakes.append(Mistake(Place(self._table.file, 1, 1), says))
        self._note_unknown()
        if self._mistakes:
            self._table.in_cells(self._mistakes)
            raise InputError(self._mistakes)
        letters = {sign.letter: sign.meaning for sign in cells.values()}
        over = [cell.text for cell in self._headings.columns.get("passed over", ())]
        notes = [*self._table.notes]
        notes += [f"columns passed over: {', '.join(over)}"] if over else []
        return EffectMatrix(
            file=self._table.file,
            sheet=self._table.sheet,
            causes=tuple(causes),
            effects=tuple(effects),
            cells=cells,
            legend=dict(sorted(letters.items())),
            notes=tuple(notes),
            text=self._table.text,
        )

    def _is_legend(self, row: Row) -> bool:
        """Whether a row states what a letter means, which is then noted."""
        texts = [cell.text for cell in row.cells.values()]
        if plain_heading(texts[0]) not in _LEGEND:
            return False
        if len(texts) < 3:
            return True  # a title
        letter, word = texts[1], texts[2].casefold()
        place = list(row.cells.values())[2].place
        known = {meaning.value: meaning for meaning in Meaning}
        if word not in known:
            says = f"'{texts[2][:40]}' is no meaning of a sign{nearest(word, known)}"
            self._mistakes.append(Mistake(place, says))
        elif self._legend.setdefault(letter, known[word]) is not known[word]:
            other = self._legend[letter].value
            says = f"'{letter}' is said to mean '{word}' here and '{other}' elsewhere"
            self._mistakes.append(Mistake(place, says))
        return True

    def _effect_columns(self) -> list[int]:
        """The columns that are headed by anything else than what is known."""
        known = {column for columns in self._headings.at.values() for column in columns}
        return [column for column in self._headings.row.cells if column not in known]

    def _effect(self, column: int) -> Line:
        row = self._headings.row
        cell = row.cells[column]
        above = next((r for r in self._table.rows if r.line == row.line - 1), None)
        says = "" if above is None else above.text(column)
        return Line(cell.text, says if says != cell.text else "", _plain(cell.text), cell.place)

    def _cause(self, row: Row) -> Line:
        cell = row.cells[self._at["cause"]]
        says = row.text(self._at.get("says", -1))
        id_ = _plain(row.text(self._at.get("id", -1))) or _plain(cell.text)
        hazards = re.split(r"[\s,;]+", row.text(self._at.get("hazards", -1)))
        return Line(cell.text, says, id_, cell.place, tuple(h for h in hazards if h))

    def _check_doubled(self, lines: list[Line], what: str) -> None:
        first: dict[str, Line] = {}
        for line in lines:
            earlier = first.setdefault(" ".join(line.text.casefold().split()), line)
            if earlier is not line:
                says = f"the {what} '{line.text}' comes twice; first in line {earlier.place.line}"
                self._mistakes.append(Mistake(line.place, says))

    def _sign(self, row: Row, column: int, cause: Line, effect: Line) -> Sign | None:
        cell = row.cells.get(column)
        if cell is None or (cell.text in _EMPTY and cell.text not in self._legend):
            return None
        letter = cell.text
        meanings = {**KNOWN, **self._legend}
        meaning = meanings.get(letter) or meanings.get(letter.upper())
        if cell.problem:
            self._mistakes.append(Mistake(cell.place, cell.problem))
            return None
        if meaning is None:
            self._unknown.setdefault(letter, []).append(cell.place)
            return None
        return Sign(letter, meaning, self._id(cause, effect), cell.place)

    def _note_unknown(self) -> None:
        """Each sign without a meaning is a mistake, told once; many of them are no signs at all."""
        if len(self._unknown) > _MOST_UNKNOWN:
            first, *others = self._unknown
            says = (
                f"{len(self._unknown)} texts in cells have no stated meaning, such as "
                f"'{first[:20]}' and '{others[0][:20]}'; a cell of a matrix holds a sign such as X"
            )
            self._mistakes.append(Mistake(self._unknown[first][0], says))
            return
        for letter, places in self._unknown.items():
            many = f", in {len(places)} cells" if len(places) > 1 else ""
            says = (
                f"nothing says what '{letter[:20]}' means{many}; put a row 'legend', "
                f"'{letter[:20]}' and one of {', '.join(MEANINGS)} below the matrix"
            )
            self._mistakes.append(Mistake(places[0], says))

    def _id(self, cause: Line, effect: Line) -> str:
        """The name of the requirement of a cell; it stays when rows come and go."""
        name = f"M_{cause.id}_{effect.id}"[:_LONGEST_ID]
        number = 2
        while name.casefold() in self._ids:
            name = f"{name[: _LONGEST_ID - 4].rstrip('_')}_{number}"
            number += 1
        self._ids.add(name.casefold())
        return name


def _plain(text: str) -> str:
    """A text as a part of a name."""
    return re.sub(r"[^A-Za-z0-9]+", "_", text).strip("_")


def requirements_of(matrix: EffectMatrix) -> dict[str, RequirementShape]:
    """The requirement of each sign, by its name, row after row."""
    found = {}
    for (r, c), sign in matrix.cells.items():
        cause, effect = matrix.causes[r], matrix.effects[c]
        keys, says = demand(
            sign.meaning,
            cause_of(matrix, r, c),
            effect.text,
            _causes(matrix, c, (Meaning.RESETS,)),
            _causes(matrix, c, (Meaning.STAYS_ON, Meaning.ON)),
        )
        found[sign.requirement] = RequirementShape.model_validate(
            {
                **keys,
                "says": says.format(cause=cause.called, effect=effect.text)[:2000],
                "judged": "after scan",
                "about": "signals",
                "hazards": list(cause.hazards),
            }
        )
    return found


def _causes(matrix: EffectMatrix, column: int, meanings: tuple[Meaning, ...]) -> list[str]:
    return [
        cause_of(matrix, r, column)
        for (r, c), sign in matrix.cells.items()
        if c == column and sign.meaning in meanings
    ]


def is_otherwise(cause: Line) -> bool:
    """Whether a cause is there while no other is."""
    return cause.text.casefold() in OTHERWISE


def cause_of(matrix: EffectMatrix, row: int, column: int) -> str:
    """The expression of a cause as far as one effect goes."""
    cause = matrix.causes[row]
    if not is_otherwise(cause):
        return cause.text
    others = [
        matrix.causes[r].text
        for (r, c), sign in matrix.cells.items()
        if c == column and r != row and sign.meaning.triggers and not is_otherwise(matrix.causes[r])
    ]
    return f"NOT ({any_of(others)})" if others else "TRUE"
