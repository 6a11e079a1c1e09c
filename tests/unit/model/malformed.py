"""A small model, and how tests break it.

The sign « in a text is taken out before the file is written; it marks the place at which a
mistake must be told.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.model.load import load

MARK = "«"

MODEL = """\
title: A latch pin
controller: controller.st
plant:
  pin:
    states: [in, out]
    moves:
      - {from: in, to: out, when: pull}
      - {from: out, to: in, when: NOT pull}
controls:
  button: {says: the button}
sensors:
  pin_in: {reads: pin = in}
  held: {reads: button}
terms:
  locked: pin = in
hazards:
  H1: {says: it opens}
requirements:
  R1: {says: s, never: pull AND NOT button, judged: after scan}
"""

PROGRAM = """\
PROGRAM Latch
VAR_INPUT
  pin_in, held : BOOL;
END_VAR
VAR_OUTPUT
  pull : BOOL;
END_VAR
pull := held;
END_PROGRAM
"""

Edit = tuple[str, str, str]  # file, text to be replaced, text in its place
Case = tuple[list[Edit], list[str]]  # what breaks it, a part of what each mistake says

YAML, ST = "model.yaml", "controller.st"


def edited(edits: Iterable[Edit]) -> dict[str, str]:
    """The small model's files after the edits, marks included; "" replaces a whole file."""
    files = {YAML: MODEL, ST: PROGRAM}
    for file, old, new in edits:
        before = files.get(file, "")
        if old:
            assert before.count(old) == 1, f"{old!r} stands {before.count(old)} times in {file}"
        files[file] = before.replace(old, new) if old else new
    return files


def write(folder: Path, files: dict[str, str]) -> list[str]:
    """Write `files` without their marks; the marked places in order are returned."""
    places = []
    for name, text in files.items():
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        for line_number, line in enumerate(text.split("\n"), 1):
            column = line.find(MARK)
            while column >= 0:
                places.append((name, line_number, column + 1))
                line = line[:column] + line[column + 1 :]
                column = line.find(MARK)
        file.write_text(text.replace(MARK, ""), encoding="utf-8", newline="")
    return [f"{name}:{line}:{column}" for name, line, column in sorted(places)]


def refused(
    case: Case, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> tuple[list[str], list[str]]:
    """Load the model of a case, check what it says, and return the places told and marked."""
    edits, fragments = case
    marked = write(folder, edited(edits))
    # Run inside the folder, so that messages show the names of files and nothing before them.
    monkeypatch.chdir(folder)
    with pytest.raises(InputError) as caught:
        load(Path())
    places, says = zip(*(str(m).split(": ", 1) for m in caught.value.mistakes), strict=True)
    for words, fragment in zip(says, fragments, strict=True):
        assert fragment in words, f"{fragment!r} is not in {words!r}"
        assert "\n" not in words, words
    return list(places), marked
