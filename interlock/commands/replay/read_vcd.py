"""Value change dumps (IEEE 1364-2005, clause 18) read as records.

Each stamp gives one sample: what every variable is after the changes at it. Values are binary
numbers, or whole numbers written as reals; of what has named values, the number counts them from
the first.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from math import inf

from interlock.base.errors import Place
from interlock.commands.replay.columns import Column, Mapped, Observed, lay_out
from interlock.commands.replay.record import Record, Row, mistake
from interlock.telling.csv_log import FAULT, INPUT, READ

_SCOPES = {"inputs": INPUT, "read": READ, "faults": FAULT}
_MS = {"s": 1e3, "ms": 1.0, "us": 1e-3, "ns": 1e-6, "ps": 1e-9, "fs": 1e-12}
# What begins a declaration, and what may stand among the values.
_DECLARED = frozenset(("$var", "$scope", "$upscope", "$timescale", "$enddefinitions"))
_DUMPED = frozenset(("$dumpvars", "$dumpall", "$dumpon", "$dumpoff", "$end"))
_FREE = frozenset(("$comment", "$date", "$version"))
_WORD = re.compile(r"\S+")
# The time is a whole number below 2 to the 64th; so wide is no value that a model has.
_STAMP = re.compile(r"#[0-9]{1,20}")
_BITS = re.compile(r"[01]{1,256}")
# As printf writes a double with %.16g (clause 18.2.1), and no name of what is no number.
_REAL = re.compile(r"[+-]?[0-9]{1,40}(\.[0-9]{0,40})?(e[+-]?[0-9]{1,4})?", re.IGNORECASE)

Word = tuple[str, Place]


def _words(lines: Iterator[tuple[int, str]], file: str) -> Iterator[Word]:
    for number, text in lines:
        for found in _WORD.finditer(text):
            yield found.group(), Place(file, number, found.start() + 1)


def read_vcd(
    lines: Iterator[tuple[int, str]], file: str, known: Mapping[str, Observed], mapped: Mapped
) -> Record:
    """The record in the lines of a value change dump.

    Raises
    ------
    InputError
        Where the declarations are not right; the rows raise it where they are not.
    """
    words = _words(lines, file)
    codes, ms_per_unit = _declarations(words, file)
    layout = lay_out(list(codes.values()), known, mapped)
    columns = dict(zip(codes, layout.columns, strict=True))
    return Record(layout.observed, _rows(words, columns, ms_per_unit))


def _declarations(words: Iterator[Word], file: str) -> tuple[dict[str, tuple[str, Place]], float]:
    scopes: list[str] = []
    codes: dict[str, tuple[str, Place]] = {}
    ms_per_unit = 1.0
    for word, place in words:
        if word in ("$dumpvars", "$enddefinitions"):
            if word == "$enddefinitions":
                _section(words, word, place)
            break
        if not word.startswith("$"):
            raise mistake(place, f"expected a declaration, not '{word[:40]}'")
        inside = _section(words, word, place)
        match word, [text for text, _ in inside]:
            case "$scope", [_, name]:
                scopes.append(name)
            case "$upscope", []:
                scopes = scopes[:-1]
            case "$timescale", parts:
                ms_per_unit = _timescale("".join(parts), place)
            case "$var", [_, _, code, name, *_]:
                prefix = _SCOPES.get(scopes[-1] if scopes else "", "")
                if code in codes:
                    said = f"the code '{code[:20]}' stands for two variables"
                    raise mistake(place, said)
                codes[code] = (prefix + name, inside[3][1])
            case (("$scope" | "$upscope" | "$var"), _):
                said = f"a {word} that is not complete"
                raise mistake(place, said)
            case _:
                pass
    if not codes:
        raise mistake(Place(file, 1, 1), "not a value change dump: it declares no variable")
    return codes, ms_per_unit


def _section(words: Iterator[Word], name: str, start: Place) -> list[Word]:
    """The words up to the next ``$end``; where another section begins before it, it is missing."""
    found: list[Word] = []
    for word, place in words:
        if word == "$end":
            return found
        if word in _DECLARED and name not in _FREE:
            break
        found.append((word, place))
    raise mistake(start, "this has no $end")


def _timescale(text: str, place: Place) -> float:
    match = re.fullmatch(r"(1|10|100)(s|ms|us|ns|ps|fs)", text)
    if match is None:
        raise mistake(place, f"'{text[:40]}' is not a time scale")
    return int(match[1]) * _MS[match[2]]


def _rows(
    words: Iterator[Word], columns: Mapping[str, Column | None], ms_per_unit: float
) -> Iterator[Row]:
    values: dict[str, int | None] = {c: None for c, column in columns.items() if column is not None}
    time: float | None = None
    start: Place | None = None
    for word, place in words:
        if word.startswith("#"):
            if start is not None:
                yield Row(start, time, tuple(values.values()))
            if not _STAMP.fullmatch(word):
                raise mistake(place, f"'{word[:40]}' is not a stamp")
            now = int(word[1:]) * ms_per_unit
            if time is not None and now < time:
                raise mistake(place, "the time goes back")
            time, start = now, place
        elif not word.startswith("$"):
            start = start or place
            code, text, at = _change(word, place, words)
            if code not in columns:
                raise mistake(at, f"no variable has the code '{code[:20]}'")
            column = columns[code]
            if column is not None:
                read = _real if word[0] in "rR" else _value
                values[code] = read(text, column, place)
        elif word == "$comment":
            _section(words, word, place)
        elif word not in _DUMPED:
            raise mistake(place, f"'{word[:40]}' has no place among the values")
    if start is not None:
        yield Row(start, time, tuple(values.values()))


def _change(word: str, place: Place, words: Iterator[Word]) -> tuple[str, str, Place]:
    """The code of a change, its new value as text, and where the code stands."""
    if word[0] in "bBrR":
        code, at = next(words, ("", place))
        return code, word[1:], at
    if word[0] not in "01xXzZ":
        raise mistake(place, f"'{word[0]}' is not a value")
    return word[1:], word[0], Place(place.file, place.line, place.column + 1)


def _real(text: str, column: Column, place: Place) -> int:
    number = float(text) if _REAL.fullmatch(text) else inf
    if not number.is_integer():
        raise mistake(place, f"'{text[:40]}' is not a value of {column.shows.name}")
    return _checked(int(number), column, place)


def _value(bits: str, column: Column, place: Place) -> int | None:
    if set(bits) & set("xXzZ"):
        return None
    if not _BITS.fullmatch(bits):
        raise mistake(place, f"'{bits[:40]}' is not a value")
    domain = column.shows.domain
    number = int(bits, 2)
    if not column.rewritten and domain.lo < 0 and bits[0] == "1" and number > domain.hi:
        number -= 1 << len(bits)
    return _checked(number, column, place)


def _checked(number: int, column: Column, place: Place) -> int:
    """The number as a value of what the column shows."""
    if column.rewritten:
        return column.value(str(number), place)
    domain = column.shows.domain
    if not domain.lo <= number <= domain.hi:
        raise mistake(place, f"{number} is not a value of {column.shows.name}")
    return number
