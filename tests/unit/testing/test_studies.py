"""One exploration serves every item of a model, and every model that it cannot tell apart."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from interlock.kernel.query import Limits
from interlock.model.load import load
from interlock.testing.studies import Options, Studies, contents, explored_with
from tests.support.gate import written
from tests.support.models import MODELS, shipped


def test_all_requirements_of_a_model_share_one_exploration() -> None:
    studies, model = Studies(), shipped("ramp")
    for id_ in model.statements:
        assert studies.requirement(model, id_, model.statements).passes
    assert studies.n_explored == 1


def test_a_revision_that_differs_only_in_its_faults_shares_the_exploration() -> None:
    studies, model = Studies(), shipped("ramp")
    renamed = replace(model, title="The same, under another title", faults={})
    studies.requirement(model, "R1", model.statements)
    studies.requirement(renamed, "R2", model.statements)
    assert studies.n_explored == 1


def test_a_revision_that_differs_in_its_program_shares_nothing() -> None:
    studies, ids = Studies(), shipped("ramp").statements
    assert studies.requirement(shipped("ramp"), "R1", ids).passes
    assert studies.requirement(shipped("ramp-broken/pin-alone"), "R1", ids).passes  # as declared
    assert studies.n_explored == 2


def test_models_that_can_share_an_exploration_are_told_by_their_text() -> None:
    wren = MODELS / "wren" / "model.yaml"
    assert explored_with(MODELS / "wren-single/xfer/model.yaml") == wren
    tidied = MODELS / "wren-changed/tidied/model.yaml"
    assert explored_with(tidied) == tidied  # its program is another
    assert explored_with(wren) == wren
    assert explored_with(Path("nowhere/model.yaml")) == Path("nowhere/model.yaml")


def test_a_limit_gives_no_pass() -> None:
    studies, model = Studies(Options(limits=Limits(max_states=20))), shipped("ramp")
    result = studies.requirement(model, "R7", ["R7"])
    assert not result.passes
    assert "states 20" in result.says


def test_procedures_are_rehearsed_as_written() -> None:
    found = contents(MODELS / "ramp" / "model.yaml")
    assert found.procedures is not None
    result = Studies().procedure(found.model, found.procedures, "lower")
    assert result.passes
    assert dict(result.properties)["outcome"] == "holds"


LATE = """
title: A lamp with an input filter
controller: controller.st
run: {scan_ms: 100}
plant: {door: {states: [shut, open], by: operator, moves: [{from: shut, to: open},
  {from: open, to: shut}]}}
sensors: {door_open: {reads: door = open, delay_ms: 10, delay_source: the data sheet}}
outputs: {lamp: {lamp: red}}
requirements: {T1: {says: x, whenever: door = open, leads_to: lamp OR door = shut, within: 300 ms}}
"""
LATE_ST = """PROGRAM Lamp
VAR_INPUT door_open : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := door_open;
END_PROGRAM
"""


def test_a_revision_that_differs_in_a_delay_is_not_taken_for_the_other(tmp_path: Path) -> None:
    """No state differs; the slower filter makes every response come too late."""
    quick = load(written(tmp_path / "quick", LATE, LATE_ST))
    slow = load(written(tmp_path / "slow", LATE.replace("ms: 10,", "ms: 900,"), LATE_ST))
    studies = Studies()
    assert studies.requirement(quick, "T1", ["T1"]).passes
    result = studies.requirement(slow, "T1", ["T1"])
    assert not result.passes
    assert "too late" in result.says
    assert studies.n_explored == 1


def test_a_revision_without_faults_leaves_no_claim_for_later(tmp_path: Path) -> None:
    """A premise that never occurs: where there is a fault to strike, more could be asked."""
    never = "T1: {says: x, when: door = open AND door = shut, never: lamp, survives: 1}}\n"
    yaml = LATE[: LATE.index("T1:")] + never
    fault = "faults: {F1: {says: short, output: lamp, stuck: TRUE}}\n"
    faulty = load(written(tmp_path / "faulty", yaml + fault, LATE_ST))
    plain = load(written(tmp_path / "plain", yaml, LATE_ST))
    studies = Studies()
    assert studies.requirement(faulty, "T1", ["T1"]).untested
    assert not studies.requirement(plain, "T1", ["T1"]).passes


def test_a_requirement_that_is_asked_for_alone_still_rests_on_the_arithmetic(
    tmp_path: Path,
) -> None:
    """The program divides by zero while the door is shut; asked for together both are told."""
    dividing = LATE_ST.replace("lamp := door_open;", "lamp := door_open; n := 1 / n;").replace(
        "END_VAR\nlamp", "END_VAR\nVAR n : INT (0..1); END_VAR\nlamp"
    )
    model = load(written(tmp_path, LATE, dividing))
    alone = Studies().requirement(model, "T1", ["T1"])
    assert not alone.passes
    assert alone.says.startswith("rests on ARITHMETIC, which is not so: violated")
    together = ["T1", "ARITHMETIC"]
    studies = Studies()
    assert studies.requirement(model, "T1", together).passes
    assert not studies.requirement(model, "ARITHMETIC", together).passes
