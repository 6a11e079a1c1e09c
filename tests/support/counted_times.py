"""A hoist in which every kind of time is counted once, all 600 ms until another is given."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import written

TIMES = {
    "least of a move": 600,
    "greatest of a move": 600,
    "least of what people do": 600,
    "least from scan to scan": 600,
    "greatest from scan to scan": 600,
    "delay of a signal": 600,
    "delay of an output": 600,
    "TON": 600,
    "TOF": 600,
    "TP": 600,
    "within": 600,
    "at_least": 600,
    "at_most": 600,
    "every": 600,
    "for, of what stays": 600,
    "for, of what has not come": 600,
}
"""Every kind of time that is counted, in ms."""

_YAML = """\
title: A hoist
controller: controller.st
run:
  time:
    unit: {unit}
    scan: [{least from scan to scan} ms, {greatest from scan to scan} ms]
plant:
  hook:
    states: [down, up]
    moves:
      - from: down
        to: up
        when: drive
        seconds: [{least of a move}, {greatest of a move}]
        assumed: true
      - {{from: up, to: down, when: NOT drive}}
  key:
    states: ['off', 'on']
    moves:
      - from: 'off'
        to: 'on'
        by: operator
        seconds: [{least of what people do}, 98.765]
        assumed: true
      - {{from: 'on', to: 'off', by: operator}}
sensors:
  turned: {{reads: key = on, delay_ms: {delay of a signal}, delay_assumed: true}}
  is_up: {{reads: hook = up}}
outputs:
  drive: {{delay_ms: {delay of an output}, delay_assumed: true}}
  lamp: {{}}
requirements:
  R1: {{says: It rises, whenever: drive, leads_to: hook = up OR NOT drive, within: {within} ms}}
  R2: {{says: The lamp is seen, once: lamp, at_least: {at_least} ms}}
  R3: {{says: It is not held for long, lasts: drive, at_most: {at_most} ms}}
  R4: {{says: It comes down, recurs: hook = down, every: {every} ms}}
  R5: {{says: It stays, wherever: drive, stays: key = on, for: '{for, of what stays} ms'}}
  R6: {{says: It waits, begins: drive, not_yet: hook = up, for: '{for, of what has not come} ms'}}
"""
_ST = """\
PROGRAM Hoist
VAR_INPUT turned, is_up : BOOL; END_VAR
VAR_OUTPUT drive, lamp : BOOL; END_VAR
VAR on_delay : TON; off_delay : TOF; pulse : TP; END_VAR
on_delay(IN := turned, PT := T#{TON}ms);
off_delay(IN := on_delay.Q, PT := T#{TOF}ms);
pulse(IN := is_up, PT := T#{TP}ms);
drive := off_delay.Q;
lamp := pulse.Q;
END_PROGRAM
"""
_IN_SECONDS = ("least of a move", "greatest of a move", "least of what people do")


def hoist(folder: Path, unit: str, times: Mapping[str, float] = {}) -> Model:
    """The hoist in a unit, with other times in ms by their kinds."""
    given = {**TIMES, **times}
    said = {name: ms / 1000 if name in _IN_SECONDS else ms for name, ms in given.items()}
    yaml = _YAML.format(unit=unit, **{name: f"{value:g}" for name, value in said.items()})
    return load(written(folder, yaml, _ST.format(**given)))
