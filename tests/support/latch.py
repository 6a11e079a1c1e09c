"""A latch without faults in which nothing is worth a look, and small changes of it."""

from __future__ import annotations

from pathlib import Path

from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import written

LATCH_YAML = """\
title: Latch
controller: controller.st
plant:
  latch:
    states: [IN, OUT]
    moves:
      - {from: IN, to: OUT, when: pull}
      - {from: OUT, to: IN, when: NOT pull}
  lid:
    states: [SHUT, OPEN]
    by: operator
    moves:
      - {from: SHUT, to: OPEN, when: latch = OUT}
      - {from: OPEN, to: SHUT}
controls:
  button: {}
terms:
  secured: latch = IN AND lid = SHUT
sensors:
  pressed: {reads: button}
  latch_in: {reads: latch = IN}
faults:
  F1: {says: switch made, sensor: latch_in, stuck: 'TRUE'}
  F2: {says: switch open, sensor: latch_in, stuck: 'FALSE'}
requirements:
  R1: {says: A lid that opens was released, event: lid = OPEN, only_after: latch = OUT}
  R2: {says: It can be opened, can_still: lid = OPEN}
  R3: {says: Nothing is pulled by itself, when: NOT button, always: NOT pull, judged: after scan}
"""
FAULTS = LATCH_YAML[LATCH_YAML.index("faults:") : LATCH_YAML.index("requirements:")]
LATCH_ST = """\
PROGRAM Latch
VAR_INPUT pressed, latch_in : BOOL; END_VAR
VAR_OUTPUT pull, lamp : BOOL; END_VAR
VAR seen : BOOL; wait : TON; END_VAR
wait(IN := pressed, PT := T#1s);
seen := wait.Q;
pull := pressed AND seen;
lamp := latch_in;
END_PROGRAM
"""


def latch(folder: Path, *changes: tuple[str, str]) -> Model:
    """The latch with texts of its two files replaced."""
    yaml, st = LATCH_YAML, LATCH_ST
    for old, new in changes:
        assert old in yaml or old in st, old
        yaml, st = yaml.replace(old, new), st.replace(old, new)
    return load(written(folder, yaml, st))
