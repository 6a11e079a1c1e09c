"""Lists of globals: a list is called by its file, and several may have a variable of one name."""

from __future__ import annotations

import pytest

from interlock.base.errors import InputError
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_project

_LEFT = "VAR_GLOBAL speed : INT := 1; END_VAR\n"
_RIGHT = "VAR_GLOBAL speed : INT := 2; only : INT := 5; END_VAR\n"


def _texts(body: str, declared: str = "") -> dict[str, str]:
    main = f"PROGRAM Main VAR_OUTPUT n, m : INT; END_VAR {declared} {body} END_PROGRAM"
    return {"Left.st": _LEFT, "Right.st": _RIGHT, "main.st": main}


def _refused(texts: dict[str, str]) -> str:
    with pytest.raises(InputError) as refusal:
        load_project(texts)
    (mistake,) = refusal.value.mistakes
    return str(mistake)


def test_variables_of_one_name_in_two_lists_are_two() -> None:
    texts = _texts("Right.speed := Right.speed + 10; n := Left.speed; m := Right.speed;")
    loaded = load_project(texts)
    written = DirectController(loaded.files, loaded.root, Settings())
    checked = Controller(loaded.program, Settings())
    for expected in (12, 22):
        assert written.scan({}).outputs == {"n": 1, "m": expected}
        assert checked.scan({}).outputs == {"n": 1, "m": expected}


@pytest.mark.parametrize(
    ("body", "declared", "place"),
    [
        ("n := speed;", "", "main.st:1:51"),
        ("speed := 3;", "", "main.st:1:46"),
        ("n := speed;", "VAR_EXTERNAL speed : INT; END_VAR", "main.st:1:58"),
    ],
)
def test_a_name_that_several_lists_have_is_asked_for(body: str, declared: str, place: str) -> None:
    says = _refused(_texts(body, declared))
    assert says.endswith("'speed' is in several lists of globals; write Left.speed or Right.speed")


def test_a_variable_of_another_list_is_not_taken_for_one_of_this() -> None:
    assert "'only' is not in 'Left'; did you mean 'only'?" in _refused(_texts("n := Left.only;"))
