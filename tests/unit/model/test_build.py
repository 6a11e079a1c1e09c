"""What a run class is called; what the systems of models mean is asked in `independent_judge`."""

from __future__ import annotations

import pytest

from interlock.model.build import FAULT_FREE, RunClass


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
