"""A defect is of one place of the text, and stands in every copy of it."""

from __future__ import annotations

import re
from collections import Counter

from interlock.commands.challenge.defects import short_place
from interlock.commands.challenge.expression_defects import DefectKind
from interlock.commands.challenge.program_defects import ProgramDefect, program_defects
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_project

_LEGS = """FUNCTION_BLOCK Leg
VAR_INPUT up, down, shut : BOOL; END_VAR
VAR_OUTPUT raises : BOOL; END_VAR
raises := up AND NOT down;
IF shut THEN raises := FALSE; END_IF;
END_FUNCTION_BLOCK
PROGRAM Main
VAR_INPUT up, down, shut : BOOL; END_VAR
VAR_OUTPUT out : ARRAY [1..3] OF BOOL; END_VAR
VAR legs : ARRAY [1..3] OF Leg; i : INT; END_VAR
FOR i := 1 TO 3 DO
  legs[i](up := up, down := down, shut := shut);
  out[i] := legs[i].raises;
END_FOR;
END_PROGRAM"""


def _defects(text: str) -> list[ProgramDefect]:
    return list(program_defects(load_project({"p.st": text}).program))


def _outputs(defect: ProgramDefect, **given: int) -> list[int]:
    outputs = Controller(defect.program, Settings()).scan(given).outputs
    return [outputs[f"out[{n}]"] for n in (1, 2, 3)]


def test_a_defect_is_seeded_once_for_each_place_of_the_text() -> None:
    # Other indices apart, no two defects are the same.
    found = Counter(
        (short_place(d.place), d.kind, re.sub(r"\[\d\]", "", d.says))
        for d in _defects(_LEGS)
        if d.kind is not DefectKind.EXCHANGED
    )
    assert max(found.values()) == 1
    assert found["p.st:4:18", DefectKind.DROPPED, "drop term NOT legs.down, in all 3 copies"]


def test_it_stands_in_every_copy() -> None:
    (dropped,) = [d for d in _defects(_LEGS) if d.says.startswith("drop term NOT")]
    assert dropped.says == "drop term NOT legs[1].down, in all 3 copies"
    assert _outputs(dropped, up=1, down=1, shut=0) == [1, 1, 1]
    (lost,) = [d for d in _defects(_LEGS) if d.says.startswith("drop legs[1].raises := FALSE")]
    assert _outputs(lost, up=1, down=0, shut=1) == [1, 1, 1]


def test_one_function_called_twice_is_one_place() -> None:
    text = """FUNCTION Both : BOOL VAR_INPUT a, b : BOOL; END_VAR
Both := a AND b;
END_FUNCTION
PROGRAM p VAR_INPUT a, b, c : BOOL; END_VAR VAR_OUTPUT q, r : BOOL; END_VAR
q := Both(a, b);
r := Both(b, c);
END_PROGRAM"""
    changed = [d for d in _defects(text) if d.place.line == 2 and d.says.startswith("OR for AND")]
    (defect,) = changed
    outputs = Controller(defect.program, Settings()).scan({"a": 1, "b": 0, "c": 1}).outputs
    assert outputs == {"q": 1, "r": 1}


def test_what_begins_at_one_place_and_stands_in_one_another_is_no_copy() -> None:
    text = """PROGRAM p VAR_INPUT a, b, c : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR
q := (a AND b OR c) AND NOT c;
END_PROGRAM"""
    says = [d.says for d in _defects(text) if d.says.startswith("drop term a")]
    assert says == ["drop term a AND b OR c", "drop term a AND b", "drop term a"]


def test_passes_of_a_loop_are_not_exchanged() -> None:
    text = """PROGRAM p VAR_INPUT a : ARRAY [1..2] OF BOOL; END_VAR VAR_OUTPUT q, r : BOOL; END_VAR
VAR i : INT; END_VAR
FOR i := 1 TO 2 DO
  q := q OR a[i];
  r := q;
END_FOR;
END_PROGRAM"""
    kind = DefectKind.REORDERED
    assert [d.says for d in _defects(text) if d.kind is kind] == ["r before q, in all 2 copies"]
