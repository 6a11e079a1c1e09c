"""A gate that takes its time, and a timer that watches it."""

from __future__ import annotations

from pathlib import Path

from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import written

YAML = """\
title: A gate that takes its time
controller: controller.st
run: {scan_ms: 100, time: {unit: 100 ms}}
plant:
  gate:
    states: [open, moving, shut]
    moves:
      - {from: open, to: moving, when: drive, seconds: [0, 0.1], assumed: true}
      - {from: moving, to: shut, when: drive, seconds: [0.5, 0.7], assumed: true}
controls:
  button: {says: the button}
sensors:
  pressed: {reads: button}
  is_shut: {reads: gate = shut}
outputs:
  drive: {}
  alarm: {}
requirements:
  R1: {says: The alarm is for a gate that jams, never: alarm}
  R2: {says: The gate shuts, whenever: drive, leads_to: gate = shut}
"""
ST = """\
PROGRAM Gate
VAR_INPUT pressed, is_shut : BOOL; END_VAR
VAR_OUTPUT drive, alarm : BOOL; END_VAR
VAR watchdog : TON; END_VAR
drive := pressed OR drive;
watchdog(IN := drive AND NOT is_shut, PT := T#900ms);
alarm := watchdog.Q;
END_PROGRAM
"""


def timed_gate(folder: Path, *changes: tuple[str, str]) -> Model:
    """The gate with texts of its two files replaced.

    It starts to move 0 to 0.1 s after it is driven and is shut 0.5 to 0.7 s later; the watchdog
    waits for 0.9 s.
    """
    return load(timed_gate_folder(folder, *changes))


def timed_gate_folder(folder: Path, *changes: tuple[str, str]) -> Path:
    """As `timed_gate`, only written."""
    yaml, st = YAML, ST
    for old, new in changes:
        assert old in yaml or old in st, old
        yaml, st = yaml.replace(old, new), st.replace(old, new)
    return written(folder, yaml, st)
