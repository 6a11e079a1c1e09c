"""A controller of one's own against a plant that may move often between two scans."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis.stateful import run_state_machine_as_test

from interlock.model.between import ANY_NUMBER, EACH_ONCE, BetweenScans
from interlock.model.build import SCAN, build
from interlock.model.load import load
from interlock.testing.controllers import ProgramController
from interlock.testing.driven_plant import DrivenPlant
from interlock.testing.machine import machine_for
from tests.support.gate import written

WHEEL = """\
title: A wheel that turns by itself
controller: controller.st
plant:
  wheel: {states: [A, B], moves: [{from: A, to: B, name: on}, {from: B, to: A, name: round}]}
controls: {button: {}}
sensors: {pressed: {reads: button}}
requirements: {R1: {says: it answers, whenever: button, leads_to: lamp}}
"""
PROGRAM = """\
PROGRAM Lamp
VAR_INPUT pressed : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := pressed;
END_PROGRAM
"""


@pytest.mark.parametrize("between", [EACH_ONCE, ANY_NUMBER])
def test_scans_go_on_coming_where_the_plant_never_rests(
    tmp_path: Path, between: BetweenScans
) -> None:
    model = load(written(tmp_path, WHEEL, PROGRAM)).assuming(between)
    driven = DrivenPlant(build(model), ProgramController(model), 5, like_program=True)
    driven.reset()
    driven.make("button to TRUE", scan_waits=True)
    assert driven.can("button to FALSE") is (between == ANY_NUMBER)
    driven.leave_alone()
    assert driven.run.count("scan") == 6
    # Moves of the plant take turns, so neither is passed over for ever.
    assert {"on", "round"} <= set(driven.run)


def test_behind_a_move_of_the_machine_a_scan_comes_or_waits(tmp_path: Path) -> None:
    """Were a scan left to chance among all rules, timers would hardly start; were it never to
    wait, no two moves would meet in one scan.
    """
    model = load(written(tmp_path, WHEEL, PROGRAM)).assuming(EACH_ONCE)
    machine = machine_for(model, ProgramController(model), seeds=())
    plant, make = machine.plant, machine.plant.make
    is_scanned = set()

    def watched(name: str, **how: bool) -> None:
        make(name, **how)
        # While everything is left alone nobody presses the button.
        if name.startswith("button"):
            is_scanned.add(plant.run[-1] == SCAN)

    plant.make = watched  # type: ignore[method-assign]
    chosen = settings(machine.TestCase.settings, max_examples=30, derandomize=True, database=None)
    run_state_machine_as_test(machine, settings=chosen)
    assert is_scanned == {True, False}


def test_a_controller_of_ones_own_reads_the_older_value_of_what_is_late(tmp_path: Path) -> None:
    late = WHEEL.replace("reads: button", "reads: button, age: 1 scan")
    model = load(written(tmp_path, late, PROGRAM))
    driven = DrivenPlant(build(model), ProgramController(model), 5, like_program=True)
    driven.make("button to TRUE", scan_waits=True)
    assert driven.can("pressed is late")
    driven.make("pressed is late")
    assert driven.recorded[-1]["lamp"] == 0
    assert not driven.can("pressed is late")
    driven.scan()
    assert driven.recorded[-1]["lamp"] == 1
