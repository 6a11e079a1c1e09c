"""How a single fault shows for the first time."""

from __future__ import annotations

from pathlib import Path

from interlock.judgement.single_fault import Showing, Strike, strike_alone
from interlock.kernel.query import Limits
from interlock.model.load import load
from tests.support.gate import written

# Each move is called after its states: 'clock: rests to strikes'.
CLOCK_YAML = """\
title: A tower clock
controller: controller.st
plant:
  clock: {states: [rests, strikes], moves: [{from: rests, to: strikes}]}
sensors:
  hammer: {reads: clock = strikes}
  bell: {reads: clock = strikes}
outputs:
  differ: {lamp: red}
faults:
  F1: {says: the hammer's switch freezes, sensor: hammer, stuck: frozen}
requirements:
  R1: {says: none differ, never: differ}
"""
CLOCK_ST = """\
PROGRAM Clock
VAR_INPUT hammer, bell : BOOL; END_VAR
VAR_OUTPUT differ : BOOL; END_VAR
differ := hammer <> bell;
END_PROGRAM
"""


def test_a_move_into_a_state_called_strikes_is_no_strike(tmp_path: Path) -> None:
    model = load(written(tmp_path, CLOCK_YAML, CLOCK_ST))
    found = strike_alone(model, Limits(), Strike(("F1",), ("R1",)))
    assert found.showings == {"F1": Showing(("differ",), "clock: rests to strikes", is_alarm=True)}
