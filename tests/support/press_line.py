"""A made-up line of presses, as large as an engineer's own first model.

Three stations, each with a clamp, a guard with a pair of switches, and a tool; three controls. That
is 9 machines, 22 signals and 11 faults.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from interlock.model.load import load
from interlock.model.model import Model
from tests.support.small_models import write_model

STATIONS = (1, 2, 3)


def press_line(
    folder: Path, stations: tuple[int, ...] = STATIONS, between_scans: str = "each once"
) -> Model:
    """Write the line with some of its stations, and load it."""
    run = f"run: {{between_scans: {between_scans}}}"
    return load(
        write_model(folder, "\n".join([*_model(stations), run]), "\n".join(_program(stations)))
    )


def _model(stations: tuple[int, ...]) -> Iterator[str]:
    yield "title: Line of presses\ncontroller: controller.st\nplant:"
    for k in stations:
        yield f"""\
  clamp_{k}:
    states: [OPEN, MOVING, SHUT]
    moves:
      - {{from: [OPEN, SHUT], to: MOVING, when: close_{k} <> (clamp_{k} = SHUT)}}
      - {{from: MOVING, to: SHUT, when: close_{k}}}
      - {{from: MOVING, to: OPEN, when: NOT close_{k}}}
  guard_{k}:
    states: [SHUT, OPEN]
    by: operator
    moves:
      - {{from: SHUT, to: OPEN, when: unlock_{k}, says: opens guard {k}}}
      - {{from: OPEN, to: SHUT, says: shuts guard {k}}}
  tool_{k}:
    states: [HOME, MOVING, OUT]
    moves:
      - {{from: [HOME, OUT], to: MOVING, when: go_{k} <> (tool_{k} = OUT)}}
      - {{from: MOVING, to: OUT, when: go_{k}}}
      - {{from: MOVING, to: HOME, when: NOT go_{k}}}"""
    yield "controls:\n  start: {says: start}\n  stop: {says: stop}\n  reset: {says: reset}"
    yield "sensors:\n  started: {reads: start}\n  stop_free: {reads: NOT stop}"
    yield "  reset_pressed: {reads: reset}"
    yield "  all_home: {reads: " + " AND ".join(f"tool_{k} = HOME" for k in stations) + "}"
    for k in stations:
        yield f"  clamp_{k}_open: {{reads: clamp_{k} = OPEN}}"
        yield f"  clamp_{k}_shut: {{reads: clamp_{k} = SHUT}}"
        yield f"  guard_{k}_a: {{reads: guard_{k} = SHUT, pair: guard_{k}_b}}"
        yield f"  guard_{k}_b: {{reads: guard_{k} = OPEN, pair: guard_{k}_a}}"
        yield f"  tool_{k}_home: {{reads: tool_{k} = HOME}}"
        yield f"  tool_{k}_out: {{reads: tool_{k} = OUT}}"
    yield "outputs:\n  ready: {lamp: green}\n  fault: {lamp: red}"
    for k in stations:
        yield f"  close_{k}: {{says: clamp {k} shuts}}\n  go_{k}: {{says: tool {k} goes out}}"
        yield f"  unlock_{k}: {{says: guard {k} unlocked}}"
    yield "hazards:\n  H1: {says: a hand below a tool}\nrequirements:"
    for k in stations:
        yield f"""\
  R{k}a: {{says: no tool goes into an open guard, never: go_{k} AND guard_{k} = OPEN,
          judged: after scan, survives: 1, hazards: [H1]}}
  R{k}b: {{says: no tool is out without its clamp, never: tool_{k} = OUT AND clamp_{k} = OPEN}}
  R{k}c: {{says: the tool comes home, whenever: tool_{k} = MOVING AND NOT start,
          leads_to: tool_{k} = HOME OR start}}
  R{k}d: {{says: the guard can always still be opened, can_still: guard_{k} = OPEN}}
  R{k}e: {{says: the tool leaves after the clamp, event: tool_{k} = OUT,
          only_after: clamp_{k} = SHUT, scope: {{from: tool_{k} = HOME, until: 'FALSE'}}}}"""
    yield "  RR: {says: ready tells the truth, when: ready, always: "
    yield "       " + " AND ".join(f"tool_{k} = HOME" for k in stations) + ", judged: after scan}"
    yield "faults:"
    for k in stations:
        yield f"  F{k}a: {{says: contact a stuck shut, sensor: guard_{k}_a, stuck: 'TRUE'}}"
        yield f"  F{k}b: {{says: contact b stuck shut, sensor: guard_{k}_b, stuck: 'FALSE'}}"
        yield f"  F{k}j: {{says: the tool jams, machine: tool_{k}, jams_in: [MOVING]}}"
    yield "  FR: {says: the controller restarts, restart: true}"
    yield "  FS: {says: stop stuck free, sensor: stop_free, stuck: 'TRUE'}"


def _program(stations: tuple[int, ...]) -> Iterator[str]:
    inputs = ["started", "stop_free", "reset_pressed", "all_home"]
    outputs = ["ready", "fault"]
    for k in stations:
        inputs += [f"clamp_{k}_open", f"clamp_{k}_shut", f"guard_{k}_a", f"guard_{k}_b"]
        inputs += [f"tool_{k}_home", f"tool_{k}_out"]
        outputs += [f"close_{k}", f"go_{k}", f"unlock_{k}"]
    yield "PROGRAM Line\nVAR_INPUT"
    yield f"  {', '.join(inputs)} : BOOL;\nEND_VAR\nVAR_OUTPUT"
    yield f"  {', '.join(outputs)} : BOOL;\nEND_VAR\nVAR"
    yield f"  {', '.join(f'odd_{k}' for k in stations)} : BOOL;\nEND_VAR"
    for k in stations:
        yield f"""\
IF guard_{k}_a = guard_{k}_b THEN
  odd_{k} := TRUE;
ELSIF reset_pressed AND guard_{k}_a THEN
  odd_{k} := FALSE;
END_IF;
close_{k} := (started OR NOT tool_{k}_home) AND stop_free AND guard_{k}_a AND NOT guard_{k}_b
  AND NOT odd_{k};
go_{k} := close_{k} AND started AND clamp_{k}_shut AND NOT clamp_{k}_open;
unlock_{k} := tool_{k}_home AND NOT go_{k};"""
    yield f"fault := {' OR '.join(f'odd_{k}' for k in stations)};"
    yield "ready := all_home AND NOT fault;\nEND_PROGRAM"
