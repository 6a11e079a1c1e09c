"""Advised permissives repair broken revisions and are told beside what the program says."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.commands.advise.freeing import NoLineError, freed, line_of, outputs_worth_advice
from interlock.commands.advise.others import judge_others
from interlock.commands.advise.study import Advice, advise
from interlock.engines import catalogue
from interlock.judgement.engines import available
from interlock.judgement.verify import verify
from interlock.kernel.expr import TRUE
from interlock.kernel.query import Limits
from interlock.kernel.requirement import Outcome
from interlock.model.between import ONE_IN_ALL
from interlock.model.build import FAULT_FREE, RunClass, build
from interlock.model.load import load
from interlock.model.model import Model
from interlock.st.evaluate import as_written
from interlock.st.write import write_expression
from tests.support.gate import GATE_ST, GATE_YAML, gate, written
from tests.support.models import MODELS, shipped


def advice_for(model: Model, output: str, run_class: RunClass = FAULT_FREE) -> Advice:
    (advice,) = advise(model, catalogue()["reference"](), [output], run_class).advices
    return advice


def outcome(model: Model, requirement: str, engine: str = "reference") -> Outcome:
    (finding,) = verify(model, available()[engine](), only=[requirement]).findings
    return finding.verdict.outcome


@pytest.mark.parametrize(
    ("revision", "output", "requirement"),
    [
        ("pin-alone", "drive_enable", "R1"),
        ("pin-alone", "green", "R2"),
        ("lamp-from-command", "green", "R2"),
        ("lost-bracket", "pin_pull", "R1"),
        ("seal-in-survives-stop", "pump", "R3"),
        ("normally-open-stop", "pump", "R3"),
    ],
)
def test_an_advised_permissive_repairs_a_broken_revision(
    revision: str, output: str, requirement: str
) -> None:
    broken = shipped(f"ramp-broken/{revision}")
    assert outcome(broken, requirement) is Outcome.VIOLATED
    advice = advice_for(broken, output)
    assert requirement in advice.kept
    assert advice.permits_more is not None
    mended = advice.inserted(broken)
    for id_ in advice.kept:
        assert outcome(mended, id_) is Outcome.HOLDS


@pytest.mark.slow
def test_an_advised_permissive_repairs_a_design_change_of_the_demo_vehicle() -> None:
    whole = shipped("wren-changed/creep-at-transfer").assuming(ONE_IN_ALL)
    # Two that look far back take half of the time; small models have their like (`RUNS`).
    asked = {id_: s for id_, s in whole.statements.items() if id_ not in ("R18e", "R18f")}
    broken = replace(whole, statements=asked)
    assert outcome(broken, "R11b", "auto") is Outcome.VIOLATED
    (advice,) = advise(broken, available()["auto"](), ["creep"]).advices
    assert "R11b" in advice.kept
    assert advice.comes_on
    assert advice.permits_more is not None
    assert outcome(advice.inserted(broken), "R11b", "auto") is Outcome.HOLDS


def test_leave_to_drive_needs_the_ramp_home_and_the_pin_in() -> None:
    # What the requirement says in truth, the advice says in signals, where the program sees each
    # move alone. The line itself reads only `secured`, which is off already while the pin is about
    # to be pulled: that is needed where pin and vehicle may both move before the next scan.
    assert advice_for(shipped("ramp"), "drive_enable").text == "secured"
    advice = advice_for(shipped("ramp").assuming(ONE_IN_ALL), "drive_enable")
    assert advice.text == "ramp_home AND pin_in"
    assert advice.narrower is not None
    assert write_expression(as_written(advice.narrower)) == "secured"


def test_a_program_that_keeps_its_requirements_may_still_block_without_need() -> None:
    assert advice_for(shipped("ramp"), "drive_enable").blocks_more is None
    advice = advice_for(shipped("ramp").assuming(ONE_IN_ALL), "drive_enable")
    assert advice.permits_more is None
    assert advice.blocks_more is not None
    # The pump runs and RAISE is pressed: the pin is pulled, but has not moved yet.
    assert advice.blocks_more.n_steps == 5


def test_a_variable_that_outputs_follow_may_be_asked_for() -> None:
    # `secured` decides drive_enable and green; both requirements are up to it.
    broken = shipped("ramp-broken/pin-alone")
    advice = advice_for(broken, "secured")
    assert {"R1", "R2"} <= set(advice.kept)
    assert advice.comes_on
    mended = advice.inserted(broken)
    assert outcome(mended, "R1") is outcome(mended, "R2") is Outcome.HOLDS


def test_an_output_that_cannot_help_says_which_requirements_are_not_up_to_it() -> None:
    advice = advice_for(shipped("ramp-broken/pin-alone"), "raise_valve")
    assert set(advice.lost) == {"R1", "R2"}
    assert not set(advice.lost) & set(advice.kept)


def test_under_a_stuck_switch_two_plant_states_look_alike(tmp_path: Path) -> None:
    model = gate(tmp_path)
    assert advice_for(model, "lamp").text == "shut"
    assert advice_for(model, "lamp").comes_on
    advice = advice_for(model, "lamp", RunClass(("F1",), 1))
    assert advice.alike is not None
    safe, unsafe = advice.alike
    assert safe["gate"] == "SHUT"
    assert unsafe["gate"] != "SHUT"
    # Whatever the switch reads, it may be stuck: no logic over it can ever switch the lamp on.
    assert advice.text == "FALSE"
    assert not advice.comes_on


def test_a_limit_gives_no_advice(tmp_path: Path) -> None:
    engine = catalogue()["reference"]()
    (advice,) = advise(gate(tmp_path), engine, ["lamp"], limits=Limits(max_states=3)).advices
    assert advice.permissive is None
    assert advice.limit
    with pytest.raises(ValueError, match="nothing is advised"):
        advice.inserted(gate(tmp_path))


def test_an_output_decided_in_a_branch_is_declined_with_the_reason(tmp_path: Path) -> None:
    branch = "IF pressed THEN drive := TRUE; ELSE drive := FALSE; END_IF;"
    model = gate(tmp_path, ("drive := pressed;", branch))
    with pytest.raises(NoLineError, match="drive is not decided by one line"):
        line_of(model, "drive")
    assert "not decided by one line" in advice_for(model, "drive").reason


def test_outputs_that_gate_or_are_spoken_of_are_worth_advice() -> None:
    assert outputs_worth_advice(shipped("ramp"), FAULT_FREE) == (
        "pump",
        "raise_valve",
        "lower_valve",
        "pin_pull",
        "drive_enable",
        "green",
        "red",
    )


def test_the_command_tells_both_lines_and_a_run(capsys: pytest.CaptureFixture[str]) -> None:
    broken = MODELS / "ramp-broken" / "pin-alone"
    common = ["advise", str(broken), "--output", "drive_enable", "--engine", "reference"]
    assert run([*common, "--plain"]) == 1
    said = capsys.readouterr().out
    assert "at 26:1  secured" in said
    assert "advised  ramp_home AND pin_in AND NOT pin_pull" in said
    assert "drive_enable on, green on, red off" in said
    assert run([*common, "--json", "-"]) == 1
    (data,) = json.loads(capsys.readouterr().out)["outputs"]
    assert data["permissive"] == "ramp_home AND pin_in AND NOT pin_pull"
    assert data["keeps"] == ["R1", "R3", "R4", "R7"]


# None allows the drive to be on at will, and none is a 'never' or 'always' of single states.
RUNS = {
    "R5": "{says: a, never: drive, scope: {after: lamp}}",
    "R6": "{says: b, event: gate = OPEN, only_after: button}",
    "R7": "{says: c, whenever: gate = OPEN, leads_to: gate = SHUT}",
    "R8": "{says: d, whenever: gate = OPEN, leads_to: gate = SHUT, within: 2 scans}",
    "R9": "{says: e, can_still: gate = SHUT}",
}


@pytest.mark.parametrize("id_", RUNS)
def test_what_depends_on_the_run_is_named_where_on_in_a_safe_state_breaks_it(
    tmp_path: Path, id_: str, capsys: pytest.CaptureFixture[str]
) -> None:
    yaml = GATE_YAML.split("requirements:\n", maxsplit=1)[0]
    yaml += f"requirements:\n  {id_}: {RUNS[id_]}\n"
    folder = written(tmp_path / "gate", yaml)
    advice = advice_for(load(folder), "drive")
    # Nothing forbids a single state, so the number alone says that it is always safe.
    assert advice.n_unsafe == 0
    assert advice.others.not_kept == (id_,)
    common = ["advise", str(folder), "--engine", "reference", "--plain", "--output", "drive"]
    assert run(common) == 3
    assert f"NOT kept with it, however safe the states: {id_}" in capsys.readouterr().out
    assert run([*common, "--json", "-"]) == 3
    assert json.loads(capsys.readouterr().out)["outputs"][0]["not_kept"] == [id_]


def test_a_limit_leaves_open_what_depends_on_the_run(tmp_path: Path) -> None:
    model = gate(tmp_path)
    (advice,) = advise(model, catalogue()["reference"](), ["lamp"]).advices
    assert advice.others.kept == ("R2", "R3", "R4")
    assert advice.is_decided
    free = freed(model, line_of(model, "lamp"), FAULT_FREE)
    found = judge_others(catalogue()["reference"](), free, TRUE, build(model), Limits(max_states=3))
    assert found.undecided == ("R2", "R3", "R4")


@pytest.mark.parametrize(("other", "is_kept"), [("NOT pressed", True), ("pressed", False)])
def test_arithmetic_counts_with_the_output_at_will(
    tmp_path: Path, other: str, is_kept: bool
) -> None:
    # What was pressed before and what was not are never both so, which takes exploring.
    st = GATE_ST.replace("lamp : BOOL;", "lamp : BOOL; n : INT (0..1);")
    st = st.replace("\ndrive :=", "\nVAR a, b : BOOL; END_VAR\ndrive :=")
    counted = "n := SEL(a AND drive, 0, 1) + SEL(b AND drive, 0, 1)"
    st = st.replace("lamp :=", f"{counted};\na := pressed;\nb := {other};\nlamp :=")
    st = st.replace("drive := pressed", "drive := pressed AND NOT shut")
    advice = advice_for(load(written(tmp_path / "gate", st=st)), "drive")
    assert advice.text == "TRUE"
    assert ("ARITHMETIC" in advice.others.kept, "ARITHMETIC" in advice.others.not_kept) == (
        is_kept,
        not is_kept,
    )


def test_a_line_that_reads_a_temporary_reads_what_was_made_of_it_in_this_scan(
    tmp_path: Path,
) -> None:
    st = GATE_ST.replace("drive :=", "VAR_TEMP seen, never : BOOL; n : INT := 1; END_VAR\ndrive :=")
    st = st.replace("lamp := shut", "seen := shut OR never OR n <> 1;\nlamp := seen")
    model = load(written(tmp_path / "gate", st=st))
    advice = advice_for(model, "lamp")
    plain = advice_for(load(written(tmp_path / "plain")), "lamp")
    assert advice.text == plain.text.replace("shut", "seen")
    assert outcome(advice.inserted(model), "R1") is Outcome.HOLDS


def test_nothing_advised_is_undecided(tmp_path: Path) -> None:
    branch = "IF pressed THEN drive := TRUE; ELSE drive := FALSE; END_IF;"
    folder = written(tmp_path / "gate", st=GATE_ST.replace("drive := pressed;", branch))
    assert run(["advise", str(folder), "--engine", "reference", "--output", "drive"]) == 3


def test_the_command_has_its_exit_codes(tmp_path: Path) -> None:
    folder = written(tmp_path / "gate", st=GATE_ST)
    common = ["advise", str(folder), "--engine", "reference", "--plain"]
    assert run([*common, "--output", "lamp"]) == 0
    assert run([*common, "--output", "lamp", "--max-states", "3"]) == 3
    assert run([*common, "--fault", "F1", "--output", "lamp"]) == 1


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--output", "lampe"], "the program has no 'lampe' to decide; did you mean 'lamp'?"),
        (["--fault", "F9"], "no fault 'F9'"),
        (["--engine", "x"], "no engine 'x'"),
    ],
)
def test_an_unknown_name_is_exit_2(
    tmp_path: Path, arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["advise", str(written(tmp_path / "gate")), *arguments]) == 2
    assert says in capsys.readouterr().err
