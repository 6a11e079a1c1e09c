"""The journal of a challenge: one line a decided defect, so that an interrupted run goes on."""

from __future__ import annotations

import json
import os
from hashlib import sha256
from pathlib import Path
from typing import Any

from interlock import __version__
from interlock.base.errors import InputError, Mistake, Place
from interlock.model.model import Model
from interlock.studies.challenge.trial import Outcome, Trial

FILE = "challenge.jsonl"
_NO_LINE = "this is not a line of a challenge's journal"


def fingerprint(model: Model, run_classes: list[str]) -> str:
    """What the trials depend on: version, files by name in the model's folder, run classes."""
    texts = sorted((Path(file).name, text) for file, text in model.sources.items())
    material = json.dumps([__version__, texts, run_classes])
    return sha256(material.encode("utf-8")).hexdigest()


class Journal:
    """A file of trials that only grows.

    Parameters
    ----------
    folder : Path
    mark : str
        The fingerprint that its trials must have.

    Raises
    ------
    InputError
        Where the file there belongs to another model or another question.

    Notes
    -----
    A line counts when its newline is there: half a line at the end, from an interruption, is cut
    off. Undecided trials are not kept, since another limit may decide them.
    """

    def __init__(self, folder: Path, mark: str) -> None:
        self.file = folder / FILE
        self.trials: dict[str, Trial] = {}
        folder.mkdir(parents=True, exist_ok=True)
        whole = self._whole_lines()
        if whole:
            self._read(whole, mark)
        self._stream = self.file.open("r+b" if self.file.exists() else "w+b")
        self._stream.truncate(sum(len(line) for line in whole))
        self._stream.seek(0, os.SEEK_END)
        if not whole:
            self._append({"journal": "challenge", "fingerprint": mark})

    def _whole_lines(self) -> list[bytes]:
        if not self.file.exists():
            return []
        lines = self.file.read_bytes().splitlines(keepends=True)
        return [line for line in lines if line.endswith(b"\n")]

    def _read(self, lines: list[bytes], mark: str) -> None:
        given = self._data(1, lines[0]).get("fingerprint")
        for number, line in enumerate(lines[1:], 2):
            try:
                trial = Trial.from_data(self._data(number, line))
            except (ValueError, KeyError, TypeError):
                raise self._refused(number, _NO_LINE) from None
            self.trials.setdefault(trial.defect, trial)
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

    def add(self, trial: Trial) -> None:
        """Keep a decided trial; it is on the disk when this returns."""
        if trial.outcome is not Outcome.UNDECIDED and trial.defect not in self.trials:
            self.trials[trial.defect] = trial
            self._append(trial.as_data())

    def _append(self, data: dict[str, object]) -> None:
        text = json.dumps(data, ensure_ascii=False, sort_keys=True) + "\n"
        self._stream.write(text.encode("utf-8"))
        self._stream.flush()
        os.fsync(self._stream.fileno())

    def close(self) -> None:
        """Close the file."""
        self._stream.close()
