"""What depends on texts, pointers and code that is not known is never taken for known."""

from __future__ import annotations

import pytest

from interlock.base.errors import InputError
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_files, load_program, load_project
from interlock.st.parser import parse_file

_BLOCK = (
    "FUNCTION_BLOCK F VAR_INPUT i : BOOL; END_VAR VAR_OUTPUT o, o2 : BOOL; END_VAR "
    "o := i; o2 := i; END_FUNCTION_BLOCK\n"
)
_BOTH = (
    "FUNCTION_BLOCK F VAR_IN_OUT io : BOOL; END_VAR VAR_INPUT i : BOOL; END_VAR "
    "VAR_OUTPUT o : BOOL; END_VAR o := i; io := i; END_FUNCTION_BLOCK\n"
)
_SETS = "FUNCTION G : BOOL VAR_IN_OUT u : BOOL; END_VAR u := TRUE; G := TRUE; END_FUNCTION\n"
_NAMES = "FUNCTION T : STRING VAR_IN_OUT u : BOOL; END_VAR u := TRUE; END_FUNCTION\n"
_GLOBAL = (
    "VAR_GLOBAL gg : BOOL; END_VAR "
    "FUNCTION G : BOOL VAR_IN_OUT io : BOOL; END_VAR gg := TRUE; END_FUNCTION\n"
)
_REFERS = (
    "FUNCTION_BLOCK H VAR_INPUT r : REFERENCE TO BOOL; END_VAR r := TRUE; END_FUNCTION_BLOCK\n"
)
_PAIR = "TYPE Pair : STRUCT y : BOOL; END_STRUCT END_TYPE\n"
_TWO = "TYPE Two : STRUCT x, y : BOOL; END_STRUCT END_TYPE\n"
_FACE = (
    "INTERFACE I METHOD Do : BOOL END_METHOD PROPERTY Pr : BOOL SET END_SET END_PROPERTY "
    "END_INTERFACE FUNCTION_BLOCK F IMPLEMENTS I VAR_OUTPUT o : BOOL; END_VAR "
    "METHOD Do : BOOL o := TRUE; END_METHOD "
    "PROPERTY Pr : BOOL SET o := Pr; END_SET END_PROPERTY END_FUNCTION_BLOCK\n"
)


def _text(before: str, variables: str, body: str) -> str:
    return (
        f"{before}PROGRAM m VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR "
        f"VAR {variables} END_VAR {body} END_PROGRAM"
    )


