"""What goes on where it is interrupted is another plant than what starts again there."""

from __future__ import annotations

from pathlib import Path

from interlock.commands.compare.behaviour import Likeness
from interlock.commands.compare.impact import find_impact
from interlock.commands.compare.study import compare
from interlock.engines import catalogue
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import written

YAML = """\
title: A hoist that is driven in short pulls
controller: controller.st
run: {scan_ms: 100, time: {unit: 100 ms}}
plant:
  body:
    states: [down, up]
    moves:
      - {from: down, to: up, when: motor, seconds: [0.4, 0.6], assumed: true, interrupted: HOW}
sensors:
  is_up: {reads: body = up}
outputs:
  motor: {}
  alarm: {}
requirements:
  R1: {says: The body stays down, never: body = up}
"""
# The motor runs for one scan of two, which is never long enough in one piece.
ST = """\
PROGRAM P
VAR_INPUT is_up : BOOL; END_VAR
VAR_OUTPUT motor, alarm : BOOL; END_VAR
motor := NOT motor;
alarm := ALARM;
END_PROGRAM
"""


def hoist(folder: Path, how: str, alarm: str) -> Model:
    return load(written(folder, YAML.replace("HOW", how), ST.replace("ALARM", alarm)))


def test_the_programs_run_on_either_plant(tmp_path: Path) -> None:
    old = hoist(tmp_path / "old", "starts again", "FALSE")
    new = hoist(tmp_path / "new", "goes on", "is_up")
    compared = compare(old, new, catalogue()["reference"]())
    assert compared.behaviour is not None, compared.not_applicable
    assert {o.output: o.likeness for o in compared.behaviour.outputs} == {
        "motor": Likeness.EQUAL,
        "alarm": Likeness.DIFFERS,
    }


def test_it_touches_what_depends_on_the_machine(tmp_path: Path) -> None:
    old, new = (hoist(tmp_path / how, how, "is_up") for how in ("starts again", "goes on"))
    found = compare(old, new, catalogue()["reference"]())
    touched = find_impact(found).touched
    assert "R1" in {one.name for one in touched}, touched
