"""What a plant and a program call their own is nothing else to a solver."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.cli.main import run
from tests.support.gate import written

# Names of a script's own functions and sets, and of what the solver brings along.
NAMES = ("e0", "s0", "n0", "e1", "ite", "distinct", "bvadd", "let", "select", "int2bv", "v")
YAML = """\
title: Names
controller: controller.st
plant:
  e2: {states: [n1, s1, e1], moves: [{from: n1, to: s1}, {from: [s1], to: e1}, {from: e1, to: n1}]}
sensors: {s2: {reads: e2 = s1}}
requirements:
  push: {says: x, always: ALIKE, judged: after scan, about: signals}
  exit: {says: x, can_still: ALL}
"""
ST = """\
PROGRAM Names
VAR_INPUT s2 : BOOL; END_VAR
VAR_OUTPUT LIST : BOOL; n2 : INT (0..2); END_VAR
BODY
n2 := SEL(s2, n2, 1);
END_PROGRAM
"""


@pytest.mark.parametrize("n_names", [1, len(NAMES)])
def test_names_of_a_script_and_of_the_solver_are_names_like_others(
    n_names: int, tmp_path: Path
) -> None:
    used = NAMES[:n_names]
    yaml = YAML.replace("ALIKE", " AND ".join(f"{name} = s2" for name in used))
    yaml = yaml.replace("ALL", " AND ".join(used))
    st = ST.replace("LIST", ", ".join(used))
    st = st.replace("BODY", "\n".join(f"{name} := s2;" for name in used))
    model, folder = written(tmp_path / "model", yaml, st), tmp_path / "evidence"
    assert run(["verify", str(model), "--evidence", str(folder)]) == 0
    assert run(["recheck", str(folder), "--model", str(model), "-j", "1"]) == 0
