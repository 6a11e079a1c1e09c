"""Comments of scripts: names in them say nothing to a solver, and read ones end where it ends them.

A comment ends with a line feed or a carriage return (SMT-LIB 2.6, section 3.1; from memory). A
solver that is given text as C knows it takes a NUL for the end of all.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.commands.recheck.check import recheck
from interlock.commands.recheck.results import Status
from interlock.commands.recheck.solve import Result, discharge
from interlock.evidence.script import Group, Obligation, Script
from interlock.evidence.sexpr import SexprError, read_all
from tests.support.gate import GATE_YAML, written

NAMES = ["a\n(assert false)", "a\r(assert false)", "a\x00", "a\u2028(assert false)", "é", "a\n;"]


@pytest.mark.parametrize("name", NAMES)
def test_a_name_is_one_comment_of_ascii(name: str) -> None:
    group = Group(name, "true", (Obligation(name, "|a|"),))
    made = Script("(declare-const |a| Bool)\n", "", (group,))
    assert made.text.isascii()
    assert all(line.isprintable() for line in made.text.split("\n"))
    lines = [line for line in made.text.split("\n") if not line.startswith(";")]
    assert lines == [
        *("(declare-const |a| Bool)", "(push 1)", "(assert true)"),
        *("(push 1)", "(assert |a|)", "(check-sat)", "(pop 1)", "(pop 1)", ""),
    ]
    assert [done.result for done in discharge(made)] == [Result.REFUTED]


@pytest.mark.parametrize("written_name", ["é – \\u2028", "a\\n(assert false)", "; a\\n\\n"])
def test_evidence_of_a_move_with_any_name_is_confirmed(written_name: str, tmp_path: Path) -> None:
    named = GATE_YAML.replace("when: drive", f'name: "{written_name}", when: drive', 1)
    model, evidence = written(tmp_path / "model", named), tmp_path / "evidence"
    assert run(["verify", str(model), "--plain", "--evidence", str(evidence)]) == 0
    found = recheck(evidence, model)
    assert {result.status for result in found.results} == {Status.CONFIRMED}


@pytest.mark.parametrize("character", "\r\x00")
@pytest.mark.parametrize("text", ["; a{}(assert false)\n", "x ;{}", "; a\n;;{} b\n"])
def test_a_comment_holds_nothing_that_may_end_it(text: str, character: str) -> None:
    with pytest.raises(SexprError) as error:
        read_all(text.format(character))
    assert error.value.start == text.index("{")
    assert error.value.says == f"the character {character!r} has no meaning in a comment"
