"""Variables inside a program, by their path, without the program's name, by their list."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.load import load

_PROGRAM = """PROGRAM Pump
VAR_INPUT start, stop : BOOL; END_VAR
VAR run : BOOL; low : BOOL; t : TON; latch : SR; END_VAR
VAR_EXTERNAL fault : BOOL; END_VAR
run := (start OR run) AND NOT stop;
low := NOT run;
t(IN := run, PT := T#1s);
latch(S1 := start, R := stop);
List.ready := NOT start;
List.low := start;
fault := stop;
END_PROGRAM
"""
_LIST = """VAR_GLOBAL ready : BOOL; low : BOOL; fault : BOOL; END_VAR
"""


def _outcomes(folder: Path, more: str, **requirements: str) -> dict[str, Outcome]:
    for name, text in (("p", _PROGRAM), ("List", _LIST)):
        (folder / f"{name}.st").write_text(text)
    lines = [
        f"  {id_}: {{says: s, never: '{never}', judged: after scan}}"
        for id_, never in requirements.items()
    ]
    head = f"title: t\ncontroller: [p.st, List.st]\n{more}requirements:\n"
    (folder / "model.yaml").write_text(head + "\n".join(lines) + "\n")
    result = verify(load(folder), catalogue()["reference"]())
    return {f.requirement.id: f.verdict.outcome for f in result.findings}


def test_a_variable_of_the_program_needs_no_path(tmp_path: Path) -> None:
    found = _outcomes(
        tmp_path,
        "",
        R1="run AND stop",
        R2="run <> Pump.run",
        R3="t.Q AND NOT run",
        R4="latch.Q1 AND NOT start AND NOT stop",
    )
    assert [found[id_].value for id_ in ("R1", "R2", "R3", "R4")] == [
        *["holds"] * 3,
        "violated",
    ]


def test_a_global_may_be_named_with_its_list(tmp_path: Path) -> None:
    found = _outcomes(
        tmp_path,
        "",
        R1="List.ready AND start",
        R2="list.READY = start",
        R3="List.fault <> stop",
        R4="List.ready",
    )
    assert [found[id_].value for id_ in ("R1", "R2", "R3", "R4")] == [
        *["holds"] * 3,
        "violated",
    ]


def test_a_list_names_no_variable_of_the_program_that_hides_its_own(tmp_path: Path) -> None:
    # The program's own 'low' is not what the list has under that name.
    found = _outcomes(
        tmp_path, "", R1="low AND run", R2="NOT low AND NOT run", R3="List.low <> start"
    )
    assert set(found.values()) == {Outcome.HOLDS}


def test_what_a_model_names_itself_comes_before_what_is_inside(tmp_path: Path) -> None:
    found = _outcomes(
        tmp_path,
        "plant:\n  low: {states: [off, run], moves: [{from: off, to: run}]}\n"
        "terms: {t: low = run}\n",
        R1="low = run",
        R2="t AND low = off",
        R3="Pump.low AND Pump.run",
    )
    assert [found[id_].value for id_ in ("R1", "R2", "R3")] == ["violated", "holds", "holds"]


def test_a_state_of_a_machine_is_no_variable(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="run is of type gate"):
        _outcomes(
            tmp_path,
            "plant:\n  gate: {states: [off, run], moves: [{from: off, to: run}]}\n",
            R1="run AND stop",
        )


def test_a_fault_is_no_variable(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="'run' is a fault"):
        _outcomes(
            tmp_path,
            "faults:\n  run: {says: the wire breaks}\n",
            R1="run AND stop",
        )


def test_an_unknown_name_is_told_with_the_nearest_variable(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="'raedy'; did you mean 'ready'"):
        _outcomes(tmp_path, "", R1="List.raedy AND start")


_TASK = """PROGRAM Read VAR a AT %IX0.0 : BOOL; n : BOOL; END_VAR VAR_EXTERNAL g : BOOL; END_VAR
g := a; n := a; END_PROGRAM
PROGRAM Write VAR q AT %QX0.0 : BOOL; n : BOOL; END_VAR VAR_EXTERNAL g : BOOL; END_VAR
q := g; n := NOT g; END_PROGRAM
CONFIGURATION c VAR_GLOBAL g : BOOL; END_VAR RESOURCE r ON cpu
TASK t(INTERVAL := T#10ms, PRIORITY := 1);
PROGRAM i1 WITH t : Read; PROGRAM i2 WITH t : Write;
END_RESOURCE END_CONFIGURATION
"""


@pytest.mark.parametrize("never", ["q <> a", "Write.q <> i1.a", "Read.n = Write.n", "i1.n <> a"])
def test_programs_of_one_task_are_named_as_they_are_written(never: str, tmp_path: Path) -> None:
    (tmp_path / "p.st").write_text(_TASK)
    asked = f"  R: {{says: s, never: {never}, judged: after scan}}\n"
    (tmp_path / "model.yaml").write_text(f"title: t\ncontroller: p.st\nrequirements:\n{asked}")
    (finding,) = verify(load(tmp_path), catalogue()["reference"]()).findings
    assert finding.verdict.outcome is Outcome.HOLDS


def test_a_name_that_two_programs_of_a_task_have_needs_its_program(tmp_path: Path) -> None:
    (tmp_path / "p.st").write_text(_TASK)
    asked = "  R: {says: s, never: n, judged: after scan}\n"
    (tmp_path / "model.yaml").write_text(f"title: t\ncontroller: p.st\nrequirements:\n{asked}")
    with pytest.raises(InputError, match="'n' is not declared"):
        load(tmp_path)
