"""Sensors, outputs and faults of a program whose variables are arrays and structures."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.json_schema import json_schema
from interlock.model.load import load
from tests.support.small_models import write_model

_MODEL = """\
title: Two flaps
controller: controller.st
plant:
  flap: {states: [shut, open], moves: [{from: shut, to: open, when: 'orders[-1].open'}]}
controls:
  button: {says: the button}
sensors:
  seen[1].shut: {reads: flap = shut, pair: 'seen[1].open'}
  seen[1].open: {reads: flap = open, pair: 'seen[1].shut'}
  seen[2].open: {reads: button}
outputs:
  orders[-1].open: {lamp: green}
requirements:
  R1: {says: Never open, never: flap = open}
  R2: {says: Told only when pressed, when: 'orders[ -1 ].open', always: button, judged: after scan}
  R3:
    says: The timer has run
    when: orders[-1].open
    always: Flaps.timers[1].Q AND (seen[1].shut OR seen[1].open)
    judged: after scan
    about: signals
faults:
  F1: {says: stuck shut, sensor: 'seen[1].shut', stuck: TRUE}
  F2: {says: stuck on, output: 'orders[-1].open', stuck: TRUE}
  F3: {says: both lost, sensors: {'seen[1].shut': FALSE, 'seen[1].open': FALSE}}
  F4: {says: both on, outputs: {'orders[-1].open': TRUE}}
"""
_PROGRAM = """\
TYPE
  Seen : STRUCT shut, open : BOOL; END_STRUCT;
  Order : STRUCT open : BOOL; END_STRUCT;
END_TYPE
PROGRAM Flaps
VAR_INPUT seen : ARRAY [1..2] OF Seen; END_VAR
VAR_OUTPUT orders : ARRAY [-1..0] OF Order; END_VAR
VAR timers : ARRAY [1..1] OF TON; END_VAR
timers[1](IN := seen[2].open, PT := T#1s);
orders[-1].open := timers[1].Q AND seen[1].shut;
END_PROGRAM
"""


def test_parts_of_arrays_and_structures_are_sensors_outputs_and_faults(tmp_path: Path) -> None:
    model = load(write_model(tmp_path, _MODEL, _PROGRAM))
    result = verify(model, catalogue()["reference"]())
    outcomes = {f.requirement.id: f.verdict.outcome for f in result.findings}
    assert outcomes["R1"] is Outcome.VIOLATED
    assert outcomes["R2"] is outcomes["R3"] is Outcome.HOLDS
    assert {name for name, sensor in model.sensors.items() if not sensor.is_free} == {
        "seen[1].shut",
        "seen[1].open",
        "seen[2].open",
    }
    assert model.outputs["orders[-1].open"].lamp == "green"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("when: 'orders[-1].open'}]", "when: 'orders[-1].opn'}]", "did you mean 'open'?"),
        ("when: 'orders[-1].open'}]", "when: 'orders[1].open'}]", "'orders[1].open' is not decl"),
        ("always: button,", "always: 'orders[button].open',", "an index must be a number here"),
        ("  seen[2].open: {", "  seen[2.open: {", "a part of a variable is named as legs[2].firm"),
        ("  seen[2].open: {", "  seen[3].open: {", "'seen[3].open' is not a VAR_INPUT"),
        ("sensor: 'seen[1].shut'", "sensor: 'seen[1].shot'", "did you mean 'seen[1].shut'?"),
    ],
)
def test_a_part_that_there_is_not_is_told_with_the_nearest(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    assert _MODEL.count(old) == 1
    with pytest.raises(InputError) as caught:
        load(write_model(tmp_path, _MODEL.replace(old, new), _PROGRAM))
    assert any(said in mistake.says for mistake in caught.value.mistakes), caught.value.mistakes


def test_machines_and_terms_have_plain_names(tmp_path: Path) -> None:
    model = _MODEL.replace("  button: {", "  button[1]: {")
    with pytest.raises(InputError, match=r"'button\[1\]' is not a name: letters, digits and _"):
        load(write_model(tmp_path, model, _PROGRAM))


def test_editors_let_parts_of_variables_pass() -> None:
    schema = json_schema()["$defs"]["ModelShape"]["properties"]["sensors"]
    assert "patternProperties" in schema or "propertyNames" in schema
    assert r"\\[" in json.dumps(schema)
