"""The journal of a challenge: one line a decided defect, so that an interrupted run goes on.

It goes on after requirements were added or changed, too: what a requirement caught that is still
asked stays caught, and gaps are tried again. What is equivalent stays so, unless a requirement is
new that looks at signals or inside the program: these may differ where nothing that moves or lights
up does.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from hashlib import sha256
from pathlib import Path
from typing import Any, BinaryIO

from interlock import __version__
from interlock.base.errors import InputError, Mistake, Place
from interlock.base.files import write_whole
from interlock.base.targets import check_target, failed
from interlock.commands.challenge.decide import BUT_FOR_WHAT_IS_OWED
from interlock.commands.challenge.results import DefectOutcome, DefectResult
from interlock.model.model import Formula, Model, Statement
from interlock.model.reading import names_read

FILE = "challenge.jsonl"
# The fields of a model that results rest on; requirements are compared one by one.
_DECIDING = (
    "between_scans",
    "machines",
    "moves",
    "sensors",
    "outputs",
    "terms",
    "faults",
    "program",
    "settings",
)
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)
_BEHIND_THE_SCENES = "about signals or inside the program"
_NO_LINE = "this is not a line of a challenge's journal"


def fingerprint(model: Model, run_classes: list[str], defects: Iterable[str]) -> str:
    """What the results depend on besides the requirements.

    That is the version, the model as it was loaded, however its files are written, the run
    classes, and which defects there are (their ids hold lines, which requirements above them would
    move).
    """
    loaded = {name: _as_data(getattr(model, name)) for name in _DECIDING}
    material = json.dumps([__version__, loaded, run_classes, list(defects)])
    return sha256(material.encode("utf-8")).hexdigest()


def _as_data(value: object) -> object:
    """A part of a model as plain data; equal where it means the same, wherever it stands."""
    match value:
        case Place():
            return None
        case Enum():
            return value.name
        case Mapping():
            return [[_as_data(key), _as_data(entry)] for key, entry in value.items()]
        case tuple():
            return [_as_data(entry) for entry in value]
        case None | bool() | int() | float() | str():
            return value
    assert is_dataclass(value), f"no part of a model: {value!r}"
    compared = [f.name for f in fields(value) if f.compare]
    return [type(value).__name__, *(_as_data(getattr(value, name)) for name in compared)]


def asked(model: Model) -> dict[str, str]:
    """What each requirement asks, as text that differs where that does."""

    def text(formula: Formula | None) -> str | None:
        return None if formula is None else formula.text

    return {
        s.id: json.dumps(
            [
                s.pattern.value,
                *map(text, (s.p, s.s, s.when, s.opens, s.closes)),
                s.scope.value,
                s.after_scan,
                _BEHIND_THE_SCENES if s.about_signals or _looks_inside(model, s) else "",
                s.survives,
                None if s.within is None else s.within.scans,
            ]
        )
        for s in model.statements.values()
    }


def _looks_inside(model: Model, statement: Statement) -> bool:
    formulas = (statement.p, statement.s, statement.when, statement.opens, statement.closes)
    return any(f is not None and names_read(f.tree) & model.inside.keys() for f in formulas)


def _line(data: Mapping[str, object]) -> str:
    return json.dumps(data, ensure_ascii=False, sort_keys=True) + "\n"


class Journal:
    """A file of results that only grows.

    Parameters
    ----------
    folder : Path
    mark : str
        The fingerprint that its results must have.
    requirements : mapping of str to str
        What is asked now, as `asked` gives it.

    Raises
    ------
    InputError
        Where the file there belongs to another model or another question, is no plain file, or
        cannot be written.

    Notes
    -----
    A line counts when its newline is there: half a line at the end, from an interruption, is cut
    off. Undecided results are not kept, since another limit may decide them.
    """

    def __init__(self, folder: Path, mark: str, requirements: Mapping[str, str] = {}) -> None:
        self.file = folder / FILE
        self.results: dict[str, DefectResult] = {}
        self._requirements = requirements
        self._head: dict[str, object] = {
            "journal": "challenge",
            "fingerprint": mark,
            "requirements": {**requirements},
        }
        check_target(self.file)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            whole = self._whole_lines()
        except OSError as error:
            raise failed(self.file, error) from None
        if whole:
            self._read(whole, mark)
            given = self._data(1, whole[0]).get("requirements")
            if given != requirements:
                whole = self._narrow(given if isinstance(given, dict) else {})
        self._stream = self._opened()
        self._stream.truncate(sum(len(line) for line in whole))
        self._stream.seek(0, os.SEEK_END)
        if not whole:
            self._append(self._head)

    def _opened(self) -> BinaryIO:
        """The file, to be added to; a link that came there meanwhile is not followed."""
        try:
            handle = os.open(self.file, os.O_RDWR | os.O_CREAT | _NO_LINK, 0o666)
        except OSError as error:
            raise failed(self.file, error) from None
        return os.fdopen(handle, "r+b")

    def _narrow(self, given: Mapping[str, object]) -> list[bytes]:
        """Keep what still holds now that other requirements are asked; the lines of the file."""
        now = self._requirements
        same = {id_ for id_, text in now.items() if given.get(id_) == text}
        new = [json.loads(text) for id_, text in now.items() if id_ not in same]
        outcomes = set() if new else {DefectOutcome.GAP}
        if not any(_BEHIND_THE_SCENES in asked_of for asked_of in new):
            outcomes.add(DefectOutcome.EQUIVALENT)
        self.results = {
            id_: result
            for id_, result in self.results.items()
            if (
                result.outcome in outcomes and not (new and result.shown_by == BUT_FOR_WHAT_IS_OWED)
            )
            or (result.outcome is DefectOutcome.CAUGHT and result.requirement in same)
        }
        lines = [_line(self._head), *(_line(result.as_data()) for result in self.results.values())]
        write_whole(self.file, "".join(lines))
        return [line.encode("utf-8") for line in lines]

    def _whole_lines(self) -> list[bytes]:
        if not self.file.exists():
            return []
        lines = self.file.read_bytes().splitlines(keepends=True)
        return [line for line in lines if line.endswith(b"\n")]

    def _read(self, lines: list[bytes], mark: str) -> None:
        given = self._data(1, lines[0]).get("fingerprint")
        for number, line in enumerate(lines[1:], 2):
            try:
                result = DefectResult.from_data(self._data(number, line))
            except (ValueError, KeyError, TypeError):
                raise self._refused(number, _NO_LINE) from None
            self.results.setdefault(result.defect, result)
        if given != mark:
            says = (
                "this journal is of another model, other run classes or another version of "
                "interlock; give another folder or remove it"
            )
            raise self._refused(1, says)

    def _data(self, number: int, line: bytes) -> dict[str, Any]:
        try:
            data = json.loads(line)
        except ValueError:
            data = None
        if not isinstance(data, dict):
            raise self._refused(number, _NO_LINE)
        return data

    def _refused(self, line: int, says: str) -> InputError:
        return InputError([Mistake(Place(str(self.file), line, 1), says)])

    def add(self, result: DefectResult) -> None:
        """Keep a decided result; it is on the disk when this returns."""
        if result.outcome is not DefectOutcome.UNDECIDED and result.defect not in self.results:
            self.results[result.defect] = result
            self._append(result.as_data())

    def _append(self, data: dict[str, object]) -> None:
        self._stream.write(_line(data).encode("utf-8"))
        self._stream.flush()
        os.fsync(self._stream.fileno())

    def close(self) -> None:
        """Close the file."""
        self._stream.close()
