"""Programs with answers worked out by hand, executed as written, as scalars and lowered.

The answers follow from IEC 61131-3 where it says so (precedence, division, timers, edges: see
"Published check values" in the tests of blocks), from IEEE 754, and for the rest from the meaning
that DEVELOPERS.md states.
"""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from interlock.base.errors import InputError
from interlock.kernel.evaluate import evaluate
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings, Timers
from interlock.st.load import load_project
from interlock.st.lower import lower_program

_O = "VAR_OUTPUT q, p : BOOL; n, i : DINT; END_VAR\n"
_NEXT = "FUNCTION Next : INT VAR_IN_OUT v : INT; END_VAR v := v + 1; Next := v; END_FUNCTION\n"
_BOX = (
    "FUNCTION_BLOCK Box VAR y : INT; END_VAR VAR_OUTPUT z : INT; END_VAR\n"
    "PROPERTY V : INT GET V := y; END_GET SET y := V; END_SET END_PROPERTY\n"
    "METHOD Twice : INT VAR_INPUT k : INT; END_VAR Twice := 2 * k; END_METHOD\n"
    "END_FUNCTION_BLOCK\n"
)
_COUNTED = Settings(Timers.COUNTED, 100)

Scans = list[Mapping[str, int]]


def played(text: str, scans: Scans) -> list[list[dict[str, float]]]:
    """The variables behind each scan: as written, as scalars, and of the lowered system."""
    loaded = load_project({"hand.st": text})
    names = [v.name for v in loaded.program.inputs]
    direct = DirectController(loaded.files, loaded.root, _COUNTED)
    scalars = Controller(loaded.program, _COUNTED)
    lowered = lower_program(loaded.program, _COUNTED)
    memory = {v.name: v.initial for v in lowered.variables}
    found: list[list[dict[str, float]]] = []
    for given in scans:
        inputs = {**dict.fromkeys(names, 0), **given}
        outputs = direct.scan(inputs).outputs
        written = dict(scalars.scan(inputs).outputs)
        env = memory | {f"input.{name}": value for name, value in inputs.items()}
        memory = memory | {name: evaluate(e, env) for name, e in lowered.updates.items()}
        found.append([dict(outputs), written, {n: memory[n] for n in written}])
    return found


@pytest.mark.parametrize(
    ("body", "answer"),
    [
        # No bit of a literal is lost where what it meets is narrower.
        ("VAR k : BYTE := 16#FF; END_VAR n := WORD_TO_DINT(k XOR 16#1FF);", {"n": 0x100}),
        ("VAR k : BYTE := 16#81; END_VAR n := WORD_TO_DINT(k OR 16#F00);", {"n": 0xF81}),
        ("VAR k : WORD := 16#FF; END_VAR q := (k OR 16#10000) = 16#100FF;", {"q": 1}),
        ("VAR k : BYTE := 16#FF; END_VAR q := (k AND 16#100) = 0;", {"q": 1}),
        ("VAR k : BYTE := 16#FF; END_VAR q := (k AND -1) = 16#FF;", {"q": 1}),
        ("VAR k : USINT := 10; END_VAR n := k + 300; q := k < 300; p := k > -1;",
         {"n": 310, "q": 1, "p": 1}),
        ("VAR k : SINT := -128; END_VAR n := ABS(k) + 0; i := k MOD SINT#-1;", {"n": -128, "i": 0}),
        ("VAR a : UDINT := 4294967295; b : DINT := -1; END_VAR q := a = b; p := a > b;",
         {"q": 0, "p": 1}),
        ("VAR t : TIME := T#1s; END_VAR t := t - T#1500ms; q := t < T#0s; n := TIME_TO_DINT(t);",
         {"q": 1, "n": -500}),
        ("VAR a : ARRAY [0..2] OF INT := [2, 0, 1]; k : INT; END_VAR "
         "k := a[a[k]]; i := k; a[a[0]] := 5; n := a[2];", {"i": 1, "n": 5}),
        ("VAR k : INT; END_VAR FOR k := 1 TO 5 DO CASE k OF 3: EXIT; ELSE n := n + k; END_CASE "
         "END_FOR i := k;", {"n": 3, "i": 3}),
        ("VAR x : REAL := 0.1; y : LREAL := 0.1; END_VAR q := x * 3.0 = 0.3; p := y * 3.0 = 0.3;",
         {"q": 1, "p": 0}),
    ],
)  # fmt: skip
def test_values_are_those_worked_out_by_hand(body: str, answer: dict[str, int]) -> None:
    (ways,) = played(_O + body, [{}])
    for values in ways:
        assert {name: values[name] for name in answer} == answer


