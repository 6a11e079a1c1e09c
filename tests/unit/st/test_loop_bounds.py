"""How often loops may run: as written, as scalars and lowered alike; more is a flaw."""

from __future__ import annotations

import pytest

from interlock.base.errors import InputError
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_project
from tests.unit.st.test_construct_table import FILE, scanned

HEAD = """FUNCTION Itself : INT VAR_IN_OUT v : INT; END_VAR Itself := v; END_FUNCTION
FUNCTION Same : INT VAR_INPUT v : INT; END_VAR Same := v; END_FUNCTION
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
        ("FOR i := 1 TO 40 DO n := n + 1; j := Same(i); END_FOR", 40, 0),
        ("FOR i := 1 TO 40 DO n := n + 1; j := Same(v := i); END_FOR", 40, 0),
        ("FOR i := 1 TO 40 DO n := n + 1; j := Itself(i); END_FOR", 32, 1),
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


@pytest.mark.parametrize(
    ("body", "n", "flaws"),
    [
        (
            "FOR i := 3 TO 1 BY -1 DO IF i = 3 THEN n := 1; ELSE n := n + r[i + 1]; END_IF END_FOR",
            6,
            0,
        ),
        ("FOR i := 1 TO 3 DO IF i > 1 THEN r[i - 1] := 7; END_IF END_FOR n := r[2]", 7, 0),
        ("FOR i := 1 TO 3 DO IF i < 4 THEN n := n + r[i + 1]; END_IF END_FOR", 8, 1),
        ("FOR i := 1 TO 3 DO r[i + 1] := i; END_FOR n := r[1] + 10 * r[3]", 21, 1),
        ("FOR i := 1 TO 2 DO n := n + m[i + 1, i]; END_FOR", 7, 1),
    ],
)
def test_an_index_that_a_loop_counts_is_a_flaw_only_where_it_is_met(
    body: str, n: int, flaws: int
) -> None:
    arrays = """VAR r : ARRAY [1..3] OF INT := [1, 2, 3];
    m : ARRAY [1..2, 1..2] OF INT := [1, 2, 3, 4]; END_VAR"""
    loaded = load_project({FILE: f"{HEAD}{arrays}\n{body};\nEND_PROGRAM"})
    for values, met in scanned(loaded):
        assert (values["n"], len(met)) == (n, flaws)
        assert all("the index is outside" in says for says in met)


def test_an_index_that_is_outside_in_each_pass_is_refused() -> None:
    body = "VAR r : ARRAY [1..3] OF INT; END_VAR FOR i := 1 TO 3 DO n := r[C]; END_FOR"
    with pytest.raises(InputError, match=r"index 40 is outside 1\.\.3"):
        load_project({FILE: f"{HEAD}{body}\nEND_PROGRAM"})


_OF_ANY_LENGTH = """FUNCTION Sum : INT
VAR_IN_OUT a : ARRAY [*] OF INT; END_VAR VAR i : DINT; END_VAR
FOR i := LOWER_BOUND(a, 1) TO UPPER_BOUND(a, 1) DO Sum := Sum + a[i]; END_FOR
END_FUNCTION
FUNCTION Corners : INT
VAR_IN_OUT a : ARRAY [*, *] OF INT; END_VAR
Corners := a[LOWER_BOUND(ARR := a, DIM := 1), UPPER_BOUND(a, 2)];
END_FUNCTION
PROGRAM p
VAR_OUTPUT long, short, corner : INT; END_VAR
VAR
  b : ARRAY [-9..40] OF INT := [50(2)];
  c : ARRAY [3..4] OF INT := [5, 6];
  d : ARRAY [0..1, 1..3] OF INT := [1, 2, 3, 4, 5, 6];
END_VAR
long := Sum(a := b);
short := Sum(a := c);
corner := Corners(a := d);
END_PROGRAM
"""


def test_the_limits_of_an_array_are_known_wherever_it_is_given() -> None:
    loaded = load_project({"p.st": _OF_ANY_LENGTH})
    expected = {"long": 100, "short": 11, "corner": 3}
    found = DirectController(loaded.files, loaded.root, Settings()).scan({})
    assert (found.outputs, found.defects) == (expected, ())
    scalars = Controller(loaded.program, Settings()).scan({})
    assert (scalars.outputs, scalars.defects) == (expected, ())


@pytest.mark.parametrize(
    ("call", "says"),
    [
        ("UPPER_BOUND(d, 3)", "21: this must be a constant from 1 to 2, which index is meant"),
        ("UPPER_BOUND(d, k)", "21: this must be a constant from 1 to 2, which index is meant"),
        ("LOWER_BOUND(k, 1)", "18: LOWER_BOUND takes an array"),
        ("LOWER_BOUND(d, 1, 1)", "6: LOWER_BOUND takes an array and which of its indexes"),
    ],
)
def test_which_limit_is_meant_has_to_be_clear(call: str, says: str) -> None:
    text = f"""PROGRAM p VAR_OUTPUT n : INT; END_VAR
VAR d : ARRAY [0..1, 1..3] OF INT; k : INT; END_VAR
n := {call}; END_PROGRAM"""
    with pytest.raises(InputError) as caught:
        load_project({"p.st": text})
    (mistake,) = caught.value.mistakes
    assert f"{mistake.place.column}: {mistake.says}" == says
