"""Manners of writing that single environments have, and what is made of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.model.load import load
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_program, load_project
from interlock.st.typed_parts import expressions_in

_QUOTED = """FUNCTION_BLOCK "Pump 1"
TITLE = 'x'
VERSION : 0.1
VAR_INPUT "go on" : Bool; END_VAR
VAR_OUTPUT q : Bool; END_VAR
BEGIN
REGION Run it: all
  #q := #"go on";
END_REGION
END_FUNCTION_BLOCK
"""


def test_names_in_quotes_regions_and_titles_are_read() -> None:
    program = load_program(_QUOTED, "p.st")
    assert (program.name, [v.name for v in program.variables]) == ("Pump_1_20", ["go_on_20", "q"])
    assert Controller(program, Settings()).scan({"go_on_20": 1}).outputs == {"q": 1}


def test_two_names_in_quotes_that_look_alike_stay_two() -> None:
    text = _QUOTED.replace("q : Bool;", '"go_on" : Bool;').replace("#q", '#"go_on"')
    assert [v.name for v in load_program(text, "p.st").variables] == ["go_on_20", "go_on"]


def test_a_text_in_quotes_stays_a_text_where_names_have_none() -> None:
    text = """PROGRAM p VAR_OUTPUT q : BOOL; END_VAR VAR s : WSTRING := "q"; END_VAR
q := TRUE; END_PROGRAM"""
    assert [v.name for v in load_program(text, "p.st").variables] == ["q"]


def test_no_word_of_the_language_has_other_letters() -> None:
    # The upper case of a dotless i is I.
    text = "PROGRAM p VAR ıf : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR q := ıf; END_PROGRAM"
    assert [v.name for v in load_program(text, "p.st").variables] == ["ıf", "q"]


@pytest.mark.parametrize(
    ("block", "old", "new"),
    [("CTU", "RESET", "R"), ("CTD", "LOAD", "LD"), ("SR", "SET1", "S1"), ("RS", "RESET1", "R1")],
)
def test_inputs_have_older_names(block: str, old: str, new: str) -> None:
    others = {"CTU": "CU := a, PV := 2, ", "CTD": "CD := a, PV := 2, "}
    others |= {"SR": "R := a, ", "RS": "S := a, "}
    q = "Q1" if block in ("SR", "RS") else "Q"

    def body(name: str) -> object:
        text = "PROGRAM p VAR_INPUT a, b : BOOL; END_VAR\n"
        text += f"VAR_OUTPUT q : BOOL; END_VAR VAR x : {block}; END_VAR\n"
        return load_program(
            f"{text}x({others[block]}{name} := b); q := x.{q}; END_PROGRAM", "p"
        ).body

    assert body(old) == body(new)


def test_lists_of_values_of_two_variables_are_two_types() -> None:
    text = """FUNCTION_BLOCK A VAR s : (Off, On); END_VAR VAR_OUTPUT q : BOOL; END_VAR