@pytest.mark.parametrize(
    ("before", "body", "answer"),
    [
        ("", "VAR a : INT; END_VAR n := Next(a) * 10 + Next(a); i := a;", {"n": 12, "i": 2}),
        ("", "VAR a : INT; END_VAR q := FALSE AND Next(a) > 0; n := a;", {"q": 0, "n": 1}),
        # What an index calls is called once, also by the interpreter of the text.
        ("TYPE E : (X, Y, Z); END_TYPE ",
         "VAR a : INT := -1; t : ARRAY [0..3] OF E; END_VAR "
         "t[Next(a)] := Z; q := t[0] = Z; i := a;",
         {"q": 1, "i": 0}),
        ("", "VAR a : INT := -1; t : ARRAY [0..3] OF INT := [0, 5]; END_VAR "
         "q := t[Next(a)] = 0; i := a;", {"q": 1, "i": 0}),
        (_BOX, "VAR a : INT := -1; t : ARRAY [0..3] OF Box; END_VAR n := t[Next(a)].z; i := a;",
         {"n": 0, "i": 0}),
        (_BOX, "VAR a : INT := -1; t : ARRAY [0..3] OF Box; END_VAR "
         "t[Next(a)].V := 4; n := t[0].V; i := a;", {"n": 4, "i": 0}),
        (_BOX + "TYPE Pair : STRUCT x : INT; END_STRUCT END_TYPE ",
         "VAR a : INT := -1; t : ARRAY [0..3] OF Pair; END_VAR "
         "t[Next(a)].x := 4; n := t[0].x; i := a;", {"n": 4, "i": 0}),
        (_BOX, "VAR a : INT := -1; t : ARRAY [0..3] OF Box; END_VAR "
         "n := t[Next(a)].Twice(3); i := a;", {"n": 6, "i": 0}),
        (_BOX, "VAR b : Box; END_VAR b.V := 4; q := b.V <> 0; p := 0 = b.V;", {"q": 1, "p": 0}),
        ("FUNCTION_BLOCK Box VAR y : INT; END_VAR PROPERTY V : INT GET V := y; END_GET "
         "SET y := V + 1; END_SET END_PROPERTY END_FUNCTION_BLOCK ",
         "VAR f : Box; END_VAR f.V := 3; n := f.V + 1; q := f.V > 3 AND NOT (f.V <> 4); "
         "f.V := f.V; i := f.V;", {"n": 5, "q": 1, "i": 5}),
    ],
)  # fmt: skip
def test_what_is_called_is_called_once_and_in_order(
    before: str, body: str, answer: dict[str, int]
) -> None:
    (ways,) = played(f"{before}{_NEXT}PROGRAM m {_O}{body} END_PROGRAM", [{}])
    for values in ways:
        assert {name: values[name] for name in answer} == answer


@pytest.mark.parametrize(
    "body", ["t[Next(a)] := 7 + Next(a);", "t[a] := Next(a);", "n := a * 100 + Next(a);"]
)
def test_what_a_call_changes_is_not_read_elsewhere_in_its_statement(body: str) -> None:
    text = f"{_NEXT}PROGRAM m {_O}VAR a : INT; t : ARRAY [0..3] OF INT; END_VAR\n{body}"
    with pytest.raises(InputError, match=r"hand\.st:4:\d+: this call changes 'a', which the same"):
        load_project({"hand.st": f"{text} END_PROGRAM"})


_TON = "VAR_INPUT a, c : BOOL; END_VAR VAR t : TON; END_VAR\n"


@pytest.mark.parametrize(
    ("body", "scans", "answers"),
    [
        # A preset time that grows while the time runs counts from the start of the time.
        (_TON + "t(IN := a, PT := SEL(c, T#200ms, T#400ms)); q := t.Q;",
         [{"a": 1}, {"a": 1}, {"a": 1, "c": 1}, {"a": 1, "c": 1}, {"a": 1, "c": 1}],
         [0, 0, 0, 0, 1]),
        # The second call resets what the first one started.
        (_TON + "t(IN := a, PT := T#100ms); q := t.Q; t(IN := FALSE);",
         [{"a": 1}, {"a": 1}, {"a": 1}], [0, 0, 0]),
        (_TON + "t(IN := NOT t.Q, PT := T#200ms); q := t.Q;", [{}] * 7, [0, 0, 1, 0, 0, 0, 1]),
        # What is not called keeps its outputs, and an edge meanwhile is none.
        ("VAR_INPUT a, c : BOOL; END_VAR VAR r : R_TRIG; END_VAR IF c THEN r(CLK := a); END_IF "
         "q := r.Q;", [{"a": 1, "c": 1}, {"a": 1}, {}, {"a": 1, "c": 1}], [1, 1, 1, 0]),
        ("VAR_INPUT k : USINT; a : BOOL; END_VAR VAR c : CTU; END_VAR "
         "c(CU := a, PV := MIN(k, 5)); q := c.Q;",
         [{"a": 1, "k": 5}, {"k": 1}, {"a": 1, "k": 2}, {"k": 5}, {"a": 1, "k": 3}],
         [0, 1, 1, 0, 1]),
    ],
)  # fmt: skip
def test_blocks_behave_over_several_scans(body: str, scans: Scans, answers: list[int]) -> None:
    for ways, answer in zip(played(_O + body, scans), answers, strict=True):
        assert [values["q"] for values in ways] == [answer] * 3
