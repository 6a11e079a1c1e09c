"""Names that a variable shares with its type, and names that may not be shared."""

from __future__ import annotations

import pytest

from interlock.base.errors import InputError
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_project

_BEFORE = "TYPE Gear : (PARK, ROAD, LOW); END_TYPE\n"
_BEHIND = (
    "FUNCTION_BLOCK Motor VAR_INPUT on : BOOL; END_VAR VAR_OUTPUT runs : BOOL; END_VAR\n"
    "runs := on; END_FUNCTION_BLOCK\n"
)


def _texts(rest: str) -> dict[str, str]:
    main = f"PROGRAM Main VAR_OUTPUT n : INT; END_VAR {rest} END_PROGRAM\n"
    return {"m.st": _BEFORE + main + _BEHIND}


@pytest.mark.parametrize(
    ("rest", "n"),
    [
        ("VAR ton : TON; END_VAR ton(IN := TRUE, PT := T#0s); n := SEL(ton.Q, 1, 2);", 2),
        ("VAR Motor : Motor; END_VAR Motor(on := TRUE); n := SEL(Motor.runs, 1, 2);", 2),
        ("VAR Gear : Gear := LOW; END_VAR n := Gear;", 2),
        ("VAR gear : Gear; END_VAR gear := Gear#ROAD; n := gear;", 1),
        ("VAR Gear : INT := 7; END_VAR Gear := Gear + 1; n := Gear;", 8),
    ],
)
def test_a_variable_may_be_named_like_a_type(rest: str, n: int) -> None:
    loaded = load_project(_texts(rest))
    assert Controller(loaded.program, Settings()).scan({}).outputs == {"n": n}
    assert DirectController(loaded.files, loaded.root, Settings()).scan({}).outputs == {"n": n}


@pytest.mark.parametrize(
    ("rest", "says"),
    [
        (
            "VAR Gear : Gear; END_VAR n := SEL(Gear = Gear.ROAD, 1, 2);",
            "the variable hides the type of its name, so write Gear#ROAD",
        ),
        (
            "VAR v : Valve; END_VAR n := SEL(v.Asked, 1, 2);",
            "property 'Asked' has the name of a variable; names do not tell capitals apart",
        ),
        (
            "VAR up : BOOL; END_VAR INITIAL_STEP Up: END_STEP",
            "step 'Up' has the name of a variable; names do not tell capitals apart",
        ),
    ],
)
def test_a_name_of_two_things_is_told_once(rest: str, says: str) -> None:
    valve = (
        "FUNCTION_BLOCK Valve VAR asked : BOOL; END_VAR\n"
        "PROPERTY Asked : BOOL GET Asked := asked; END_GET END_PROPERTY END_FUNCTION_BLOCK\n"
    )
    texts = _texts(rest)
    with pytest.raises(InputError) as refusal:
        load_project({"m.st": texts["m.st"] + valve}, "Main")
    (mistake,) = refusal.value.mistakes
    assert mistake.says.endswith(says)