IF s = Off THEN s := On; END_IF; q := s = On; END_FUNCTION_BLOCK
FUNCTION_BLOCK B VAR s : (Idle, Busy, Gone) := Busy; END_VAR VAR_OUTPUT q : BOOL; END_VAR
q := s = Busy; s := Gone; END_FUNCTION_BLOCK
PROGRAM P VAR a : A; b : B; END_VAR VAR_OUTPUT q, r : BOOL; END_VAR
a(q => q); b(q => r); END_PROGRAM"""
    controller = Controller(load_program(text, "p.st"), Settings())
    assert controller.scan({}).outputs == {"q": 1, "r": 1}
    assert controller.scan({}).outputs == {"q": 1, "r": 0}


_TWO = """PROGRAM A VAR_INPUT x : BOOL; END_VAR VAR_OUTPUT y : BOOL; END_VAR y := x; END_PROGRAM
CONFIGURATION c VAR_GLOBAL g AT %QX0.0 : BOOL; i AT %IX0.0 : BOOL; END_VAR
RESOURCE r ON cpu TASK t(INTERVAL := T#20ms, PRIORITY := 1);
PROGRAM a1 WITH t : A(x := i, y => g);
PROGRAM a2 WITH t : A(x := g);
END_RESOURCE END_CONFIGURATION"""


def test_programs_of_one_task_run_in_turn() -> None:
    loaded = load_project({"p.st": _TWO})
    assert loaded.task is not None
    assert loaded.task.interval_ms == 20
    controller = Controller(loaded.program, Settings())
    # The second sees in the same scan what the first wrote.
    assert controller.scan({"i": 1}).outputs == {"g": 1, "a2_y": 1}


def test_programs_of_two_tasks_are_not_put_together() -> None:
    text = _TWO.replace("a2 WITH t", "a2 WITH u")
    assert load_project({"p.st": text}).root == "A"


_FILTER = """PROGRAM p VAR_INPUT x : REAL; b : BOOL; END_VAR
VAR_OUTPUT q, hot : BOOL; n : DINT; END_VAR VAR f : REAL; END_VAR
f := 0.9 * f + 0.1 * x;
hot := f > 3.0;
IF b THEN n := n + 1; END_IF;
q := b AND x > 5.0;
END_PROGRAM"""


def _model(folder: Path, never: str) -> Path:
    (folder / "c.st").write_text(_FILTER, encoding="utf-8")
    says = f'title: P\ncontroller: c.st\nrequirements:\n  R1: {{says: "x", never: "{never}"}}\n'
    (folder / "model.yaml").write_text(says, encoding="utf-8")
    return folder


def test_what_no_requirement_names_may_be_left_out(tmp_path: Path) -> None:
    model = load(_model(tmp_path, "q"))
    assert set(model.outputs) == {"q"}
    assert model.project is not None
    says = " ".join(note.says for note in model.project.notes)
    assert "output 'hot' is left out: 'f' holds a REAL input" in says
    assert "left out: nothing reads 'n'" in says


def test_a_named_output_is_not_left_out_but_depends_on_any_value(tmp_path: Path) -> None:
    model = load(_model(tmp_path, "hot"))
    assert set(model.outputs) == {"q", "hot"}
    assert model.project is not None
    told = [str(note.place) + note.says for note in model.project.notes]
    assert any("c.st:3:" in says and "'f' is computed of several" in says for says in told)


def test_a_number_that_a_requirement_names_stays(tmp_path: Path) -> None:
    assert set(load(_model(tmp_path, "n > 3")).outputs) == {"q", "n"}


def test_a_defect_behind_what_no_classes_are_known_for_is_not_left_out() -> None:
    text = _FILTER.replace(
        "hot := f > 3.0;", "hot := f > 3.0; WHILE f > 3.0 DO hot := b; END_WHILE;"
    )
    program = load_program(text, "c.st")
    assert [one.input for one in program.any_values] == ["f.any"]
    assert any(getattr(e, "function", "") == "DEFECT" for e in expressions_in(program.body))


@pytest.mark.parametrize(
    ("declared", "body", "places"),
    [
        ("", "IF a THEN q := TRUE ELSE q := FALSE END_IF", [(2, 20), (2, 36)]),
        ("", "q := a\n  OR b\nr := q;", [(3, 7)]),
        ("", "q := a\n%QX7.0 := b;", [(2, 7)]),
        ("", "IF a THEN RETURN END_IF q := b", [(2, 17), (2, 31)]),
        ("t : TON;", "t(IN := a,\n PT := T#1s)\nq := t.Q;", [(3, 13)]),
        ("k : INT;", "CASE k OF\n1: q := a\n2: q := b;\nEND_CASE", [(3, 10)]),
        ("k : INT\nm : INT", "q := a;", [(1, 85), (2, 8)]),
    ],
)
def test_a_semicolon_is_missing_only_where_nothing_else_can_stand(
    declared: str, body: str, places: list[tuple[int, int]]
) -> None:
    """The same text with its semicolons is the same program; each that is missing is told."""
    head = "PROGRAM p VAR_INPUT a, b : BOOL; END_VAR VAR_OUTPUT q, r : BOOL; END_VAR "
    head += f"VAR {declared} END_VAR\n"
    lacking = load_project({"p.st": f"{head}{body}\nEND_PROGRAM"})
    told = [n.place for n in lacking.notes if "';' is missing" in n.says]
    assert [(place.line, place.column) for place in told] == places
    lines = f"{head}{body}\nEND_PROGRAM".splitlines()
    for line, column in reversed(places):
        lines[line - 1] = f"{lines[line - 1][: column - 1]};{lines[line - 1][column - 1 :]}"
    whole = load_project({"p.st": "\n".join(lines)})
    assert not [n for n in whole.notes if "';'" in n.says]
    assert whole.program.body == lacking.program.body


@pytest.mark.parametrize("ends", ["", "\n", " // cut off"])
def test_a_file_that_ends_within_a_statement_is_refused(ends: str) -> None:
    text = f"PROGRAM p VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR\nq := a{ends}"
    with pytest.raises(InputError, match="expected ';'"):
        load_project({"p.st": text})


@pytest.mark.parametrize("body", ["q := a r := b;", "q := a\nb;", "q := a\nb OR a;", "t\nq := a;"])
def test_what_may_be_half_an_expression_is_refused(body: str) -> None:
    text = f"""PROGRAM p VAR_INPUT a, b : BOOL; END_VAR VAR_OUTPUT q, r : BOOL; END_VAR
VAR t : TON; END_VAR
{body}
END_PROGRAM"""
    with pytest.raises(InputError):
        load_program(text, "p.st")


def test_a_semicolon_too_many_declares_nothing_and_does_nothing() -> None:
    text = """PROGRAM p
VAR_INPUT a : BOOL;; END_VAR VAR_OUTPUT q : BOOL; ; END_VAR
INITIAL_STEP S0: ; END_STEP
STEP S1: q(N);; END_STEP
TRANSITION FROM S0 TO S1 := a; END_TRANSITION
TRANSITION FROM S1 TO S0 := NOT a; END_TRANSITION
END_PROGRAM"""
    program = load_program(text, "p.st")
    assert program.body == load_program(text.replace("; END_STEP", " END_STEP"), "p.st").body
    controller = Controller(program, Settings())
    assert [controller.scan({"a": a}).outputs["q"] for a in (1, 1, 0, 0)] == [0, 1, 1, 0]
