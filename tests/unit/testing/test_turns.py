"""A controller of one's own against a plant that may move often between two scans."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.model.between import ANY_NUMBER, EACH_ONCE, BetweenScans
from interlock.model.build import build
from interlock.model.load import load
from interlock.testing.controllers import ProgramController
from interlock.testing.driven_plant import DrivenPlant
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
    driven.make("button to TRUE")
    assert driven.can("button to FALSE") is (between == ANY_NUMBER)
    driven.leave_alone()
    assert driven.run.count("scan") == 6
    # Moves of the plant take turns, so neither is passed over for ever.
    assert {"on", "round"} <= set(driven.run)
