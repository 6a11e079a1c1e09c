"""Results name what they assume between two scans, and the ledger tells what leans on it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.commands.recheck.check import recheck
from interlock.commands.recheck.results import Status
from tests.known.test_between_scans import LINE, ONE_BY_ONE, SEEN, STATIONS
from tests.support.gate import gate, written


@pytest.fixture
def line(tmp_path: Path) -> str:
    """A carriage that a scan sees pass: R1 and R2 are violated whatever is assumed."""
    moves = [f"      - {{from: p{n}, to: p{n + 1}, name: on {n}}}" for n in range(STATIONS - 1)]
    yaml = ONE_BY_ONE + LINE.replace("MOVES", "\n".join(moves))
    return str(written(tmp_path / "line", yaml, SEEN))


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert run(["verify", *arguments]) in (0, 1, 3)
    return " ".join(capsys.readouterr().out.split())


def test_the_table_names_what_is_assumed_and_what_the_model_says(
    line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    said = told(capsys, line, "--plain")
    assert "no component fault; at most one move in all between two scans; engine" in said
    said = told(capsys, line, "--plain", "--assume", "each once")
    assert (
        "every machine and every control moves at most once between two scans, assumed in place of "
        "'one in all', which the model says; engine" in said
    )


def test_the_data_name_both_and_the_verdicts_are_those_of_what_is_assumed(
    line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["verify", line, "--json", "-", "--assume", "each once"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert (data["between_scans"], data["between_scans_of_the_model"]) == (
        "each once",
        "one in all",
    )
    outcomes = {one["id"]: one["outcome"] for one in data["requirements"]}
    assert outcomes == {"R1": "violated", "R2": "violated", "R3": "violated", "R11": "holds"}


def test_another_word_is_refused_with_those_there_are(
    line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["verify", line, "--assume", "twice"]) == 2
    assert "'one in all'" in capsys.readouterr().err


def test_the_ledger_tells_the_first_assumption_that_breaks_each_verdict(
    line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    said = told(capsys, line, "--plain", "--ledger")
    # Scan, the brake takes the carriage along to p2, one step on; or nine.
    assert (
        "R3 holds with 'one in all' between two scans; with 'each once' it falls in 3 steps. "
        "R11 holds with 'each once' between two scans; with 'any number' it falls in 11 steps."
    ) in said
    assert "With 'each once' between two scans: R3 violated: seen no later than at p3" in said
    assert "R1 holds" not in said


def test_the_ledger_as_data_has_the_moves(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", line, "--json", "-", "--ledger"]) == 1
    ledger = json.loads(capsys.readouterr().out)["ledger"]
    assert ledger["rests_on"] == "one in all"
    assert ledger["asked"] == ["each once", "any number"]
    third, last = ledger["requirements"]
    assert (third["id"], third["holds_with"], third["with"]) == ("R3", [], "each once")
    assert third["moves"] == ["scan", "brake: OFF to ON", "on 2"]
    assert (last["id"], last["holds_with"], last["n_steps"]) == ("R11", ["each once"], 11)


def test_the_ledger_is_no_matter_of_the_exit_code_and_tells_its_limits(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = gate(tmp_path).folder
    assert run(["verify", str(folder), "--plain", "--only", "R4", "--ledger"]) == 0
    assert "R4: holds with 'any number' as well." in capsys.readouterr().out
    # So many states suffice for what is assumed, and not for what is weaker.
    n_states = json.loads(_printed(capsys, str(folder), "--only", "R4", "--json", "-"))["n_states"]
    said = told(
        capsys, str(folder), "--plain", "--only", "R4", "--ledger", "--max-states", str(n_states)
    )
    assert "R4 holds with 'each once' between two scans; with 'any number' it is undecided" in said


def _printed(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert run(["verify", *arguments]) == 0
    return capsys.readouterr().out


SWITCH = """\
title: A gate, its switch and its level
controller: controller.st
plant:
  gate:
    states: [SHUT, OPEN]
    by: operator
    moves: [{from: SHUT, to: OPEN}, {from: OPEN, to: SHUT}]
