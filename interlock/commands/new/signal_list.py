"""Lists of inputs and outputs, as electrical design writes them, as signals with their places.

Columns are found by their headings in English or German. What could be read in two ways is a
question to the user, and what is passed over is told.

Source: the forms of addresses are those of IEC 61131-3 and the customary German ones with E and A;
the codes of colours those of IEC 60757 (both from memory).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from interlock.base.errors import InputError, Mistake, MistakeList, Place, nearest
from interlock.sheets.headings import Headings, find_headings, plain_heading
from interlock.sheets.read import read_tables
from interlock.sheets.table import Cell, Row, Table
from interlock.st.elaborate.addresses import plain_address

# What a column is, with the headings by which it is known; as `plain_heading` writes them.
COLUMNS: dict[str, tuple[str, ...]] = {
    "name": (
        *("tag", "tag name", "tagname", "i/o tag", "symbol", "symbol name", "symbolic name"),
        *("name", "signal", "signal name", "variable", "variable name", "var", "identifier"),
        *("symbolname", "symbolischer name", "signalname", "variablenname", "bezeichner"),
    ),
    "address": (
        *("address", "addr", "i/o address", "io address", "plc address", "absolute address"),
        *("adresse", "e/a adresse", "ea adresse", "sps adresse", "absolutadresse", "operand"),
        *("ix", "qx", "at", "absolute adresse", "hardware address"),
    ),
    "says": (
        *("description", "desc", "comment", "function", "function text", "text", "designation"),
        *("beschreibung", "kommentar", "funktion", "funktionstext", "bezeichnung", "klartext"),
        *("signalbeschreibung", "symbolkommentar"),
    ),
    "type": ("type", "data type", "datatype", "typ", "datentyp"),
    "direction": (
        *("direction", "dir", "i/o", "io", "in/out", "i/o type", "io type", "signal type"),
        *("e/a", "ea", "richtung", "e/a typ", "signalart", "signaltyp", "ein/ausgang"),
    ),
    "lamp": (
        *("lamp colour", "lamp color", "colour", "color", "colour of lamp", "light colour"),
        *("lampenfarbe", "leuchtenfarbe", "leuchtmelder farbe", "farbe", "farbe der lampe"),
    ),
    "terminal": (
        *("terminal", "terminals", "module", "card", "rack", "slot", "channel", "ch", "pin"),
        *("plug", "connector", "klemme", "klemmen", "klemmleiste", "anschluss", "modul"),
        *("baugruppe", "karte", "steckplatz", "kanal", "stecker"),
    ),
}
_IN = ("i", "di", "ai", "in", "input", "e", "de", "ae", "ein", "eingang")
_OUT = ("q", "o", "do", "ao", "out", "output", "a", "da", "aa", "aus", "ausgang")
_DIRECTIONS = {**dict.fromkeys(_IN, "input"), **dict.fromkeys(_OUT, "output")}
# Amber is the code's other word for yellow (IEC 60073).
_LAMPS = {
    "red": ("red", "rd", "rot", "rt"),
    "yellow": ("yellow", "ye", "gelb", "ge", "amber"),
    "green": ("green", "gn", "grun", "gruen"),
    "blue": ("blue", "bu", "blau", "bl"),
    "white": ("white", "wh", "weiss", "ws", "clear"),
}
_COLOURS = {word: lamp for lamp, words in _LAMPS.items() for word in words}
_SPARE = {"reserve", "spare", "unused", "not used", "n/a", "frei", "leer", "nicht belegt"}
_ADDRESS = re.compile(r"%?(p?)([ieqa])([xbwdl]?)([0-9]{1,6}(?:\.[0-9]{1,6})*)")
_SIDES = {"i": "i", "e": "i", "q": "q", "a": "q"}
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*(\.[A-Za-z_][A-Za-z0-9_]*|\[-?[0-9]+(,-?[0-9]+)*\])*")


@dataclass(frozen=True)
class Signal:
    """One line of a list.

    Attributes
    ----------
    name : str
    place : Place
    says : str
    direction : str
        ``"input"``, ``"output"``, or empty where the list does not say.
    address : str
        As it is written in a program, ``%IX0.0``; as it was written where it is none.
    plain : str
        The address as `plain_address` writes it; empty where it is none.
    type : str
        As it was written.
    lamp : str
    terminal : str
    """

    name: str
    place: Place
    says: str = ""
    direction: str = ""
    address: str = ""
    plain: str = ""
    type: str = ""
    lamp: str = ""
    terminal: str = ""


@dataclass
class SignalList:
    """The signals of a list, and what is to be told of how it was read.

    Attributes
    ----------
    signals : list of Signal
    told : list of str
        What was a choice, or passed over.
    """

    signals: list[Signal] = field(default_factory=list)
    told: list[str] = field(default_factory=list)


def read_signals(file: Path, named: Mapping[str, str]) -> SignalList:
    """The signals in a CSV file or XLSX workbook, of all its sheets that are lists.

    Parameters
    ----------
    file : Path
    named : mapping of str to str
        Headings that the user named, by a key of `COLUMNS`.

    Raises
    ------
    InputError
        Where a column is not found or not clear, a name is given twice, or a cell cannot be read.
    """
    tables = read_tables(file)
    found = SignalList()
    mistakes = MistakeList()
    lists = [(table, find_headings(table, COLUMNS, "name", named)) for table in tables]
    if all(headings is None for _, headings in lists):
        raise InputError([_no_headings(str(file), tables, named)])
    for table, headings in lists:
        where = f"sheet '{table.sheet}'" if table.sheet else "the list"
        found.told += [f"{where}: {note}" for note in table.notes]
        if headings is None:
            if table.rows:
                found.told.append(f"{where} has no heading for names and was passed over")
            continue
        before = len(mistakes)
        _Reader(table, headings, found, mistakes, where).read()
        table.in_cells(mistakes, before)
    _check_doubled(found.signals, mistakes)
    if mistakes:
        raise InputError(mistakes)
    if not found.signals:
        raise InputError([Mistake(Place(str(file), 1, 1), "the list has no signal in it")])
    return found


def _no_headings(file: str, tables: Sequence[Table], named: Mapping[str, str]) -> Mistake:
    rows = [row for table in tables for row in table.rows]
    if not rows:
        return Mistake(Place(file, 1, 1), "the list is empty")
    fullest = max(rows[:40], key=lambda row: len(row.cells))
    seen = [cell.text for cell in fullest.cells.values()]
    place = Place(file, fullest.line, 1)
    if "name" in named:
        wanted = named["name"]
        return Mistake(place, f"no column is headed '{wanted}'{nearest(wanted, seen)}")
    shown = ", ".join(f"'{text[:30]}'" for text in seen[:8])
    says = (
        "no heading says which column has the names of the signals (tag, symbol, name, "
        f"variable); this row has {shown}; name it with --column name=HEADING"
    )
    return Mistake(place, says)


def _check_doubled(signals: Sequence[Signal], mistakes: MistakeList) -> None:
    first: dict[str, Signal] = {}
    for signal in signals:
        earlier = first.setdefault(signal.name.casefold(), signal)
        if earlier is not signal:
            says = f"'{signal.name}' is listed twice; first in line {earlier.place.line}"
            if earlier.place.file == signal.place.file and earlier.place.line == signal.place.line:
                says = f"'{signal.name}' is listed twice, on two sheets"
            mistakes.append(Mistake(signal.place, says))


class _Reader:
    """Reads the rows below the headings of one table."""

    def __init__(
        self,
        table: Table,
        headings: Headings,
        found: SignalList,
        mistakes: MistakeList,
        where: str,
    ) -> None:
        self._table = table
        self._headings = headings
        self._found = found
        self._mistakes = mistakes
        self._where = where
        self._spare: list[int] = []
        self._n_saved = 0

    def read(self) -> None:
        """Note every signal, and what is to be told."""
        self._check_columns()
        if self._mistakes:
            return
        head = self._headings.row
        for row in self._table.rows:
            if row.line > head.line:
                self._read(row)
        told = self._found.told
        if self._spare:
            lines = ", ".join(map(str, self._spare[:6])) + (", …" if len(self._spare) > 6 else "")
            told.append(f"{self._where}: passed over, without a signal's name: line {lines}")
        if self._headings.unknown:
            names = ", ".join(f"'{cell.text[:30]}'" for cell in self._headings.unknown)
            told.append(f"{self._where}: columns passed over: {names}")
        if self._n_saved:
            told.append(
                f"{self._where}: {self._n_saved} cells hold formulas; what the spreadsheet last "
                "saved for them was taken"
            )

    def _check_columns(self) -> None:
        for kind, cells in self._headings.columns.items():
            if len(cells) > 1 and kind != "terminal" and len({c.text for c in cells}) == 1:
                # One heading over several columns.
                first = self._headings.at[kind]
                del first[1:]
            elif len(cells) > 1 and kind != "terminal":
                shown = " and ".join(f"'{cell.text[:30]}'" for cell in cells)
                says = (
                    f"{shown} could each be the column of the {_CALLED[kind]}; say which with "
                    f"--column {kind}={_quoted(cells[0].text)}"
                )
                self._mistakes.append(Mistake(cells[1].place, says))

    def _cell(self, row: Row, kind: str) -> Cell | None:
        """The cell of a row in a column; a mistake is noted where it cannot be relied on."""
        for column in self._headings.at.get(kind, ())[:1]:
            cell = row.cells.get(column)
            if cell is not None and cell.problem:
                self._mistakes.append(Mistake(cell.place, cell.problem))
                return None
            if cell is not None:
                self._n_saved += cell.is_saved_result
                return cell
        return None

    def _text(self, row: Row, kind: str) -> str:
        cell = self._cell(row, kind)
        return "" if cell is None else cell.text

    def _read(self, row: Row) -> None:
        cell = self._cell(row, "name")
        if cell is None or _is_spare(cell.text):
            self._spare.append(row.line)
            return
        if plain_heading(cell.text) == plain_heading(self._headings.columns["name"][0].text):
            return  # the headings once more, on a new page
        # A title between the rows is alone there, or spread over them.
        if len({c.text for c in row.cells.values()}) == 1 and " " in cell.text:
            self._spare.append(row.line)
            return
        name = cell.text.strip('"#')
        if _NAME.fullmatch(name) is None:
            says = (
                f"'{cell.text[:40]}' is not a name that a program could have: letters, digits "
                "and _, no digit first"
            )
            self._mistakes.append(Mistake(cell.place, says))
            return
        type_, direction = self._type_and_direction(row)
        address, plain = self._address(row)
        if not direction and plain:
            direction = "input" if plain[1] == "i" else "output"
        self._found.signals.append(
            Signal(
                name=name,
                place=cell.place,
                says=self._text(row, "says"),
                direction=direction,
                address=address,
                plain=plain,
                type=type_,
                lamp=self._lamp(row, direction),
                terminal=self._terminal(row),
            )
        )

    def _type_and_direction(self, row: Row) -> tuple[str, str]:
        """The type, and the direction; a column of types may say DI and DO as well."""
        type_, direction = self._text(row, "type"), ""
        if type_.casefold() in _DIRECTIONS:
            type_, direction = "", _DIRECTIONS[type_.casefold()]
        cell = self._cell(row, "direction")
        if cell is not None:
            said = _DIRECTIONS.get(plain_heading(cell.text))
            if said is None:
                says = f"'{cell.text[:30]}' is no direction; write I or O, DI or DO, E or A"
                self._mistakes.append(Mistake(cell.place, says))
            elif direction not in ("", said):
                self._mistakes.append(Mistake(cell.place, "the type says the other direction"))
            direction = said or direction
        return type_, direction

    def _address(self, row: Row) -> tuple[str, str]:
        text = self._text(row, "address")
        match = _ADDRESS.fullmatch(text.casefold().replace(" ", ""))
        if match is None:
            return text, ""
        side, size, number = _SIDES[match[2]], match[3], match[4]
        if not size:
            size = "x" if "." in number else ""
        written = f"%{side}{size}{number}".upper()
        return written, plain_address(written)

    def _lamp(self, row: Row, direction: str) -> str:
        cell = self._cell(row, "lamp")
        if cell is None or direction == "input":
            return ""  # of a wire, or of a push-button
        words = plain_heading(cell.text)
        if words in ("", "n/a", "none", "keine"):
            return ""
        found = _COLOURS.get(words)
        if found is None:
            known = [*_LAMPS, "rot", "gelb", "gruen", "blau", "weiss"]
            says = f"'{cell.text[:30]}' is no colour of a lamp{nearest(cell.text, known)}"
            self._mistakes.append(Mistake(cell.place, says))
        return found or ""

    def _terminal(self, row: Row) -> str:
        columns = self._headings.at.get("terminal", ())
        return ":".join(row.text(column) for column in columns if row.text(column))


def _is_spare(text: str) -> bool:
    """Whether a name says that there is none."""
    return plain_heading(text) in _SPARE or not any(map(str.isalnum, text))


_CALLED = {
    "name": "names",
    "address": "addresses",
    "says": "descriptions",
    "type": "types",
    "direction": "directions",
    "lamp": "colours of lamps",
}


def _quoted(text: str) -> str:
    return f"'{text}'" if " " in text else text


def shared_addresses(signals: Sequence[Signal]) -> list[Mistake]:
    """Where two signals have one address.

    Bits of words are not looked at: some controllers count words in words, others in bytes.
    """
    found = []
    seen: dict[str, Signal] = {}
    for signal in signals:
        other = seen.setdefault(signal.plain, signal) if signal.plain else signal
        if other is not signal:
            says = f"'{signal.name}' is at {signal.address}, and so is '{other.name}' in line "
            found.append(Mistake(signal.place, f"{says}{other.place.line}"))
    return found
