"""What a run class is called; what the systems of models mean is asked in `independent_judge`."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.engines import make
from interlock.kernel.expr import var
from interlock.kernel.query import Values
from interlock.model.build import FAULT_FREE, RunClass, build, fault_flag
from tests.support.gate import gate


@pytest.mark.parametrize(
    ("run_class", "says"),
    [
        (FAULT_FREE, "no component fault"),
        (RunClass(("F1",), 0), "no component fault"),
        (RunClass((), 3), "no component fault"),
        (RunClass(("F1", "F2"), 1), "any one component fault"),
        (RunClass(("F1", "F2"), 2), "up to 2 component faults"),
        (RunClass(("F1", "F2"), None), "any number of component faults"),
        (RunClass((), 0, human=True), "no component fault, with human errors"),
    ],
)
def test_a_run_class_says_how_many_faults_may_strike(run_class: RunClass, says: str) -> None:
    assert run_class.says == says


def test_no_two_faults_of_groups_that_are_apart_strike_in_one_run(tmp_path: Path) -> None:
    flags = tuple(var(fault_flag(id_)) for id_ in ("F1", "F2", "F5"))
    apart = (("F1", "F5"), ("F2",))
    built = build(gate(tmp_path), RunClass(("F1", "F2", "F5"), None, apart=apart))
    (answer,) = make("reference").explore(built.system, [Values(flags)]).answers
    assert answer.values == ((0, 0, 0), (0, 0, 1), (0, 1, 0), (1, 0, 0), (1, 0, 1))
