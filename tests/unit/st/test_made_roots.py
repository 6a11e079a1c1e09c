"""Programs that stand in parts, variables without a unit, and functions alone."""

from __future__ import annotations

import pytest

from interlock.base.errors import InputError
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import Loaded, load_project

PARTS = """PROGRAM _INIT
  n := 5; IF n > 4 THEN RETURN; END_IF n := 9;
END_PROGRAM
PROGRAM _CYCLIC
  n := n + 1; q := go;
END_PROGRAM
PROGRAM _EXIT
  n := 0;
END_PROGRAM
"""
VARIABLES = """VAR
  n : INT; go AT %IX0.0 : BOOL; q AT %QX0.0 : BOOL; mode : Mode;
END_VAR"""
TYPES = "TYPE Mode : (OFF, ON); END_TYPE"


def scanned(loaded: Loaded, name: str) -> list[tuple[float, float]]:
    """The value of a variable behind four scans and a restart before the third, in two ways."""
    direct = DirectController(loaded.files, loaded.root, Settings())
    scalars = Controller(loaded.program, Settings())
    inputs = dict.fromkeys((v.name for v in loaded.program.inputs), 1)
    found = []
    for scan in range(4):
        for controller in (direct, scalars):
            if scan == 2:
                controller.restart()
        outputs = {**direct.values(), **direct.scan(inputs).outputs}
        scalars.scan(inputs)
        values = {key.rpartition(".")[2]: value for key, value in direct.values().items()} | outputs
        found.append((values[name], scalars.read(name)))
    return found


def test_a_program_in_parts_begins_with_its_first_part_and_again_after_a_restart() -> None:
    loaded = load_project({"mixer.st": PARTS, "all.var": VARIABLES, "all.typ": TYPES})
    assert loaded.root == "mixer"
    assert scanned(loaded, "n") == [(6, 6), (7, 7), (6, 6), (7, 7)]
    told = [note.says for note in loaded.notes]
    assert "_EXIT was left out: it is executed when the program ends" in told
    assert "variables without a unit: read as VAR_GLOBAL" in told


def test_parts_may_stand_in_files_of_their_own() -> None:
    init, rest = PARTS.split("PROGRAM _CYCLIC")
    files = {"Init.st": init, "Cyclic.st": f"PROGRAM _CYCLIC{rest}", "all.var": VARIABLES}
    loaded = load_project({**files, "all.typ": TYPES})
    assert loaded.root == "Cyclic"
    assert scanned(loaded, "n") == [(6, 6), (7, 7), (6, 6), (7, 7)]


def test_of_several_programs_in_parts_one_is_named() -> None:
    other = PARTS.replace("n :=", "m :=").replace("n + 1", "m + 1").replace("n >", "m >")
    shared = VARIABLES.replace("n :", "m : INT; p : BOOL; n :")
    texts = {"one.st": PARTS, "two.st": other.replace("q :=", "p :="), "all.var": shared}
    texts["all.typ"] = TYPES
    with pytest.raises(InputError, match=r"several programs \(one, two\); say which"):
        load_project(texts)
    assert load_project(texts, "two").root == "two"


def test_what_a_program_in_parts_does_not_declare_is_one_mistake() -> None:
    with pytest.raises(InputError) as caught:
        load_project({"mixer.st": PARTS})
    assert "nothing is declared: write VAR … END_VAR with n, q, go" in str(caught.value)


def test_a_function_alone_is_called_once_in_each_scan() -> None:
    text = """FUNCTION Half : BOOL VAR_INPUT a, b : BOOL; END_VAR VAR k : INT := 1; END_VAR
    k := k + 1; Half := (a OR b) AND k = 2; END_FUNCTION"""
    loaded = load_project({"half.st": text})
    assert [v.name for v in loaded.program.inputs] == ["a", "b"]
    direct = DirectController(loaded.files, loaded.root, Settings())
    scalars = Controller(loaded.program, Settings())
    for controller in (direct, scalars, direct, scalars):
        assert controller.scan({"a": 0, "b": 1}).outputs["Half_result"] == 1
        assert controller.scan({"a": 0, "b": 0}).outputs["Half_result"] == 0
    says = "there is no PROGRAM: Half is called once in each scan"
    assert says in [note.says for note in loaded.notes]


@pytest.mark.parametrize(
    "text",
    [
        "FUNCTION f : INT VAR_IN_OUT a : INT; END_VAR f := a; END_FUNCTION",
        "TYPE t : INT; END_TYPE",
    ],
)
def test_what_cannot_be_executed_alone_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="there is no PROGRAM and no FUNCTION_BLOCK in it"):
        load_project({"f.st": text})


@pytest.mark.parametrize("head", ["FUNCTION f : VOID", "FUNCTION f : Void", "FUNCTION f"])
def test_a_function_alone_may_have_outputs_in_place_of_a_result(head: str) -> None:
    text = f"{head} VAR_INPUT n : INT; END_VAR VAR_OUTPUT n2 : INT; END_VAR n2 := n + 4;"
    loaded = load_project({"p.st": f"{text} END_FUNCTION"})
    assert [v.name for v in loaded.program.variables][:2] == ["n", "n2"]
    assert scanned(loaded, "n2")[:2] == [(5, 5), (5, 5)]
    assert [note.says for note in loaded.notes] == [
        "there is no PROGRAM: f is called once in each scan"
    ]


def test_a_function_alone_without_any_output_is_nothing_to_judge() -> None:
    with pytest.raises(InputError, match="there is no PROGRAM and no FUNCTION_BLOCK in it"):
        load_project({"p.st": "FUNCTION f : VOID VAR_INPUT n : INT; END_VAR ; END_FUNCTION"})
