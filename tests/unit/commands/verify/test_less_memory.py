"""Where states are too many, a program is asked that remembers less and does more."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from interlock.cli.main import run
from interlock.commands.verify.judging import judge, judge_with_less_memory
from interlock.judgement.engines import available
from interlock.kernel.query import Limits
from interlock.model.load import load

_PROGRAM = """PROGRAM p
VAR_INPUT go, other : BOOL; END_VAR
VAR_OUTPUT service, lamp, spare : BOOL; END_VAR
VAR RETAIN n : UDINT; END_VAR VAR m : UDINT; END_VAR
IF go THEN n := n + 1; END_IF
IF other THEN m := m + 1; END_IF
service := n >= 5;
lamp := go AND NOT service;
spare := m = 9;
END_PROGRAM
"""
_MODEL = """title: P
controller: c.st
requirements:
  never: {says: x, never: lamp AND service, judged: after scan}
  first: {says: x, never: service, judged: after scan}
  wrapped: {says: x, never: lamp, scope: {after: service}, judged: after scan}
  way: {says: x, can_still: NOT service}
"""
_FEW = Limits(max_states=3000)


def _folder(tmp_path: Path, program: str = _PROGRAM, model: str = _MODEL) -> Path:
    (tmp_path / "c.st").write_text(program, encoding="utf-8")
    (tmp_path / "model.yaml").write_text(model, encoding="utf-8")
    return tmp_path


def _outcomes(folder: Path, limits: Limits = _FEW) -> dict[str, str]:
    engine = available()["enumerate"]()
    judged = judge_with_less_memory(load(folder), engine, "none", limits=limits)
    return {f.requirement.id: f.outcome.value for f in judged.result.findings}


def test_what_holds_of_more_than_the_program_does_holds_and_no_more_is_said(tmp_path: Path) -> None:
    folder = _folder(tmp_path)
    alone = judge(load(folder), available()["enumerate"](), "none", limits=_FEW)
    assert alone.result.findings[0].outcome.value == "undecided"
    assert _outcomes(folder) == {
        "never": "holds",
        "first": "violated",
        # After 4,294,967,296 counts n is 0 again. The program does so, if only then.
        "wrapped": "violated",
        # Whether there is a way in the program cannot be said of a program that does more.
        "way": "undecided",
        "ARITHMETIC": "undecided",
    }


def test_a_program_that_is_soon_explored_is_asked_itself(tmp_path: Path) -> None:
    bounded = _PROGRAM.replace("IF go THEN", "IF go AND n < 6 THEN")
    bounded = bounded.replace("IF other THEN", "IF other AND m < 9 THEN")
    assert _outcomes(_folder(tmp_path, bounded)) == {
        "never": "holds",
        "first": "violated",
        "wrapped": "holds",
        "way": "violated",
    }


def test_numbers_that_saturate_are_not_joined(tmp_path: Path) -> None:
    model = _MODEL.replace("requirements:", "run: {overflow: saturate}\nrequirements:")
    assert _outcomes(_folder(tmp_path, model=model))["never"] == "undecided"


def test_flaws_of_what_is_left_out_are_not_said_to_be_none(tmp_path: Path) -> None:
    program = _PROGRAM.replace("spare := m = 9", "spare := 1000 / (2000 - m) > 9").replace(
        "IF go THEN n := n + 1", "IF go AND n < 9 THEN n := n + 1"
    )
    model = _MODEL.partition("  first:")[0]
    assert _outcomes(_folder(tmp_path, program, model), Limits(max_states=400)) == {
        "never": "holds",
        "ARITHMETIC": "undecided",
    }


def _told(folder: Path, *options: str) -> dict[str, Any]:
    result = folder / "result.json"
    run(["verify", str(folder), "--max-states", "3000", "--json", str(result), *options])
    found: dict[str, Any] = json.loads(result.read_text(encoding="utf-8"))
    return found


def test_the_result_says_what_was_joined_and_left_out(tmp_path: Path) -> None:
    told = _told(_folder(tmp_path))
    says = [one["says"] for one in told["left_out"]]
    assert "left out: nothing asks for 'spare'" in says
    assert any(
        said.startswith("'n' counts without an end; since nothing tells its values from 6 on apart")
        for said in says
    )
    assert told["replayed_on"] == "checked program"


@pytest.mark.parametrize("option", ["--runs", "--evidence"])
def test_files_are_of_the_program_itself(option: str, tmp_path: Path) -> None:
    told = _told(_folder(tmp_path), option, str(tmp_path / "made"))
    assert told["requirements"][0]["outcome"] == "undecided"
    assert not [one for one in told["left_out"] if "counts without" in one["says"]]


def test_a_range_that_only_what_is_left_out_leaves_is_not_said_to_be_kept(tmp_path: Path) -> None:
    """Seen by chance: the assignment is what leaves the range, and no operation in it."""
    program = _PROGRAM.replace("m : UDINT", "m : UINT (0..500)")
    assert (
        _outcomes(_folder(tmp_path, program), Limits(max_states=400))["ARITHMETIC"] == "undecided"
    )
    joined = load(tmp_path, joins_counts=True).program
    assert [flaw.says for flaw in joined.unjudged] == [
        "the result does not fit UDINT (0..4294967295)",
        "'m' is assigned a value outside 0..500",
    ]
