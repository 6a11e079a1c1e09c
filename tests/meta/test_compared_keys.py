"""Every key of a model file is compared, or listed as not compared with its reason."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest
from pydantic import BaseModel

from interlock.commands.compare.files import NOT_COMPARED, model_differences
from interlock.model.load import load
from interlock.model.model import Model
from interlock.model.schema import ModelShape
from tests.support.gate import written

YAML = """\
title: Everything
says: a model that says everything
controller: controller.st
run: {between_scans: one in all, scan_ms: 100, timers: free, edges: second edition, overflow: wrap}
assumptions: [the road is dry]
cautions: [walk the vehicle first]
plant:
  gate:
    says: the gate
    states: [SHUT, BETWEEN, OPEN]
    initial: SHUT
    by: plant
    moves:
      - {from: SHUT, to: BETWEEN, when: drive, by: operator, also: {bolt: IN}, name: leave,
         says: leaves, seconds: [1, 2], source: a data sheet, assumed: false}
      - {from: BETWEEN, to: OPEN, may: false}
  bolt: {states: [IN, OUT], moves: [{from: IN, to: OUT}]}
controls:
  key: {says: the key, positions: [OFF, IDLE, ON], initial: 'OFF', by: operator, when: gate = SHUT,
        released: IDLE, bounces: false}
quantities:
  level:
    says: the level
    unit: mm
    from: 0
    to: 9
    initial: 1
    steps: [2]
    changes:
      - {when: drive, per_s: [3, 4], says: it rises, source: a guess, assumed: false}
    switches: {bob: {says: the float, closes_at: 5, opens_at: 4.5, initial: open}}
sensors:
  deep: {reads: level, scaled: {range: [0, 9], counts: [0, 90], lost: {F1: 99}, shifted: {F2: 7}}}
  shut: {says: the switch, reads: gate = SHUT, pair: off, delay_ms: 10, delay_source: sheet,
         delay_assumed: false}
  off: {reads: NOT (gate = SHUT), address: '%IX0.1', terminal: 'K1:3'}
  turned: {reads: key = ON, age: 2 scans}
buses: {slow: {age: 1 scan, sensors: [off], lost: F6, valid: comes}}
outputs:
  drive: {says: the drive, delay_ms: 20, delay_source: sheet, delay_assumed: false}
  lamp: {address: '%QX0.1', terminal: 'K2:3',
         says: the lamp, lamp: green, sounds: false, announces: false}
terms: {safe: gate = SHUT}
unsafe: gate = OPEN
map: [gate]
power: {lead: {says: the lead, while: bolt = IN}}
hazards:
  H1: {says: caught, severity: S2, exposure: F1, avoidance: P1}
  H2: {says: hit}
requirements:
  R1: {says: r1, never: lamp AND drive, when: safe, judged: every state, about: truth, survives: 0,
       hazards: [H1]}
  R2: {says: r2, always: lamp OR drive OR safe, scope: {before: gate = OPEN}}
  R3: {says: r3, exists: lamp, scope: {after: drive}}
  R4: {says: r4, whenever: drive, leads_to: lamp, within: 3 scans}
  R5: {says: r5, event: gate = OPEN, only_after: drive, scope: {between: drive, and: lamp}}
  R6: {says: r6, can_still: lamp}
  R7: {says: r7, always: lamp OR NOT safe, scope: {from: drive, until: lamp}}
faults:
  F1: {says: stuck, sensor: shut, stuck: 'TRUE', rate: 1.0e-6, exposure_h: 10, source: sheet,
       assumed: false, intermittent: false, common_cause: false, injectable: true}
  F2: {says: lost, outputs: {drive: 'FALSE'}, probability: 0.1, source: sheet}
  F3: {says: jam, machine: gate, jams_in: [OPEN], restart: false}
  F4: {says: both, sensors: {shut: 'TRUE', off: 'TRUE'}}
  F5: {says: stuck on, output: lamp, stuck: 'TRUE', excluded: cannot be}
