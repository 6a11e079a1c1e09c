"""Copies of structures by an index, and arguments that call the same function."""

from __future__ import annotations

import pytest

from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_program

_PAIR = "TYPE Pair : STRUCT k : INT; y : BOOL; END_STRUCT END_TYPE\n"
_ADDS = "FUNCTION G : INT VAR_INPUT i : INT; END_VAR G := i + 1; END_FUNCTION\n"


@pytest.mark.parametrize(
    ("before", "variables", "body"),
    [
        # Copying k first must not change where y is copied from.
        (_PAIR, "r : ARRAY [0..1] OF Pair;",
         "r[0].k := 1; r[0].y := FALSE; r[1].k := 0; r[1].y := TRUE; "
         "r[0] := r[r[0].k]; q := r[0].k = 0 AND r[0].y;"),
        (_PAIR, "r : ARRAY [0..1] OF Pair;",
         "r[0].k := 1; r[0].y := TRUE; r[1].k := 1; r[1].y := FALSE; "
         "r[r[1].k] := r[0]; q := r[1].k = 1 AND r[1].y;"),
        (_ADDS, "k : INT;", "k := G(G(0)); q := k = 2;"),
        (_ADDS, "k : INT;", "k := G(i := G(i := G(i := 0))); q := k = 3;"),
    ],
)  # fmt: skip
def test_what_is_copied_and_called_within_itself(before: str, variables: str, body: str) -> None:
    text = (
        f"{before}PROGRAM m VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR "
        f"VAR {variables} END_VAR {body} END_PROGRAM"
    )
    program = load_program(text, "p.st")
    assert Controller(program, Settings()).scan({"a": 0}).outputs["q"] == 1
