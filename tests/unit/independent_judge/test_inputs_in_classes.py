"""Inputs of which one value stands for others, judged on the project as written."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.independent_judge.controllers import is_executed_as_written
from interlock.model.load import load
from tests.support.models import verified, violated

_PROGRAM = """\
FUNCTION Bar : REAL
VAR_INPUT raw : {type}; END_VAR
Bar := {read} / 10.0;
END_FUNCTION
PROGRAM Main
VAR_INPUT raw : {type}; END_VAR
VAR_OUTPUT high, low : BOOL; END_VAR
high := Bar(raw) > 90.0;
low := Bar(raw) < -50.0;
END_PROGRAM
"""
_MODEL = """\
title: A transducer
controller: program.st
requirements:
  R1: {says: never high, never: high, judged: after scan}
  R2: {says: never low, never: low, judged: after scan}
  R3: {says: never both, never: high AND low}
"""


@pytest.mark.parametrize(
    ("type_", "read"), [("INT", "INT_TO_REAL(raw)"), ("DINT", "DINT_TO_REAL(raw)"), ("REAL", "raw")]
)
def test_the_judge_scans_the_value_that_was_tried(tmp_path: Path, type_: str, read: str) -> None:
    (tmp_path / "program.st").write_text(_PROGRAM.format(type=type_, read=read))
    (tmp_path / "model.yaml").write_text(_MODEL)
    model = load(tmp_path)
    assert is_executed_as_written(model)
    assert violated(verified(model)) == {"R1", "R2"}
