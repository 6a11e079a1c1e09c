"""Which values of an input without a sensor are tried."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.model.load import load

_PROGRAM = """PROGRAM m
VAR_INPUT x : INT ({}); y : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR VAR last : INT; END_VAR
q := x > last; last := x;
END_PROGRAM
"""
_MODEL = """title: One input
controller: p.st
requirements:
  R1: {says: never on, never: q}
"""


def _write(folder: Path, limits: str) -> Path:
    (folder / "p.st").write_text(_PROGRAM.format(limits))
    (folder / "model.yaml").write_text(_MODEL)
    return folder


def test_few_values_are_each_tried_where_every_one_may_matter(tmp_path: Path) -> None:
    machine = load(_write(tmp_path, "0..40")).machines["x (free)"]
    assert machine.states == tuple(str(value) for value in range(41))


def test_more_values_than_can_be_surveyed_are_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="more than 64 values of it matter"):
        load(_write(tmp_path, "0..64"))
