"""Plain variables that a model names as inputs and outputs: they are wired outside of the text."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.engines import catalogue
from interlock.independent_judge.controllers import is_executed_as_written
from interlock.judgement.verify import verify
from interlock.model.load import load
from interlock.model.model import Model

PROGRAM = """\
VAR_GLOBAL g_key : BOOL; g_motor : BOOL; END_VAR
PROGRAM main
VAR
  key, spare : BOOL; shut AT %IX0.0 : BOOL; was : BOOL; motor : BOOL; on : BOOL := TRUE;
  cell : ARRAY[1..2] OF BOOL;
END_VAR
IF key THEN was := TRUE; END_IF
motor := was AND NOT shut AND on OR spare;
g_motor := g_key AND cell[2];
END_PROGRAM
"""


def model(folder: Path, requirements: Mapping[str, str], before: str, text: str = PROGRAM) -> Model:
    (folder / "main.st").write_text(text)
    asked = "".join(f"  {id_}: {{says: '{id_}', {what}}}\n" for id_, what in requirements.items())
    head = "title: Wired outside\ncontroller: main.st\nroot: main\n"
    (folder / "model.yaml").write_text(f"{head}{before}requirements:\n{asked}")
    return load(folder)


def violated(made: Model) -> set[str]:
    found = verify(made, catalogue()["enumerate"]()).findings
    return {f.requirement.id for f in found if f.verdict.outcome.name == "VIOLATED"}


NEVER = {
    "R1": "never: main.motor",
    "R2": "never: main.g_motor",
    "R3": "never: main.motor AND NOT main.was",
}


@pytest.mark.parametrize(
    ("sensors", "expected"),
    [
        ("", set()),
        ("key: {}", {"R1"}),
        ("KEY: {}", {"R1"}),
        ("key: {}, on: {}", {"R1"}),
        ("spare: {}", {"R1", "R3"}),
        ("'cell[2]': {}", {"R2"}),
        ("g_key: {}, 'cell[1]': {}", {"R2"}),
    ],
)
def test_what_is_named_as_an_input_may_have_any_value(
    tmp_path: Path, sensors: str, expected: set[str]
) -> None:
    # A global that nothing writes is an input already; a variable of the program that has
    # another way in is none before it is named.
    before = f"sensors: {{{sensors}}}\n" if sensors else ""
    made = model(tmp_path, NEVER, before)
    assert violated(made) == expected - ({"R2"} if "cell" not in sensors else set())
    assert is_executed_as_written(made)


def test_a_plant_reads_what_is_named_as_an_output_and_gives_what_is_named_as_an_input(
    tmp_path: Path,
) -> None:
    plant = (
        "plant:\n"
        "  door: {states: [shut, open], moves: [{from: shut, to: open, when: motor AND g_motor}]}\n"
        "sensors:\n  key: {reads: door = open}\n  spare: {}\n  cell[2]: {}\n"
        "outputs: {motor: {}, G_Motor: {}}\n"
    )
    asked = {"R1": "never: door = open", "R2": "never: main.was AND door = shut"}
    assert violated(model(tmp_path, asked, plant)) == {"R1"}


def test_what_had_no_other_way_in_stays_an_input(tmp_path: Path) -> None:
    # Without any way in of its own, all that nothing writes comes from outside.
    text = "PROGRAM main VAR a, b, m, n : BOOL; END_VAR\nm := b; n := a;\nEND_PROGRAM\n"
    asked = {"R1": "never: main.m", "R2": "never: main.n"}
    for before in ("", "sensors: {a: {}}\n", "outputs: {m: {}}\n"):
        assert violated(model(tmp_path, asked, before, text)) == {"R1", "R2"}


def test_what_begins_as_something_else_is_an_input_once_it_is_named(tmp_path: Path) -> None:
    text = PROGRAM.replace("main\nVAR", "main\nVAR_OUTPUT shut_seen : BOOL; END_VAR\nVAR")
    text = text.replace("END_PROGRAM", "shut_seen := shut;\nEND_PROGRAM")
    asked = {"R1": "never: main.was AND NOT shut_seen AND NOT main.motor, judged: after scan"}
    assert violated(model(tmp_path, asked, "sensors: {key: {}}\n", text)) == set()
    assert violated(model(tmp_path, asked, "sensors: {key: {}, on: {}}\n", text)) == {"R1"}


@pytest.mark.parametrize("name", ["was", "motor", "g_motor"])
def test_what_the_program_writes_is_no_input(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match=rf"model.yaml:4:11: '{name}' is not an input: one is a"):
        model(tmp_path, NEVER, f"sensors: {{{name}: {{}}}}\n")


def test_an_array_of_which_an_element_is_written_is_no_input(tmp_path: Path) -> None:
    text = PROGRAM.replace("g_motor :=", "cell[1] := key;\ng_motor :=")
    with pytest.raises(InputError, match=r"'cell\[2\]' is not an input"):
        model(tmp_path, NEVER, "sensors: {'cell[2]': {}}\n", text)


def test_what_two_lists_have_is_not_wired(tmp_path: Path) -> None:
    text = PROGRAM.replace("VAR_GLOBAL g_key", "VAR_GLOBAL key, g_key")
    with pytest.raises(InputError, match="'key' is not an input"):
        model(tmp_path, NEVER, "sensors: {key: {}}\n", text)


def test_what_is_wired_is_told_with_its_line(tmp_path: Path) -> None:
    made = model(tmp_path, NEVER, "sensors: {key: {}}\noutputs: {motor: {}}\n")
    (one,) = made.controllers
    assert one.project is not None
    told = {(n.place.line, n.says) for n in one.project.notes if "the model names" in n.says}
    assert told == {
        (4, "'key' is an input: the model names it as one"),
        (4, "'motor' is an output: the model names it as one"),
    }


@pytest.mark.parametrize(
    ("declared", "call", "read"),
    [
        ("key : BOOL;", "other(x => key);", "key"),
        ("key AT %IX0.0 : BOOL;", "other(x => key);", "key"),
        ("key : BOOL;", "other.go(x => key);", "key"),
        ("key : ARRAY[1..2] OF BOOL;", "other(x => key[1]);", "key[1]"),
    ],
)
def test_what_code_of_other_files_writes_is_not_what_its_sensor_reads(
    tmp_path: Path, declared: str, call: str, read: str
) -> None:
    text = (
        f"PROGRAM main VAR_INPUT i : BOOL; END_VAR VAR other : Foreign; {declared} motor : BOOL; "
        f"END_VAR\n{call}\nmotor := {read};\nEND_PROGRAM\n"
    )
    plant = (
        "plant:\n  door: {states: [shut, open], moves: [{from: shut, to: open, when: motor}]}\n"
        f"sensors:\n  {read}: {{reads: door = open}}\noutputs: {{motor: {{}}}}\n"
    )
    assert violated(model(tmp_path, {"R1": "never: motor"}, plant, text)) == {"R1"}


def test_a_global_that_the_program_lists_as_one_of_others_may_be_wired(tmp_path: Path) -> None:
    text = PROGRAM.replace("main\nVAR\n", "main\nVAR_EXTERNAL g_motor : BOOL; END_VAR\nVAR\n")
    plant = (
        "plant:\n  door: {states: [shut, open], moves: [{from: shut, to: open, when: g_motor}]}\n"
        "sensors: {'cell[2]': {}}\noutputs: {g_motor: {}}\n"
    )
    assert violated(model(tmp_path, {"R1": "never: door = open"}, plant, text)) == {"R1"}