"""
ST = """\
PROGRAM Everything
VAR_INPUT shut, off, turned, comes : BOOL; deep : INT; END_VAR
VAR_OUTPUT drive, lamp : BOOL; END_VAR
drive := turned AND NOT off AND deep < 50;
lamp := shut;
END_PROGRAM
"""
SECONDS = "seconds: [1, 2], source: a data sheet, assumed: false"
# By key: what stands in the model above, and what a changed model has in its place.
CHANGES: dict[str, tuple[str, str]] = {
    "says": ("says everything", "says a lot"),
    "controller": ("lamp := shut;", "lamp := NOT off;"),
    "run.between_scans": ("one in all", "each once"),
    "run.scan_ms": ("scan_ms: 100", "scan_ms: 50"),
    "run.timers": ("timers: free", "timers: counted"),
    "run.edges": ("second edition", "first edition"),
    "run.overflow": ("overflow: wrap", "overflow: saturate"),
    "assumptions": ("assumptions: [the road is dry]\n", ""),
    "cautions": ("cautions: [walk the vehicle first]\n", ""),
    "plant.says": ("says: the gate", "says: the great gate"),
    "plant.states": ("states: [IN, OUT]", "states: [IN, OUT, GONE]"),
    "plant.initial": ("initial: SHUT", "initial: OPEN"),
    "plant.by": ("by: plant\n", "by: driver\n"),
    "plant.moves": ("      - {from: BETWEEN, to: OPEN, may: false}\n", ""),
    "plant.moves.may": ("may: false", "may: true"),
    "controls.bounces": ("bounces: false", "bounces: true"),
    "plant.moves.from": ("{from: BETWEEN, to: OPEN,", "{from: SHUT, to: OPEN,"),
    "plant.moves.to": ("{from: BETWEEN, to: OPEN,", "{from: BETWEEN, to: SHUT,"),
    "plant.moves.when": ("when: drive, by", "when: lamp, by"),
    "plant.moves.by": ("by: operator, also", "by: human, also"),
    "plant.moves.also": ("also: {bolt: IN}", "also: {bolt: OUT}"),
    "plant.moves.name": ("name: leave", "name: go"),
    "plant.moves.says": ("says: leaves", "says: goes"),
    "plant.moves.seconds": ("seconds: [1, 2]", "seconds: [1, 3]"),
    "plant.moves.source": ("source: a data sheet", "source: a guess"),
    "plant.moves.assumed": (SECONDS, SECONDS.replace("false", "true")),
    "plant.moves.interrupted": (SECONDS, f"{SECONDS}, interrupted: goes on"),
    "controls.says": ("says: the key", "says: the old key"),
    "controls.positions": ("[OFF, IDLE, ON]", "[OFF, IDLE, ON, OUT]"),
    "controls.initial": ("initial: 'OFF'", "initial: 'ON'"),
    "controls.by": ("by: operator, when", "by: driver, when"),
    "controls.when": (", when: gate = SHUT,", ","),
    "controls.released": ("released: IDLE", "released: 'OFF'"),
    "sensors.says": ("says: the switch", "says: the other switch"),
    "sensors.reads": ("reads: key = ON", "reads: key = IDLE"),
    "sensors.pair": ("pair: off, ", ""),
    "sensors.delay_ms": ("delay_ms: 10", "delay_ms: 11"),
    "sensors.delay_source": ("delay_ms: 10, delay_source: sheet", "delay_ms: 10, delay_source: x"),
    "sensors.delay_assumed": ("delay_source: sheet,\n         delay_assumed: false",
                              "delay_source: sheet,\n         delay_assumed: true"),
    "sensors.address": ("'%IX0.1'", "'%IX0.2'"),
    "sensors.terminal": ("'K1:3'", "'K1:4'"),
    "sensors.age": ("age: 2 scans", "age: 3 scans"),
    "buses.age": ("age: 1 scan,", "age: 3 scans,"),
    "buses.sensors": ("sensors: [off]", "sensors: [shut]"),
    "buses.lost": ("lost: F6", "lost: F7"),
    "buses.valid": (", valid: comes", ""),
    "sensors.scaled.range": ("range: [0, 9]", "range: [1, 9]"),
    "sensors.scaled.counts": ("counts: [0, 90]", "counts: [0, 99]"),
    "sensors.scaled.lost": ("{F1: 99}", "{F1: 0}"),
    "sensors.scaled.shifted": ("{F2: 7}", "{F2: -7}"),
    "quantities.says": ("says: the level", "says: the depth"),
    "quantities.unit": ("unit: mm", "unit: cm"),
    "quantities.from": ("from: 0", "from: -1"),
    "quantities.to": ("to: 9", "to: 8"),
    "quantities.initial": ("initial: 1", "initial: 0"),
    "quantities.steps": ("steps: [2]", "steps: [3]"),
    "quantities.changes.when": ("when: drive, per_s", "when: lamp, per_s"),
    "quantities.changes.per_s": ("per_s: [3, 4]", "per_s: [3, 5]"),
    "quantities.changes.says": ("says: it rises", "says: it grows"),
    "quantities.changes.source": ("source: a guess", "source: the sheet"),
    "quantities.changes.assumed": ("a guess, assumed: false", "a guess, assumed: true"),
    "quantities.switches.says": ("says: the float", "says: the bob"),
    "quantities.switches.closes_at": ("closes_at: 5", "closes_at: 6"),
    "quantities.switches.opens_at": ("opens_at: 4.5", "opens_at: 4"),
    "quantities.switches.initial": ("initial: open}", "initial: closed}"),
    "outputs.address": ("'%QX0.1'", "'%QX0.2'"),
    "outputs.terminal": ("'K2:3'", "'K2:4'"),
    "outputs.says": ("says: the drive", "says: the big drive"),
    "outputs.lamp": ("lamp: green", "lamp: white"),
    "outputs.sounds": ("sounds: false", "sounds: true"),
    "outputs.announces": ("announces: false", "announces: true"),
    "outputs.delay_ms": ("delay_ms: 20", "delay_ms: 21"),
    "outputs.delay_source": ("delay_ms: 20, delay_source: sheet", "delay_ms: 20, delay_source: x"),
    "outputs.delay_assumed": ("delay_source: sheet, delay_assumed: false}",
                              "delay_source: sheet, delay_assumed: true}"),
    "terms": ("safe: gate = SHUT", "safe: gate <> OPEN"),
    "unsafe": ("unsafe: gate = OPEN\n", ""),
    "map": ("map: [gate]", "map: [gate, bolt]"),
    "power": ("power: {lead: {says: the lead, while: bolt = IN}}\n", ""),
    "power.says": ("says: the lead", "says: the long lead"),
    "power.while": ("while: bolt = IN", "while: bolt = OUT"),
    "hazards.says": ("says: caught", "says: pinched"),
    "hazards.severity": ("severity: S2", "severity: S1"),
    "hazards.exposure": ("exposure: F1", "exposure: F2"),
    "hazards.avoidance": ("avoidance: P1", "avoidance: P2"),
    "requirements.says": ("says: r1", "says: another"),
    "requirements.never": ("never: lamp AND drive", "never: lamp"),
    "requirements.always": ("always: lamp OR drive OR safe", "always: lamp"),
    "requirements.exists": ("exists: lamp", "exists: drive"),
    "requirements.whenever": ("whenever: drive", "whenever: safe"),
    "requirements.leads_to": ("leads_to: lamp", "leads_to: safe"),
    "requirements.within": ("within: 3 scans", "within: 4 scans"),
    "requirements.event": ("event: gate = OPEN", "event: lamp"),
    "requirements.only_after": ("only_after: drive", "only_after: lamp"),
    "requirements.can_still": ("can_still: lamp", "can_still: drive"),
    "requirements.when": ("when: safe, ", ""),
    "requirements.scope.before": ("{before: gate = OPEN}", "{before: drive}"),
    "requirements.scope.after": ("{after: drive}", "{after: lamp}"),
    "requirements.scope.between": ("{between: drive, and: lamp}", "{between: safe, and: lamp}"),
    "requirements.scope.and": ("{between: drive, and: lamp}", "{between: drive, and: safe}"),
    "requirements.scope.from": ("{from: drive, until: lamp}", "{from: safe, until: lamp}"),
    "requirements.scope.until": ("{from: drive, until: lamp}", "{from: drive, until: safe}"),
    "requirements.judged": ("judged: every state", "judged: after scan"),
    "requirements.about": ("about: truth", "about: signals"),
    "requirements.survives": ("survives: 0", "survives: 1"),
    "requirements.hazards": ("hazards: [H1]", "hazards: [H2]"),
    "faults.says": ("says: stuck,", "says: it sticks,"),
    "faults.sensor": ("sensor: shut, stuck: 'TRUE', rate", "sensor: off, stuck: 'TRUE', rate"),
    "faults.output": ("output: lamp", "output: drive"),
    "faults.stuck": ("stuck: 'TRUE', excluded", "stuck: 'FALSE', excluded"),
    "faults.sensors": ("off: 'TRUE'}", "off: 'FALSE'}"),
    "faults.outputs": ("{drive: 'FALSE'}", "{drive: 'TRUE'}"),
    "faults.machine": ("machine: gate, jams_in: [OPEN]", "machine: bolt, jams_in: [OUT]"),
    "faults.jams_in": ("jams_in: [OPEN]", "jams_in: [SHUT]"),
    "faults.restart": ("restart: false", "restart: true"),
    "faults.intermittent": ("intermittent: false", "intermittent: true"),
    "faults.common_cause": ("common_cause: false", "common_cause: true"),
    "faults.rate": ("rate: 1.0e-6", "rate: 2.0e-6"),
    "faults.probability": ("probability: 0.1", "probability: 0.2"),
    "faults.exposure_h": ("exposure_h: 10", "exposure_h: 11"),
    "faults.source": ("probability: 0.1, source: sheet", "probability: 0.1, source: x"),
    "faults.assumed": ("assumed: false, inter", "assumed: true, inter"),
    "faults.injectable": ("injectable: true", "injectable: false"),
    "faults.excluded": (", excluded: cannot be", ""),
}  # fmt: skip


CHANGES |= {
    "run.time.delays": (
        ", overflow: wrap}",
        ", time: {unit: 100 ms, delays: added}, overflow: wrap}",
    ),
    "run.time.unit": (", overflow: wrap}", ", time: {unit: 100 ms}, overflow: wrap}"),
    "run.time.scan": (
        ", overflow: wrap}",
        ", time: {unit: 100 ms, scan: [80 ms, 120 ms]}, overflow: wrap}",
    ),
}


# What needs time, by key: what stands in the model with time, and what a changed one has there.
IN_TIME = """\
  T1: {says: t1, once: lamp, at_least: 1 s}
  T2: {says: t2, lasts: lamp, at_most: 2 s}
  T3: {says: t3, recurs: lamp, every: 3 s}
  T4: {says: t4, wherever: lamp, stays: drive, for: 4 s}
  T5: {says: t5, begins: lamp, not_yet: drive, for: 5 s}
