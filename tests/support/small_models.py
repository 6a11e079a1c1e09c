"""Small model folders for tests, and their pictures' contents."""

from __future__ import annotations

from pathlib import Path

from interlock.model.load import load
from interlock.model.model import Model

GATE_MODEL = """\
title: Gate with bolt
controller: controller.st
plant:
  gate:
    says: the <gate> & "its" leaf
    states: [shut, between, open]
    moves:
      - {from: shut, to: between, when: drive AND bolt = out, says: the gate leaves its place}
      - {from: between, to: open, when: drive, also: {bolt: in}, says: the gate is open}
      - {from: open, to: shut, by: operator, says: pushes the gate shut}
  bolt:
    states: [in, out]
    moves:
      - {from: in, to: out, when: pull, says: the magnet pulls the bolt}
      - {from: out, to: in, when: NOT pull, says: the spring pushes the bolt}
  dog:
    states: [calm, wild]
    initial: wild
    by: driver
    moves:
      - {from: calm, to: wild, says: barks}
      - {from: wild, to: calm, by: human, says: forgets to bark}
controls:
  button: {says: the button}
sensors:
  pressed: {reads: button}
  bolt_in: {reads: bolt = in}
  idle: {reads: dog = calm}
outputs:
  drive: {says: the motor}
map: [gate, bolt]
unsafe: gate = open AND bolt = in
requirements:
  G1: {says: Never open with the bolt in, never: gate = open AND bolt = in}
  G2: {says: The gate can always be opened, can_still: gate = open}
  G3:
    says: The gate never moves with the bolt in
    never: gate = between AND bolt = in
    judged: after scan
"""
GATE_PROGRAM = """\
PROGRAM Gate
VAR_INPUT pressed, bolt_in, idle : BOOL; END_VAR
VAR_OUTPUT drive, pull : BOOL; END_VAR
VAR seen : BOOL; END_VAR
drive := pressed AND NOT bolt_in;
pull := pressed AND seen OR pull AND pressed;
seen := pressed;
END_PROGRAM
"""


def write_model(folder: Path, model: str = GATE_MODEL, program: str = GATE_PROGRAM) -> Path:
    """Write a model folder."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "model.yaml").write_text(model, encoding="utf-8")
    (folder / "controller.st").write_text(program, encoding="utf-8")
    return folder


def gate(folder: Path) -> Model:
    """The gate: three machines, a button, a violated requirement."""
    return load(write_model(folder / "gate"))
