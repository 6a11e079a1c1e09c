"""A gate that a program opens on a button, written in place; a light tells that it is shut."""

from __future__ import annotations

from pathlib import Path

from interlock.model.load import load
from interlock.model.model import Model

GATE_YAML = """\
title: Gate
controller: controller.st
plant:
  gate:
    states: [SHUT, BETWEEN, OPEN]
    moves:
      - {from: SHUT, to: BETWEEN, when: drive, says: the gate leaves its stop}
      - {from: BETWEEN, to: OPEN, when: drive, says: the gate is open}
      - {from: [OPEN, BETWEEN], to: SHUT, when: NOT drive, says: the gate falls shut}
controls:
  button: {says: the button}
sensors:
  shut: {reads: gate = SHUT}
  pressed: {reads: button}
outputs:
  lamp: {lamp: green}
hazards:
  H1: {says: caught in the gate}
faults:
  F1: {says: switch stuck shut, sensor: shut, stuck: 'TRUE'}
  F2: {says: gate jams, machine: gate, jams_in: [BETWEEN]}
  F3: {says: controller restarts, restart: true}
  F4: {says: switch frozen, sensor: shut, stuck: frozen, intermittent: true}
  F5: {says: drive shorted on, output: drive, stuck: 'TRUE'}
requirements:
  R1: {says: the lamp tells the truth, when: lamp, always: gate = SHUT,
       judged: after scan, hazards: [H1]}
  R2: {says: the gate falls shut again, whenever: gate = OPEN AND NOT button,
       leads_to: gate = SHUT OR button}
  R3: {says: open only after the button, event: gate = OPEN, only_after: button}
  R4: {says: it can always be shut, can_still: gate = SHUT}
"""
GATE_ST = """\
PROGRAM Gate
VAR_INPUT shut, pressed : BOOL; END_VAR
VAR_OUTPUT drive, lamp : BOOL; END_VAR
drive := pressed;
lamp := shut AND NOT drive;
END_PROGRAM
"""


def written(folder: Path, yaml: str = GATE_YAML, st: str = GATE_ST) -> Path:
    """Write a model folder and return it."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "model.yaml").write_text(yaml, encoding="utf-8")
    (folder / "controller.st").write_text(st, encoding="utf-8")
    return folder


def gate(folder: Path, *changes: tuple[str, str]) -> Model:
    """The gate with texts of its two files replaced."""
    yaml, st = GATE_YAML, GATE_ST
    for old, new in changes:
        assert old in yaml or old in st, old
        yaml, st = yaml.replace(old, new), st.replace(old, new)
    return load(written(folder, yaml, st))
