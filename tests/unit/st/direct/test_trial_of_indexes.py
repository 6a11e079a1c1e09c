"""What code writes is found also where the index that leads there is outside at first."""

from __future__ import annotations

from interlock.st.direct.controller import DirectController
from interlock.st.layout import Settings
from interlock.st.load import load_project

TEXT = """\
FUNCTION_BLOCK Leg
VAR_INPUT on : BOOL; END_VAR
VAR here AT %MX1.0 : BOOL; END_VAR
here := on;
END_FUNCTION_BLOCK
PROGRAM Main
VAR_INPUT a : BOOL; END_VAR
VAR_OUTPUT q : BOOL; END_VAR
VAR legs : ARRAY [1..2] OF Leg; k : INT (0..2) := 0; seen AT %MX1.0 : BOOL; END_VAR
legs[k](on := a);
IF a THEN k := 1; END_IF;
q := seen;
END_PROGRAM
"""


def test_a_variable_behind_an_index_that_is_outside_at_first_is_memory_and_no_input() -> None:
    project = load_project({"main.st": TEXT})
    controller = DirectController(project.files, project.root, Settings())
    assert "plc.seen" in controller.values()
    told = [controller.scan({"a": True}).outputs["q"] for _ in range(3)]
    # IEC 61131-3: the first call is of no element and is dropped; the second sets it.
    assert told == [False, True, True]
