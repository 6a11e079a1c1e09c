"""What a supply feeds, against a small plant where it can be seen and the demo vehicle's facts."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from interlock.base.errors import InputError
from interlock.model.load import load
from interlock.pictures.shown.supplies import Fed, what_is_fed
from interlock.pictures.supplies import draw_supplies
from tests.support.models import shipped

YAML = """\
title: A hoist on a cable
controller: controller.st
plant:
  cable:
    states: ['OFF', 'ON']
    by: operator
    moves: [{from: 'OFF', to: 'ON'}, {from: 'ON', to: 'OFF'}]
  hoist:
    states: [down, up]
    moves:
      - {from: down, to: up, when: driven, name: rises}
      - {from: up, to: down, when: driven AND lower, name: sinks}
      - {from: up, to: down, when: leaky, says: creeps down, name: leaks}
      - {from: down, to: up, when: driven AND NOT live, name: never}
  brake:
    states: [shut, open]
    moves: [{from: shut, to: open, when: release, name: opens}]
power:
  mains: {says: the cable, while: live}
terms:
  driven: live AND (pump OR stuck)
  live: cable = ON
sensors:
  running: {reads: driven}
  is_up: {reads: hoist = up}
faults:
  leaky: {says: the cylinder leaks}
  stuck: {says: the contactor sticks}
requirements:
  R1: {says: s, never: hoist = up AND NOT live}
"""
PROGRAM = """\
PROGRAM Hoist
VAR_INPUT running, is_up : BOOL; END_VAR
VAR_OUTPUT pump, lower, release, lamp : BOOL; END_VAR
pump := NOT is_up;
lower := is_up;
END_PROGRAM
"""


def hoist(folder: Path, yaml: str = YAML) -> Path:
    (folder / "model.yaml").write_text(yaml, encoding="utf-8")
    (folder / "controller.st").write_text(PROGRAM, encoding="utf-8")
    return folder


@pytest.fixture
def fed(tmp_path: Path) -> Fed:
    [found] = what_is_fed(load(hoist(tmp_path)))
    return found


def test_a_move_is_stopped_if_nothing_makes_it_possible_without_the_supply(fed: Fed) -> None:
    assert [move.name for move in fed.stopped] == ["rises", "sinks"]
    assert [move.name for move in fed.going_on] == ["leaks", "opens"]


def test_an_output_is_isolated_if_it_acts_but_not_without_the_supply(fed: Fed) -> None:
    assert fed.isolated == ("pump", "lower")
    assert fed.acting == ("release",)  # a lamp acts on nothing of the plant


def test_an_input_falls_silent_if_only_the_supply_lets_it_change(fed: Fed) -> None:
    assert fed.silent == ("running",)


def test_a_supply_whose_condition_is_no_condition_is_told_at_its_place(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"model\.yaml:19:\d+: 'lve' is not declared.*'live'"):
        load(hoist(tmp_path, YAML.replace("while: live", "while: lve")))


def test_without_a_supply_there_is_no_sketch(tmp_path: Path) -> None:
    yaml = YAML.replace("power:\n  mains: {says: the cable, while: live}\n", "")
    assert list(draw_supplies(load(hoist(tmp_path, yaml)))) == []


def test_the_sketch_names_everything_it_found(tmp_path: Path) -> None:
    [sketch] = draw_supplies(load(hoist(tmp_path)))
    root = ElementTree.fromstring(sketch.text)
    words = " ".join(element.text or "" for element in root.iter())
    for part in ("mains", "closed while live", "pump", "hoist: down → up, up → down", "running"):
        assert part in words
    assert "hoist up → down: creeps down, when leaky" in words


def test_unplugged_no_output_of_the_demo_vehicle_can_unlock_slide_or_lift() -> None:
    # The vehicle's description: the lead isolates the actuators, springs and leaks go on.
    [lead] = what_is_fed(shipped("wren"))
    stopped = {move.machine for move in lead.stopped}
    assert stopped == {"slide", "lift", "lockT", "lockC", "guard"}
    assert {"release_t", "release_c", "slide_fwd", "lift_lower"} <= set(lead.isolated)
    going_on = {(move.machine, move.says) for move in lead.going_on}
    assert ("lockT", "the trailer pins spring in") in going_on
    assert ("lift", "the lift sinks") in going_on
    assert not [move for move in lead.going_on if move.machine in ("slide", "guard")]
