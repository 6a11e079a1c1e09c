"""A small model with a fault of every kind: a hoist behind a door with two contacts."""

from __future__ import annotations

from pathlib import Path

from interlock.model.load import load
from interlock.model.model import Model
from tests.support.small_models import write_model

HOIST_MODEL = """\
title: Hoist behind a door
controller: controller.st
run: {between_scans: one in all}
plant:
  hook:
    says: the hook
    states: [down, between, up]
    moves:
      - {from: down, to: between, when: raising, says: the hook rises}
      - {from: between, to: up, when: raising, says: the hook is up}
      - {from: up, to: between, when: lowering, says: the hook sinks}
      - {from: between, to: down, when: lowering OR FV, says: the hook is down}
  door:
    says: the door
    states: [shut, open]
    by: operator
    moves:
      - {from: shut, to: open, says: opens the door}
      - {from: open, to: shut, says: shuts the door}
      - {from: shut, to: open, when: raising, by: human, says: tears the door open}
controls:
  panel: {says: the panel, positions: [NONE, RAISE, LOWER], released: NONE}
terms:
  raising: raise_a AND raise_b
  lowering: lower_a
sensors:
  door_a: {reads: door = shut, pair: door_b}
  door_b: {reads: door <> shut, pair: door_a}
  top: {reads: hook = up}
  up_pressed: {reads: panel = RAISE}
  down_pressed: {reads: panel = LOWER}
  spare: {reads: hook = between}
outputs:
  raise_a: {says: feed of the motor}
  raise_b: {says: return of the motor}
  lower_a: {says: the valve}
  red: {lamp: red, says: something is wrong}
  green: {lamp: green, says: ready}
  horn: {sounds: true}
hazards:
  H1: {says: a hand is crushed}
requirements:
  R1: {says: Never driven with the door open, never: raising AND door = open, judged: after scan, survives: 1, hazards: [H1]}
  R2: {says: The valve is open only while the button is held, never: lowering AND panel <> LOWER, judged: after scan, survives: 1}
  R3: {says: The open door leads to red or the horn, whenever: door = open, leads_to: red OR horn OR door = shut, survives: 1}
  R4: {says: The hook can always still be lowered, can_still: hook = down}
  R5: {says: The hook rises only after a press, event: hook = between, only_after: panel = RAISE, scope: {from: hook = down, until: 'FALSE'}}
  R6: {says: Green tells that the door is shut, when: green, always: door = shut, judged: after scan, survives: 1}
faults:
  FA: {says: contact a stuck shut, sensor: door_a, stuck: TRUE, rate: 1.0e-6, exposure_h: 10, source: a maker's sheet}
  FB: {says: contact b stuck shut, sensor: door_b, stuck: FALSE, rate: 2.0e-6, exposure_h: 100, assumed: true}
  FC: {says: both contacts lost together, sensors: {door_a: 'TRUE', door_b: 'FALSE'}, rate: 2.0e-8, exposure_h: 10, assumed: true, common_cause: true}
  FK: {says: the hook jams half-way, machine: hook, jams_in: [between], probability: 0.001, assumed: true}
  FL: {says: red lamp dead, output: red, stuck: FALSE, rate: 1.0e-7, exposure_h: 8760, assumed: true}
  FO: {says: valve stuck where it is, output: lower_a, stuck: frozen, rate: 1.0e-7, exposure_h: 8760, assumed: true}
  FP: {says: feed stuck on, output: raise_a, stuck: TRUE, rate: 1.0e-7, exposure_h: 8760, assumed: true}
  FR: {says: the controller restarts, restart: true, rate: 1.0e-5, exposure_h: 10, assumed: true}
  FS: {says: spare switch stuck, sensor: spare, stuck: TRUE, rate: 1.0e-6, exposure_h: 10, assumed: true}
  FV: {says: 'the valve leaks, a little', rate: 1.0e-7, exposure_h: 8760, assumed: true}
  FW: {says: button radio lost, sensors: {up_pressed: 'FALSE', down_pressed: 'FALSE'}, intermittent: true, probability: 0.01, assumed: true}
  FX: {says: the beam breaks, machine: hook, excluded: 'dimensioned by EN 13001 (example)'}
"""
HOIST_PROGRAM = """\
PROGRAM Hoist
VAR_INPUT door_a, door_b, top, up_pressed, down_pressed, spare : BOOL; END_VAR
VAR_OUTPUT raise_a, raise_b, lower_a, red, green, horn : BOOL; END_VAR
VAR is_shut, run, pair_fault : BOOL; END_VAR
IF door_a = door_b THEN
  pair_fault := TRUE;
END_IF;
is_shut := door_a AND NOT door_b AND NOT pair_fault;
run := up_pressed AND is_shut AND NOT top;
raise_a := run;
raise_b := run;
lower_a := down_pressed;
red := NOT is_shut;
green := is_shut;
horn := pair_fault;
END_PROGRAM
"""

# One contact is enough, and its fault harms at once.
ONE_CONTACT = HOIST_PROGRAM.replace(
    "is_shut := door_a AND NOT door_b AND NOT pair_fault;", "is_shut := door_a;"
)
# Contacts that disagree stop the motor for one scan, with the horn, and never again.
WARNED_FIRST = (
    HOIST_PROGRAM.replace("run, pair_fault :", "run, pair_fault, known :")
    .replace("IF door_a = door_b", "known := pair_fault;\nIF door_a = door_b")
    .replace("NOT door_b AND NOT pair_fault", "(NOT door_b OR known)")
)


def hoist(folder: Path, program: str = HOIST_PROGRAM) -> Model:
    """The model, written to `folder` and read."""
    return load(write_model(folder, HOIST_MODEL, program))