"""
CHANGES_IN_TIME = {
    "requirements.once": ("once: lamp", "once: drive"),
    "requirements.at_least": ("at_least: 1 s", "at_least: 2 s"),
    "requirements.lasts": ("lasts: lamp", "lasts: drive"),
    "requirements.at_most": ("at_most: 2 s", "at_most: 3 s"),
    "requirements.recurs": ("recurs: lamp", "recurs: drive"),
    "requirements.every": ("every: 3 s", "every: 4 s"),
    "requirements.wherever": ("wherever: lamp", "wherever: safe"),
    "requirements.stays": ("stays: drive", "stays: safe"),
    "requirements.for": ("for: 4 s", "for: 3 s"),
    "requirements.begins": ("begins: lamp", "begins: safe"),
    "requirements.not_yet": ("not_yet: drive", "not_yet: safe"),
}


def model_in_time(folder: Path, change: tuple[str, str] = ("", "")) -> Model:
    """The model above with time and requirements in it, with something else for one text."""
    yaml = YAML.replace(*CHANGES["run.time.unit"])
    yaml = yaml.replace("faults:\n", f"{IN_TIME}faults:\n", 1)
    assert not change[0] or yaml.count(change[0]) == 1
    return load(written(folder, yaml.replace(*change) if change[0] else yaml, ST))


@pytest.mark.parametrize("key", CHANGES_IN_TIME)
def test_a_changed_key_of_a_requirement_in_time_is_told(tmp_path: Path, key: str) -> None:
    old, new = model_in_time(tmp_path / "old"), model_in_time(tmp_path, CHANGES_IN_TIME[key])
    assert model_differences(old, new)
    assert model_differences(new, old)


def model(folder: Path, change: tuple[str, str] = ("", "")) -> Model:
    """The model above, with something else in the place of one text."""
    yaml, st = YAML, ST
    if change[0]:
        assert (yaml + st).count(change[0]) == 1, change[0]
        yaml, st = yaml.replace(*change), st.replace(*change)
    return load(written(folder, yaml, st))


@pytest.fixture(scope="module")
def old(tmp_path_factory: pytest.TempPathFactory) -> Model:
    """The model above as it is."""
    return model(tmp_path_factory.mktemp("old"))


def keys_of(shape: type[BaseModel], before: str = "") -> Iterator[str]:
    """Every key of a shape, those of shapes inside of it behind a dot; sections only by theirs."""
    for name, field in shape.model_fields.items():
        key = before + (field.alias or name)
        inner = [kind for kind in _kinds(field.annotation) if _is_shape(kind)]
        if not inner:
            yield key
        for kind in inner:
            yield from keys_of(kind, f"{key}.")


def _kinds(annotation: Any) -> Iterator[Any]:
    yield annotation
    for argument in get_args(annotation):
        yield from _kinds(argument)


def _is_shape(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)


def test_every_key_is_compared_or_listed() -> None:
    keys = {key for key in keys_of(ModelShape) if key.split(".")[0] not in NOT_COMPARED}
    # Which controllers restart is said beside 'controllers' alone, and that is not compared.
    assert keys - CHANGES.keys() - CHANGES_IN_TIME.keys() == {"faults.controllers"}
    # What is compared beyond that are entries that vanish as a whole.
    assert CHANGES.keys() - keys == {"plant.moves", "power"}


def test_what_is_listed_is_a_key_and_has_a_reason() -> None:
    assert NOT_COMPARED.keys() <= set(ModelShape.model_fields)
    assert all(len(reason) > 10 for reason in NOT_COMPARED.values())


@pytest.mark.parametrize("key", CHANGES)
def test_a_changed_key_is_told(tmp_path: Path, old: Model, key: str) -> None:
    new = model(tmp_path, CHANGES[key])
    assert model_differences(old, new)
    assert model_differences(new, old)


def test_the_order_of_faults_of_one_signal_is_told(tmp_path: Path) -> None:
    # Of two faults of one signal the one that is declared last decides.
    one = "  F4: {says: both, sensors: {shut: 'TRUE', off: 'TRUE'}}\n"
    first = YAML.replace(one, "").replace("faults:\n", f"faults:\n{one}")
    told = model_differences(model(tmp_path / "old"), load(written(tmp_path / "new", first, ST)))
    assert {d.name for d in told} == {"F1", "F4"}


def test_names_that_differ_in_the_case_of_letters_alone_are_told_apart(tmp_path: Path) -> None:
    two = ("  R6: {", "  r6: {says: the other, can_still: drive}\n  R6: {")
    gone = model_differences(model(tmp_path / "old", two), model(tmp_path / "new"))
    assert [(d.name, d.kind.value) for d in gone] == [("r6", "removed")]


def test_an_assumption_in_other_letters_is_told(tmp_path: Path) -> None:
    louder = ("the road is dry", "the road is DRY")
    told = model_differences(model(tmp_path / "old"), model(tmp_path / "new", louder))
    assert {d.kind.value for d in told} == {"added", "removed"}
