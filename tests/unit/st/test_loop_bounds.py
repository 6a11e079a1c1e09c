"""How often loops may run: as written, as scalars and lowered alike; more is a flaw."""

from __future__ import annotations

import pytest

from interlock.st.load import load_project
from tests.unit.st.test_construct_table import FILE, scanned

HEAD = """FUNCTION Same : INT VAR_INPUT v : INT; END_VAR Same := v; END_FUNCTION
PROGRAM Main VAR_OUTPUT n : INT; END_VAR VAR i, j : INT; k : INT := 40; END_VAR
VAR CONSTANT C : INT := 40; END_VAR
"""


@pytest.mark.parametrize(
    ("body", "n", "flaws"),
    [
        ("FOR i := 1 TO 40 DO n := n + 1; END_FOR", 40, 0),
        ("FOR i := 1 TO C DO n := n + 1; END_FOR", 40, 0),
        ("FOR i := 1 TO C + 2 DO n := MAX(n, DINT_TO_INT(INT_TO_DINT(i))); END_FOR", 42, 0),
        ("FOR i := 2 TO 3 DO FOR j := i TO i + 39 DO n := n + 1; END_FOR END_FOR", 80, 0),
        ("FOR i := 1 TO k DO n := n + 1; END_FOR", 32, 1),
        ("FOR i := 1 TO 40 DO n := n + 1; i := i; END_FOR", 32, 1),
        ("FOR i := 1 TO 40 DO n := n + 1; j := Same(i); END_FOR", 32, 1),
        ("WHILE n < 40 DO n := n + 1; END_WHILE", 32, 1),
        ("WHILE n < 32 DO n := n + 1; END_WHILE", 32, 0),
        ("REPEAT n := n + 1; UNTIL n >= 40 END_REPEAT", 32, 1),
        ("REPEAT n := n + 1; UNTIL n >= 32 END_REPEAT", 32, 0),
    ],
)
def test_a_loop_runs_as_often_everywhere(body: str, n: int, flaws: int) -> None:
    loaded = load_project({FILE: f"{HEAD}{body}\nEND_PROGRAM"})
    for values, met in scanned(loaded):
        assert (values["n"], len(met)) == (n, flaws)
        assert all("the loop runs more than 32 times" in says for says in met)
