"""The judge of what tells of a fault, on a probe that broke: it says yes and no by itself."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InternalError
from interlock.independent_judge.telling import Telltale
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.guard import GUARD
from tests.support.small_models import write_model

MODEL = (
    """\
title: A lamp and a probe
controller: controller.st
plant:
"""
    + GUARD
    + """\
  hatch: {states: [shut, open], moves: [{from: shut, to: open, when: F1, says: falls open}]}
sensors:
  shut: {reads: guard = shut}
  probe: {reads: 'TRUE'}
outputs:
  red: {lamp: red}
  ready: {lamp: green}
  always: {lamp: red}
  late: {lamp: red}
  again: {lamp: red}
  ninth: {lamp: red}
faults:
  F1: {says: the probe is broken, sensor: probe, stuck: 'FALSE'}
  F2: {says: the controller restarts, restart: true}
requirements:
  R1: {says: It may be opened, can_still: guard = open}
"""
)
PROGRAM = """\
PROGRAM P
VAR_INPUT shut, probe : BOOL; END_VAR
VAR_OUTPUT red, ready, always, late, again, ninth : BOOL; END_VAR
VAR bad : BOOL; n : INT (0..9); END_VAR
red := NOT probe;
ready := probe AND shut;
always := NOT bad OR NOT probe;
late := n >= 5;
again := n = 0;
ninth := n <> 8;
IF n < 9 THEN n := n + 1; END_IF;
IF NOT probe THEN bad := TRUE; END_IF;
END_PROGRAM
"""
SCAN, OPENS = "scan", "guard: shut to open"


@pytest.fixture
def model(tmp_path: Path) -> Model:
    return load(write_model(tmp_path / "m", MODEL, PROGRAM))


def test_a_scan_is_compared_with_the_same_one_without_the_fault(model: Model) -> None:
    end = Telltale(model, [SCAN, "F1 strikes"])
    assert end.tells("red", True)
    assert end.tells("ready", False)
    # It is on either way, until the memory holds that the probe was bad.
    assert not end.tells("always", True)
    assert Telltale(model, [SCAN, "F1 strikes", SCAN]).tells("always", True)
    assert not end.tells("red", False)
    assert not end.tells("ready", True)
    assert not Telltale(model, [SCAN]).tells("red", True)


def test_a_machine_without_a_fault_must_be_shown_otherwise_in_the_same_places(
    model: Model,
) -> None:
    end = Telltale(model, [SCAN, "F1 strikes", SCAN])
    assert end.is_otherwise("red", True)
    assert end.is_otherwise("ready", False)
    assert not end.is_otherwise("always", True)
    is_open = Telltale(model, [SCAN, OPENS, "F1 strikes"])
    assert is_open.is_otherwise("red", True)
    assert not is_open.is_otherwise("ready", False)
    # Elsewhere it is on: that tells nothing.
    assert not is_open.is_otherwise("ready", False, [SCAN])
    # A restart in the run is a fault, too, and not made.
    assert Telltale(model, [SCAN, "F2 strikes", SCAN, OPENS]).is_otherwise("red", True)


def test_what_is_shown_while_the_machine_powers_up_does_not_count(model: Model) -> None:
    # It is off in the first five scans alone, and after them on for good.
    assert not Telltale(model, ["F1 strikes"]).is_otherwise("late", True)
    assert not Telltale(model, ["F1 strikes", SCAN]).is_otherwise("late", True, [SCAN])
    assert Telltale(model, ["F1 strikes"]).is_otherwise("again", True)
    # Eight scans are power-up, and no more: in the ninth alone this one is off.
    assert Telltale(model, ["F1 strikes"]).is_otherwise("ninth", True)
    assert not Telltale(model, ["F1 strikes", SCAN]).is_otherwise("ninth", True)


def test_where_nobody_comes_without_a_fault_nothing_is_confirmed(model: Model) -> None:
    fallen = Telltale(model, [SCAN, "F1 strikes", "hatch: shut to open"])
    assert fallen.tells("red", True)
    assert not fallen.is_otherwise("red", True)
    assert not fallen.is_otherwise("red", True, [SCAN])


def test_a_run_that_is_none_is_a_defect(model: Model) -> None:
    with pytest.raises(InternalError, match="hatch"):
        Telltale(model, [SCAN, "hatch: shut to open"])


def test_a_restart_is_compared_by_the_memory_that_it_loses(model: Model) -> None:
    at_once = Telltale(model, [SCAN, SCAN], restarts="F2")
    assert at_once.tells("again", True)
    assert not at_once.tells("red", True)
    assert at_once.is_otherwise("again", True)
    # In the first scan nothing is lost yet; once it has struck, nothing is in force.
    assert not Telltale(model, [], restarts="F2").tells("again", True)
    assert not Telltale(model, [SCAN, SCAN, "F2 strikes"]).tells("again", True)
