"""A fan that runs on behind a door; a timer stands for a sensor of its standstill."""

from __future__ import annotations

from pathlib import Path

from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import written

YAML = """\
title: A fan behind a door
controller: controller.st
run: {scan_ms: 100, time: {unit: 100 ms}}
plant:
  blades:
    states: [at_rest, turning]
    moves:
      - {from: at_rest, to: turning, when: motor, seconds: [0, 0.1], assumed: true}
      - {from: turning, to: at_rest, when: NOT motor, seconds: [0.2, 0.5], assumed: true}
  door:
    states: [locked, free]
    moves:
      - {from: locked, to: free, when: unlock, seconds: [0, 0.1], assumed: true}
      - {from: free, to: locked, when: NOT unlock, seconds: [0, 0.1], assumed: true}
controls:
  button: {says: the button}
sensors:
  pressed: {reads: button}
  is_locked: {reads: door = locked}
outputs:
  motor: {}
  unlock: {}
requirements:
  R1: {says: Nobody reaches into turning blades, never: door = free AND blades = turning}
  R2: {says: It is free in time, whenever: NOT button, leads_to: door = free OR button, within: 2 s}
"""
ST = """\
PROGRAM Fan
VAR_INPUT pressed, is_locked : BOOL; END_VAR
VAR_OUTPUT motor, unlock : BOOL; END_VAR
VAR run_down : TON; END_VAR
run_down(IN := NOT motor AND NOT pressed, PT := T#600ms);
unlock := run_down.Q;
motor := pressed AND is_locked AND NOT unlock;
END_PROGRAM
"""


def fan_folder(folder: Path, *changes: tuple[str, str]) -> Path:
    """The fan with texts of its two files replaced.

    Its blades are at rest within 0.5 s of the motor's end, and the timer waits for 0.6 s.
    """
    yaml, st = YAML, ST
    for old, new in changes:
        assert old in yaml or old in st, old
        yaml, st = yaml.replace(old, new), st.replace(old, new)
    return written(folder, yaml, st)


def fan(folder: Path, *changes: tuple[str, str]) -> Model:
    """As `fan_folder`, read."""
    return load(fan_folder(folder, *changes))
