"""A hatch that may be forced while its bolt is in; the strain that this leaves stays."""

from __future__ import annotations

from pathlib import Path

from interlock.commands.rehearse.results import DeviationResult, Rehearsal
from interlock.commands.rehearse.study import Rehearser
from interlock.engines import catalogue
from interlock.model.load import load
from interlock.model.procedures import load_procedures

HATCH_YAML = """\
title: Hatch <b>
controller: controller.st
plant:
  bolt:
    by: operator
    states: [IN, OUT]
    moves:
      - {from: IN, to: OUT, says: draws the bolt}
      - {from: OUT, to: IN, when: hatch = SHUT, says: shoots the bolt}
  hatch:
    states: [SHUT, OPEN]
    moves:
      - {from: SHUT, to: OPEN, when: open_valve AND bolt = OUT, says: the hatch opens}
      - {from: OPEN, to: SHUT, when: NOT open_valve, says: the hatch falls shut}
      - {from: SHUT, to: OPEN, when: bolt = OUT AND NOT live, by: operator,
         says: opens the hatch by hand}
      - {from: SHUT, to: OPEN, when: bolt = IN, by: human, also: {strain: BENT},
         says: forces the hatch}
  strain:
    states: [SOUND, BENT]
controls:
  button: {says: the button}
  bypass: {says: the bypass key, positions: ['NO', 'YES']}
terms:
  live: open_valve
sensors:
  pressed: {reads: button}
  bolt_out: {reads: bolt = OUT}
hazards:
  H1: {says: bent hinge}
requirements:
  R1: {says: the hatch is not open while it is bent and lit,
     never: hatch = OPEN AND lamp AND strain = BENT, hazards: [H1]}
"""
HATCH_ST = """\
PROGRAM Hatch
VAR_INPUT pressed, bolt_out : BOOL; END_VAR
VAR_OUTPUT open_valve, lamp : BOOL; END_VAR
VAR may_open : BOOL; END_VAR
may_open := bolt_out;
open_valve := may_open AND pressed;
lamp := pressed AND bolt_out;
END_PROGRAM
"""
BY_HAND = """\
goal: strain = SOUND
procedures:
  by_hand:
    says: Open the hatch by hand
    starts: hatch = SHUT AND bolt = IN
    ends: hatch = OPEN OR bolt = OUT AND strain = SOUND
    steps:
      - {id: draw, says: Draw the bolt, who: operator, do: [bolt to OUT], done: bolt = OUT,
         observer: operator, seconds: [1, 2], assumed: true}
      - {id: open, says: Open it, who: operator, do: [hatch to OPEN],
         done: bolt = OUT OR hatch = OPEN, observer: operator, seconds: [3, 5],
         source: timed twice}
"""
BY_BUTTON = """\
goal: hatch = SHUT AND strain = SOUND
cautions: [mind your fingers]
procedures:
  by_button:
    says: Open the hatch
    starts: hatch = SHUT AND bolt = IN
    ends: bolt = OUT
    steps:
      - {id: draw, says: Draw the bolt, who: operator, do: ['bolt: IN to OUT'], done: bolt = OUT,
         observer: operator, seconds: [1, 2], assumed: true}
      - {id: open, says: Hold the button until it is open, who: operator, hold: {button: 'TRUE'},
         done: hatch = OPEN, observer: operator, seconds: [3, 5], assumed: true}
"""


def hatch(folder: Path, procedures: str = BY_BUTTON, *changes: tuple[str, str]) -> Path:
    """Write the hatch with its procedures, with texts of the three files replaced."""
    files = {
        "model.yaml": HATCH_YAML,
        "controller.st": HATCH_ST,
        "procedures.yaml": procedures,
    }
    for old, new in changes:
        assert any(old in text for text in files.values()), old
        files = {name: text.replace(old, new) for name, text in files.items()}
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def rehearsed(folder: Path, pairs: bool = False) -> Rehearsal:
    """The rehearsal of the procedures in a folder."""
    model = load(folder)
    engine = catalogue()["reference"]()
    return Rehearser(model, load_procedures(model), engine).rehearse(with_pairs=pairs)


def found(rehearsal: Rehearsal, kind: str, step: str) -> list[DeviationResult]:
    """The single deviations of a kind from a step, in the first procedure."""
    return [
        result
        for result in rehearsal.rehearsed[0].singles
        if result.deviations[0].kind.value == kind and result.deviations[0].steps[0] == step
    ]