sensors:
  shut: {reads: gate = SHUT}
  level: {reads: 'SEL(gate = SHUT, 1, 2)'}
requirements:
  R5: {says: off in the scan that follows, when: gate = OPEN, always: NOT lamp, judged: after scan}
  R6: {says: it comes to be off, whenever: gate = OPEN, leads_to: NOT lamp OR gate = SHUT}
"""
LAMP = """\
PROGRAM P
VAR_INPUT shut : BOOL; level : INT (0..3); END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := shut AND level > 0;
END_PROGRAM
"""


def test_the_ledger_asks_on_a_line_of_its_own_what_leans_on_values_of_now(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = str(written(tmp_path / "switch", SWITCH, LAMP))
    said = told(capsys, folder, "--plain", "--ledger")
    assert "R5, R6: hold with 'any number' as well." in said
    assert (
        "R5 holds where each scan reads what its sensors give; with values one scan old it falls "
        "in 4 steps. R6: holds with values one scan old as well. Not tried with values one scan "
        "old, as these cannot be late: level."
    ) in said
    assert "With values one scan old: R5 violated" in said
    ledger = json.loads(_printed(capsys, folder, "--ledger", "--json", "-"))["ledger"]
    late = ledger["values_one_scan_old"]
    assert (late["signals"], late["not_tried"]) == (["shut"], ["level"])
    fifth, sixth = late["requirements"]
    # Scan with the gate shut, it opens, and the next scan still sees it shut: nothing is shorter.
    assert fifth["moves"] == ["scan", "gate: SHUT to OPEN", "shut is late", "scan"]
    assert (fifth["with"], fifth["outcome"]) == ("values one scan old", "violated")
    assert (sixth["holds_with"], "with" in sixth) == (["values one scan old"], False)
    assert all("with" not in one for one in ledger["requirements"])


def test_values_one_scan_old_are_asked_within_the_limits_and_not_where_the_model_has_late_ones(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = str(written(tmp_path / "switch", SWITCH, LAMP))
    n_states = json.loads(_printed(capsys, folder, "--json", "-"))["n_states"]
    arguments = (folder, "--plain", "--only", "R6", "--ledger")
    said = told(capsys, *arguments, "--max-states", str(n_states))
    assert (
        "R6 holds where each scan reads what its sensors give; with values one scan old it is"
        in (said)
    )
    assert "undecided" in said
    # What one exploration left open for one reason is told once.
    twice = (
        SWITCH
        + "  R7: {says: lit in the end, whenever: gate = SHUT, leads_to: lamp OR gate = OPEN}\n"
    )
    both = (
        str(written(tmp_path / "twice", twice, LAMP)),
        "--plain",
        "--only",
        "R6",
        "--only",
        "R7",
    )
    said = told(capsys, *both, "--ledger", "--max-states", str(n_states))
    assert "R6, R7: each holds where each scan reads what its sensors give; with" in said
    late = SWITCH.replace("reads: gate = SHUT}", "reads: gate = SHUT, age: 1 scan}")
    said = told(capsys, str(written(tmp_path / "late", late, LAMP)), "--plain", "--ledger")
    assert "one scan old" not in said


def test_evidence_is_rechecked_for_what_it_was_assumed_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    model, evidence = gate(tmp_path / "gate").folder, tmp_path / "evidence"
    arguments = [str(model), "--only", "R1", "--assume", "one in all", "--evidence", str(evidence)]
    assert run(["verify", *arguments]) == 0
    assert run(["recheck", str(evidence)]) == 2
    said = "the evidence rests on 'one in all' between two scans and is checked for 'each once'"
    assert said in capsys.readouterr().err
    found = recheck(evidence, assume="one in all")
    assert {r.requirement: r.status for r in found.results} == {"R1": Status.CONFIRMED}