# Each of these sets q, or may, in a way that has no finite meaning; it must not be passed over.
@pytest.mark.parametrize(
    ("before", "variables", "body", "says"),
    [
        ("", "x : BOOL; p : POINTER TO BOOL;", "p := ADR(x); p^ := TRUE; q := x;", "a pointer"),
        ("", "p : POINTER TO BOOL := ADR(x); x : BOOL;", "p^ := TRUE; q := x;", "a pointer"),
        ("", "x : BOOL; p : REF_TO BOOL;", "p := REF(x); p^ := TRUE; q := x;", "a pointer"),
        ("", "x : ARRAY [0..2] OF BOOL; p : POINTER TO BOOL;",
         "p := ADR(x[0]) + 1; p^ := TRUE; q := x[1];", "a pointer"),
        (_PAIR, "x : Pair; p : POINTER TO Pair;", "p := ADR(x); p^.y := TRUE; q := x.y;",
         "a pointer"),
        (_BLOCK, "f : F; p : POINTER TO F;", "p := ADR(f); p^(i := TRUE); q := f.o;",
         "may change 'f'"),
        (_BLOCK, "f : F; p : POINTER TO F;", "p := ADR(f); p^.i := TRUE; q := f.i;",
         "may change 'f'"),
        (_BLOCK, "x, y : BOOL; z : DINT;", "z := MEMCPY(ADR(x), ADR(y), 1); q := x;", "MEMCPY"),
        (_REFERS, "x : BOOL; h : H;", "h(r := x); q := x;", "a reference"),
        (_REFERS, "x : BOOL; h : H;", "h.r := x; h(); q := x;", "a reference"),
        (_REFERS, "x : BOOL; h : H := (r := x);", "h(); q := x;", "a reference"),
        ("", "x : BOOL; r : REFERENCE TO BOOL := x;", "r := TRUE; q := x;", "a reference"),
        ("", "r : REFERENCE TO BOOL := x[1]; x : ARRAY [0..2] OF BOOL;", "r := TRUE; q := x[1];",
         "a reference"),
        ("", "x : ARRAY [0..2] OF BOOL; r : REFERENCE TO ARRAY [0..2] OF BOOL := x;",
         "r[1] := TRUE; q := x[1];", "a reference"),
        (_PAIR, "x : Pair; r : REFERENCE TO Pair := x;", "r.y := TRUE; q := x.y;", "a reference"),
        (_BLOCK, "f : F; r : REFERENCE TO F := f;", "r(i := TRUE); q := f.o;", "may change 'f'"),
        (_BLOCK, "f : F; x : BOOL; r : REFERENCE TO BOOL := x;", "f(i := TRUE, o => r); q := x;",
         "a reference"),
        (_BOTH, "f : F; x : BOOL; r : REFERENCE TO BOOL := x;", "f(io := r, i := TRUE); q := x;",
         "a reference"),
        ("", "x : BOOL; p : REF_TO BOOL := REF(x);", "p^ := TRUE; q := x;", "a pointer"),
        ("", "x : ARRAY [0..2] OF BOOL; p : POINTER TO BOOL;",
         "p := ADR(x); p[1] := TRUE; q := x[1];", "a pointer"),
        (_TWO, "x : Two; p : POINTER TO BOOL;",
         "p := ADR(x.x); p := p + 1; p^ := TRUE; q := x.y;", "a pointer"),
        ("VAR_GLOBAL x : BOOL; p : POINTER TO BOOL := ADR(x); END_VAR\n", "y : BOOL;",
         "p^ := TRUE; q := x;", "a pointer"),
        ("", "s : STRING; x : ARRAY [0..2] OF BOOL;", "x[LEN(s)] := TRUE; q := x[0];", "LEN"),
        (_BLOCK, "s : STRING; f : ARRAY [0..2] OF F;", "f[LEN(s)](i := TRUE); q := f[0].o;",
         "LEN"),
        (_FACE, "f, g : F; i : I;", "i := f; IF a THEN i := g; END_IF; i.Do(); q := f.o;",
         "call it by the instance's name"),
        (_FACE, "f, g : F; i : I;", "i := f; IF a THEN i := g; END_IF; i.Pr := TRUE; q := f.o;",
         "call it by the instance's name"),
    ],
)  # fmt: skip
def test_what_something_unknown_may_write_is_unknown(
    before: str, variables: str, body: str, says: str
) -> None:
    with pytest.raises(InputError) as refused:
        load_program(_text(before, variables, body), "p.st")
    assert says in str(refused.value)


# Here q does not depend on what is unknown; what is called beside it is done all the same.
@pytest.mark.parametrize(
    ("before", "variables", "body"),
    [
        (_BOTH, "f : F; x : BOOL; p : POINTER TO BOOL;",
         "p := ADR(x); f(io := p^, i := TRUE); q := f.o;"),
        (_GLOBAL, "x, r : BOOL; p : POINTER TO BOOL;", "p := ADR(x); r := G(io := p^); q := gg;"),
        (_BLOCK, "f : F; x, y : BOOL; p : POINTER TO BOOL;",
         "p := ADR(y); f(i := TRUE, o => p^, o2 => x); q := x;"),
        (_SETS, "s : STRING; x, k : BOOL;", "x := s = 'a' AND G(k); q := k;"),
        (_NAMES, "x : INT; k : BOOL;", "x := LEN(T(k)); q := k;"),
        ("", "x, y : BOOL; p : POINTER TO BOOL;", "p := ADR(x); x := TRUE; y := p^; q := x;"),
    ],
)  # fmt: skip
def test_what_is_called_beside_something_unknown_is_done(
    before: str, variables: str, body: str
) -> None:
    program = load_program(_text(before, variables, body), "p.st")
    assert Controller(program, Settings()).scan({"a": 0}).outputs["q"] == 1


