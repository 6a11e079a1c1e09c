"""Variables of an interface: calls reach the one instance that the text gives them."""

from __future__ import annotations

from random import Random

import pytest

from interlock.base.errors import InputError
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_project

_TYPES = """TYPE Pair : STRUCT m : Valve; n : INT; END_STRUCT END_TYPE
INTERFACE Valve
METHOD Open : BOOL VAR_INPUT n : INT; END_VAR END_METHOD
METHOD Close END_METHOD
PROPERTY Count : INT GET END_GET SET END_SET END_PROPERTY
END_INTERFACE
FUNCTION_BLOCK V IMPLEMENTS Valve
VAR o : BOOL; c : INT(0..5); END_VAR
METHOD Open : BOOL VAR_INPUT n : INT; END_VAR
o := TRUE; IF c < 5 THEN c := c + 1; END_IF; Open := n > 2;
END_METHOD
METHOD Close o := FALSE; END_METHOD
PROPERTY Count : INT GET Count := c; END_GET SET c := LIMIT(0, Count, 5); END_SET END_PROPERTY
END_FUNCTION_BLOCK
FUNCTION_BLOCK User
VAR_INPUT m : Valve; go : BOOL; END_VAR
VAR_OUTPUT r : BOOL; END_VAR
VAR own : Valve; END_VAR
METHOD Take VAR_INPUT x : Valve; END_VAR own := x; END_METHOD
IF m <> 0 THEN r := m.Open(3); END_IF;
IF go THEN own.Close(); END_IF;
END_FUNCTION_BLOCK
"""
_HEAD = """PROGRAM p
VAR_INPUT a, b, c : BOOL; END_VAR
VAR_OUTPUT q, r, s : BOOL; n : INT; END_VAR
VAR v1, v2 : V; m : Valve := v1; k : Valve; all : ARRAY [1..2] OF Valve; i : INT; u : User;
  begun : BOOL; pair, other : Pair; END_VAR
"""


def _compared(body: str, n_scans: int = 60) -> int:
    """Scans as written and as scalars agree, defects included; how many defects there were."""
    loaded = load_project({"p.st": f"{_TYPES}{_HEAD}{body}\nEND_PROGRAM"})
    scalars = Controller(loaded.program, Settings())
    written = DirectController(loaded.files, loaded.root, Settings())
    random, n_defects = Random(1), 0
    for _ in range(n_scans):
        given = {v.name: random.randint(0, 1) for v in loaded.program.inputs}
        ours, theirs = scalars.scan(given), written.scan(given)
        assert ours.outputs == theirs.outputs
        assert list(map(str, ours.defects)) == list(map(str, theirs.defects))
        n_defects += len(ours.defects)
    return n_defects


@pytest.mark.parametrize(
    "body",
    [
        "IF a THEN m.Close(); ELSE q := m.Open(3); END_IF; n := m.Count;",
        "k := v2; q := k.Open(n := 1); k.Count := 3; n := k.Count;",
        "IF NOT begun THEN k := v1; begun := TRUE; END_IF; q := k.Open(4) AND a; n := v1.Count;",
        "all[1] := v1; all[2] := v2; FOR i := 1 TO 2 DO s := all[i].Open(i + 1); END_FOR; n := i;",
        "k := m; q := k.Open(5); n := v1.Count;",
        "pair.m := v2; other := pair; q := other.m.Open(6); n := v2.Count;",
        "u.Take(m); u(m := v2, go := a); r := u.r; n := v2.Count;",
        "IF a THEN k := v2; END_IF; IF k <> 0 THEN q := k.Open(3); k := 0; END_IF;",
    ],
)
def test_a_call_reaches_its_instance(body: str) -> None:
    assert _compared(body) == 0


@pytest.mark.parametrize(
    "body",
    [
        "IF a THEN k := v2; END_IF; IF b THEN q := k.Open(3); n := k.Count; END_IF;",
        "k := v2; IF c THEN k := 0; END_IF; k.Count := 2; k.Close();",
        "q := k.Open(3); k := v1;",
    ],
)
def test_a_call_before_there_is_an_instance_is_a_defect_and_does_nothing(body: str) -> None:
    assert _compared(body) > 0


@pytest.mark.parametrize(
    "body",
    [
        "IF a THEN k := v1; ELSE k := v2; END_IF; q := k.Open(3);",
        "k := v1; all[1] := k; all[1] := v2; q := all[1].Open(3);",
        "q := k.Open(3);",
        # Code that is not in the files may let it stand for something else.
        "k := v1; Far(k); q := k.Open(3);",
        "k := v1; Far(); q := k.Open(3);",
        "k := Far(1); q := k.Open(3);",
    ],
)
def test_one_of_several_instances_or_none_is_refused_in_one_line(body: str) -> None:
    with pytest.raises(InputError, match="which instance 'Open' of the interface") as caught:
        load_project({"p.st": f"{_TYPES}{_HEAD}{body}\nEND_PROGRAM"})
    assert len(caught.value.mistakes) == 1