# Each sets q or not, by what a text or a date is.
@pytest.mark.parametrize(
    ("before", "variables", "body"),
    [
        (_BLOCK, "s : STRING; f : F;", "f(EN := s = '', i := NOT f.i); q := f.o;"),
        (_BLOCK, "s : STRING; f : F; x : BOOL;", "f(EN := s = '', i := a, ENO => x); q := x;"),
        ("", "s : STRING; k : BOOL;",
         "k := FALSE; WHILE s = '' AND NOT k DO k := TRUE; END_WHILE; q := k;"),
        ("", "s : STRING;",
         "IF s = 'ON' THEN q := TRUE; ELSIF LEN(s) < 2 THEN q := TRUE; ELSE q := FALSE; END_IF"),
        ("", "t : TOD;", "q := t > TOD#06:00:00 AND t < TOD#18:00:00;"),
    ],
)  # fmt: skip
def test_what_compares_texts_has_either_answer_where_nothing_else_would_be_left(
    before: str, variables: str, body: str
) -> None:
    program = load_program(_text(before, variables, body), "p.st")
    answers = [one.input for one in program.any_values]
    assert answers
    assert all("what is asked here depends on" in one.says for one in program.any_values)
    seen = set()
    ours = Controller(program, Settings())
    for given in (0, 1, 0, 1, 1, 0, 0):
        seen.add(ours.scan({"a": 1, **dict.fromkeys(answers, given)}).outputs["q"])
    assert seen == {0, 1}


def test_a_text_is_passed_over_where_it_decides_only_what_nobody_names() -> None:
    body = "q := a; r := s = 'x'; IF s = 'y' THEN r := TRUE; END_IF"
    text = _text("", "s : STRING;", body).replace("q : BOOL", "q, r : BOOL")
    assert load_program(text, "p.st").any_values == ()
    kept = load_files([parse_file(text, "p.st")], "m", keeps=["r"]).program
    assert (len(kept.any_values), kept.left_out) == (2, ())


# Where variables lie in memory no text tells, so what a pointer meets behind an array is assumed.
@pytest.mark.parametrize(
    ("variables", "body", "says"),
    [
        ("x : ARRAY [0..2] OF BOOL; p : POINTER TO BOOL;", "p := ADR(x[1]) + 7; p^ := TRUE;",
         "by way of a pointer lies within the variables whose addresses are taken: 'x'"),
        ("p : POINTER TO BOOL;", "p := 16#4711; p^ := TRUE;",
         "by way of a pointer lies within no variable of this program, which takes the address "
         "of none"),
        ("z : DINT; b, c : BOOL;", "z := MEMCPY(ADR(b), ADR(c), 2);",
         "the variables whose addresses are taken: 'b', 'c'"),
        (f"{', '.join(f'v{n}' for n in range(8))} : BOOL; p : POINTER TO BOOL;",
         " ".join(f"p := ADR(v{n});" for n in range(8)) + " p^ := TRUE;",
         "'v0', 'v1', 'v2', 'v3', 'v4', 'v5', 2 more"),
    ],
)  # fmt: skip
def test_a_program_tells_what_its_pointers_are_assumed_to_stay_within(
    variables: str, body: str, says: str
) -> None:
    loaded = load_project({"p.st": _text("", variables, f"{body} q := a;")})
    assert [note.says for note in loaded.notes if says in note.says]


def test_a_program_without_pointers_assumes_nothing_of_them() -> None:
    loaded = load_project({"p.st": _text("", "x : BOOL;", "x := a; q := x;")})
    assert not [note for note in loaded.notes if "assumed" in note.says]
