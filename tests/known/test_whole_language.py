"""The whole of Structured Text, executed as written, against values worked out by hand.

Where nothing else is said, the source is IEC 61131-3, from memory.
"""

from __future__ import annotations

import pytest

from interlock.base.errors import InputError
from interlock.st.direct.controller import DirectController
from interlock.st.layout import Settings, Timers
from interlock.st.parser import parse_file

_COUNTED = Settings(Timers.COUNTED, scan_ms=100)


def _controller(text: str, settings: Settings = _COUNTED, root: str = "main") -> DirectController:
    return DirectController([parse_file(text, "known.st")], root, settings)


def program_of(body: str, declared: str = "", before: str = "", after: str = "") -> str:
    return (
        f"{before}\nPROGRAM main VAR_INPUT a, b : BOOL; END_VAR\n"
        f"VAR_OUTPUT q : BOOL; n : INT; END_VAR VAR {declared} END_VAR\n"
        f"{body}\n{after}\nEND_PROGRAM"
    )


def run(text: str, a: str, b: str = "", settings: Settings = _COUNTED) -> tuple[str, list[float]]:
    """Outputs q and n of every scan."""
    controller = _controller(text, settings)
    q, n = "", []
    for k in range(len(a)):
        inputs = {"a": int(a[k]), "b": int(b[k]) if b else 0}
        outputs = controller.scan(inputs).outputs
        q, n = q + str(outputs["q"]), [*n, outputs["n"]]
    return q, n


def _value(body: str, declared: str = "", before: str = "") -> float:
    """What n is after one scan."""
    return run(program_of(body, declared, before), "0")[1][0]


# Standard blocks


@pytest.mark.parametrize(
    ("call", "a", "b", "expected"),
    [
        ("x : SR; x(S1 := a, R := b); q := x.Q1;", "0110010", "0010110", "0111011"),
        ("x : RS; x(S := a, R1 := b); q := x.Q1;", "0110010", "0010110", "0100000"),
        ("x : R_TRIG; x(CLK := a); q := x.Q;", "0011010", "", "0010010"),
        ("x : F_TRIG; x(CLK := a); q := x.Q;", "0011010", "", "1000101"),
        ("x : TON; x(IN := a, PT := T#300ms); q := x.Q;", "0111110", "", "0000110"),
        ("x : TOF; x(IN := a, PT := T#300ms); q := x.Q;", "0111110", "", "0111111"),
        ("x : TP; x(IN := a, PT := T#300ms); q := x.Q;", "0111110", "", "0111000"),
        ("x : TON; x(IN := a, PT := T#300ms); q := x.Q;", "01000000", "", "00000000"),
        ("x : TOF; x(IN := a, PT := T#300ms); q := x.Q;", "01000000", "", "01111000"),
        ("x : TP; x(IN := a, PT := T#300ms); q := x.Q;", "01000000", "", "01110000"),
        ("x : CTU; x(CU := a, R := b, PV := 2); q := x.Q; n := x.CV;", *("0101101", "0000010"),
         "0001100"),
    ],
)  # fmt: skip
def test_blocks_follow_their_bodies_and_timing_diagrams(
    call: str, a: str, b: str, expected: str
) -> None:
    # The standard's block bodies and timing diagrams, worked out call by call at k·100 ms.
    declared, _, body = call.partition("; ")
    assert run(program_of(body, declared + ";"), a, b)[0] == expected


def test_f_trig_of_the_first_edition_hides_an_edge_on_the_first_call() -> None:
    text = program_of("x(CLK := a); q := x.Q;", "x : F_TRIG;")
    assert run(text, "0011010", settings=Settings(edges=1))[0] == "0000101"


def test_ctu_counts_past_its_preset_value_and_reset_wins() -> None:
    # PV 2: (Q, CV) 00 01 01 12 12 00 01
    text = program_of("x(CU := a, R := b, PV := 2); n := x.CV;", "x : CTU;")
    assert run(text, "0101101", "0000010")[1] == [0, 1, 1, 2, 2, 0, 1]


def test_ctd_counts_down_from_what_it_was_loaded_with() -> None:
    text = program_of("x(CD := a, LD := b, PV := 2); n := x.CV; q := x.Q;", "x : CTD;")
    # Q := CV <= 0, and a load wins over an edge.
    assert run(text, "0010101", "0100000") == ("1000111", [0, 2, 1, 1, 0, 0, -1])


def test_both_edges_of_ctud_in_one_call_change_nothing() -> None:
    text = program_of("x(CU := a, CD := b, PV := 1); n := x.CV; q := x.QU;", "x : CTUD;")
    assert run(text, "0101010", "0001001") == ("0111111", [0, 1, 1, 1, 1, 2, 1])


def test_a_timers_inputs_persist_and_may_be_left_out() -> None:
    text = program_of(
        "x.IN := a; x.PT := T#200ms; x(); q := x.Q; n := TIME_TO_INT(x.ET);", "x : TON;"
    )
    assert run(text, "111101") == ("001100", [0, 100, 200, 200, 0, 0])


def test_a_preset_time_may_change_while_the_timer_runs() -> None:
    text = program_of(
        "IF b THEN pt := T#200ms; ELSE pt := T#500ms; END_IF; x(IN := a, PT := pt); q := x.Q;",
        "x : TON; pt : TIME;",
    )
    assert run(text, "1111110", "0001100")[0] == "0001110"


# Loops and leaving


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("FOR i := 1 TO 4 DO n := n + i; END_FOR;", 10),
        ("FOR i := 1 TO 4 DO ; END_FOR; n := i;", 5),
        ("FOR i := 9 TO 2 BY -3 DO n := n * 10 + i; END_FOR; n := n + i;", 963),
        ("FOR i := 3 TO 1 DO n := 7; END_FOR; n := n + i;", 3),
        ("m := 3; FOR i := 1 TO m DO m := 9; n := n + 1; END_FOR;", 3),
        ("FOR i := 1 TO 9 DO IF i = 4 THEN EXIT; END_IF; n := n + i; END_FOR;", 6),
        ("FOR i := 1 TO 4 DO IF i = 2 THEN CONTINUE; END_IF; n := n + i; END_FOR;", 8),
        ("WHILE n < 5 DO n := n + 2; END_WHILE;", 6),
        ("REPEAT n := n + 2; UNTIL n > 0 END_REPEAT;", 2),
        ("n := 1; RETURN; n := 2;", 1),
        ("FOR i := 1 TO 2 DO FOR m := 1 TO 9 DO n := n + 1; EXIT; END_FOR; END_FOR;", 2),
    ],
)
def test_loops_and_what_leaves_them(body: str, expected: int) -> None:
    assert _value(body, "i, m : INT;") == expected


def test_a_loop_without_an_end_is_a_flaw_and_is_left() -> None:
    controller = _controller(program_of("WHILE TRUE DO n := 1; END_WHILE; q := TRUE;"))
    found = controller.scan({"a": 0, "b": 0})
    assert [d.says for d in found.defects] == ["the loop runs more than 32 times"]
    assert found.outputs == {"q": 1, "n": 1}


# Values


@pytest.mark.parametrize(
    ("expression", "expected"),
    [
        ("-7 / 2", -3),
        ("-7 MOD 2", -1),
        ("7 MOD 0", 0),
        ("2 ** 10", 1024),
        ("BYTE_TO_INT(NOT BYTE#16#0F)", 240),
        ("WORD_TO_INT(SHL(WORD#16#8001, 1) OR 16#10)", 18),
        ("BYTE_TO_INT(ROR(BYTE#1, 1))", 128),
        ("SINT_TO_INT(INT_TO_SINT(200))", -56),
        ("WORD_TO_INT(16#FFFF)", -1),
        ("REAL_TO_INT(2.5) + REAL_TO_INT(3.5)", 6),
        ("TRUNC(-2.9)", -2),
        ("MUX(2, 10, 20, 30)", 30),
        ("SEL(G := TRUE, IN1 := 5, IN0 := 4)", 5),
        ("ADD(1, 2, 3) + MAX(4, 9, 5)", 15),
        ("LIMIT(MN := 0, IN := -9, MX := 5)", 0),
        ("TIME_TO_DINT(T#1s500ms * 2 - T#1s)", 2000),
        ("Colour#GREEN + 1", 8),
        ("ABS(-3) + BOOL_TO_INT(3 > 2)", 4),
    ],
)
def test_expressions(expression: str, expected: int) -> None:
    types = "TYPE Colour : (RED := 3, GREEN := 7); END_TYPE"
    assert _value(f"n := {expression};", before=types) == expected


def test_a_sum_wraps_in_the_type_of_its_operands_before_it_is_assigned() -> None:
    controller = _controller(program_of("wide := x + 1; n := DINT_TO_INT(wide);",
                                      "wide : DINT; x : INT := 32767;"))  # fmt: skip
    found = controller.scan({"a": 0, "b": 0})
    assert found.outputs["n"] == -32768
    assert [str(d) for d in found.defects] == [
        "known.st:4:9: the result does not fit INT (-32768..32767)"
    ]


def test_bits_of_a_word_are_read_and_written() -> None:
    assert _value("w.15 := TRUE; w.%X0 := w.15; n := WORD_TO_INT(w);", "w : WORD;") == -32767


def test_an_index_outside_reads_the_nearest_and_writes_nothing() -> None:
    text = program_of(
        "x[5] := 9; n := x[i] * 10 + x[1];", "x : ARRAY [1..3] OF INT := [1, 2, 3]; i : INT := 7;"
    )
    text = text.replace("x[5]", "x[i]")
    controller = _controller(text)
    found = controller.scan({"a": 0, "b": 0})
    assert found.outputs["n"] == 31
    assert {d.says for d in found.defects} == {"the index is outside 1..3"}


def test_initial_values_come_from_variables_types_and_members() -> None:
    types = """TYPE Small : INT (2..9); Six : INT := 6;
    Pair : STRUCT x : INT := 4; y : ARRAY [0..2] OF Six := [2(1)]; END_STRUCT; END_TYPE"""
    declared = "p : Pair := (x := 5); s : Small; r : ARRAY [0..1, 0..1] OF INT := [1, 2, 3, 4];"
    body = "n := p.x * 1000 + p.y[1] * 100 + p.y[2] * 10 + s + r[1, 0];"
    assert _value(body, declared, types) == 5000 + 100 + 60 + 2 + 3


# Units

_COUNTER = """FUNCTION_BLOCK Counter
VAR_INPUT step : INT := 1; END_VAR VAR_OUTPUT total : INT; END_VAR VAR_TEMP t : INT := 10; END_VAR
total := total + step + t - 10; t := 99;
METHOD Twice : INT VAR_INPUT v : INT; END_VAR VAR k : INT; END_VAR
k := k + v; Twice := k * 2; END_METHOD
METHOD Calls : INT VAR_STAT c : INT; END_VAR c := c + 1; Calls := c; END_METHOD
METHOD Own : INT VAR_INST c : INT; END_VAR c := c + 1; Own := c; END_METHOD
ACTION Clear: total := 0; END_ACTION
PROPERTY Next : INT GET Next := total + 1; END_GET SET total := Next - 1; END_SET END_PROPERTY
END_FUNCTION_BLOCK
FUNCTION_BLOCK Double EXTENDS Counter
SUPER^(); total := total + step;
METHOD Twice : INT VAR_INPUT v : INT; END_VAR Twice := SUPER^.Twice(v) + 1; END_METHOD
METHOD Both : INT Both := THIS^.Twice(1) + total; END_METHOD
END_FUNCTION_BLOCK
"""


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("c(step := 5); c(); n := c.total;", 10),
        ("c(5); n := c.total;", 5),
        ("c.step := 3; c(); n := c.total;", 3),
        ("d(step := 5); n := d.total;", 10),
        ("n := c.Twice(3) + c.Twice(v := 3);", 12),
        ("n := d.Twice(3);", 7),
        ("d(); n := d.Both();", 5),
        # VAR_STAT is one for all instances, VAR_INST one for each.
        ("n := c.Calls() + c.Calls() * 10 + d.Calls() * 100;", 321),
        ("n := c.Own() + c.Own() * 10 + d.Own() * 100;", 121),
        ("c(); c.Clear(); n := c.total;", 0),
        ("c.Next := 5; n := c.Next * 10 + c.total;", 54),
        ("FOR i := 0 TO 1 DO l[i](step := i + 1); END_FOR; n := l[0].total * 10 + l[1].total;", 12),
        ("c(EN := FALSE, step := 9, ENO => q); n := c.total + c.step;", 1),
    ],
)
def test_instances_methods_actions_and_properties(body: str, expected: int) -> None:
    declared = "c : Counter; d : Double; l : ARRAY [0..1] OF Counter; i : INT;"
    assert _value(body, declared, _COUNTER) == expected


_FUNCTIONS = """FUNCTION Sum : INT VAR_INPUT x, y : INT := 5; END_VAR VAR_OUTPUT big : BOOL; END_VAR
VAR k : INT; END_VAR
k := k + x; IF x > 100 THEN RETURN; END_IF; Sum := k + y; big := Sum > 9; END_FUNCTION
FUNCTION Swap : BOOL VAR_IN_OUT x, y : INT; END_VAR VAR t : INT; END_VAR
t := x; x := y; y := t; Swap := TRUE; END_FUNCTION
"""


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("n := Sum(1, 2);", 3),
        ("n := Sum(1) + Sum(y := 1, x := 2);", 9),
        ("n := Sum(101, 2);", 0),
        ("n := Sum(8, 2, big => q) + BOOL_TO_INT(q);", 11),
        ("i := 1; m := 2; Swap(i, m); n := i * 10 + m;", 21),
        ("x[1] := 7; m := 2; q := Swap(x := x[1], y := m); n := x[1] * 10 + m;", 27),
        ("n := Sum(EN := FALSE, x := 4, ENO => q) + BOOL_TO_INT(q);", 0),
    ],
)
def test_functions_start_anew_at_each_call(body: str, expected: int) -> None:
    declared = "i, m : INT; x : ARRAY [0..1] OF INT;"
    assert _value(body, declared, _FUNCTIONS) == expected


def test_an_interface_stands_for_the_instance_that_it_was_given() -> None:
    before = """INTERFACE Valve METHOD Open : INT END_METHOD END_INTERFACE
    FUNCTION_BLOCK A IMPLEMENTS Valve METHOD Open : INT Open := 1; END_METHOD END_FUNCTION_BLOCK
    FUNCTION_BLOCK B IMPLEMENTS Valve METHOD Open : INT Open := 2; END_METHOD END_FUNCTION_BLOCK
    """
    declared = "one : A; two : B; v : Valve;"
    assert (
        _value("v := two; n := v.Open(); v := one; n := n * 10 + v.Open();", declared, before) == 21
    )


def test_globals_are_shared_and_their_list_may_be_named() -> None:
    globals_ = parse_file(
        "VAR_GLOBAL g : INT := 4; END_VAR VAR_GLOBAL CONSTANT K : INT := 7; END_VAR", "GVL.st"
    )
    block = "FUNCTION_BLOCK Bump VAR_EXTERNAL g : INT; END_VAR g := g + 1; END_FUNCTION_BLOCK"
    program = parse_file(
        program_of("bump(); n := GVL.g * 10 + K;", "bump : Bump;", block), "main.st"
    )
    controller = DirectController([globals_, program], "main", _COUNTED)
    assert controller.scan({"a": 0, "b": 0}).outputs["n"] == 57
    assert controller.values()["plc.g"] == 5


def test_an_input_with_an_edge_is_true_for_one_call() -> None:
    block = """FUNCTION_BLOCK Edge VAR_INPUT c : BOOL R_EDGE; END_VAR VAR_OUTPUT k : INT; END_VAR
    IF c THEN k := k + 1; END_IF; END_FUNCTION_BLOCK"""
    text = program_of("e(c := a); n := e.k;", "e : Edge;", block)
    assert run(text, "0110011")[1] == [0, 1, 1, 1, 1, 2, 2]


# The border


def test_retained_variables_keep_their_values_over_a_restart() -> None:
    text = """PROGRAM main VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR
    VAR RETAIN kept : INT; END_VAR VAR lost : INT := 3; END_VAR
    kept := kept + 1; lost := lost + 1; END_PROGRAM"""
    controller = _controller(text)
    controller.scan({"a": 0})
    controller.restart()
    assert controller.memory() == {"plc.kept": 1, "plc.lost": 3}


def test_a_scan_tells_what_was_executed_and_what_decided_an_output() -> None:
    controller = _controller(program_of("q := a;\nIF b THEN\nn := 1;\nn := 2;\nEND_IF;"))
    found = controller.scan({"a": 1, "b": 1})
    assert [place.line for place in found.executed] == [4, 5, 6, 7]
    assert [(d.name, d.place.line, d.old, d.new) for d in found.decided] == [
        ("q", 4, 0, 1),
        ("n", 7, 0, 2),
    ]


def test_a_free_timer_elapses_when_it_is_told_to() -> None:
    controller = _controller(
        program_of("t(IN := a, PT := T#1s); q := t.Q;", "t : TON;"), Settings()
    )
    assert controller.scan({"a": 1, "b": 0}).outputs["q"] == 0
    assert controller.running_timers() == ["t"]
    controller.elapse("t")
    assert controller.running_timers() == []
    assert controller.scan({"a": 1, "b": 0}).outputs["q"] == 1
    with pytest.raises(ValueError, match="not running"):
        controller.elapse("t")


def test_memory_is_loaded_and_remembered_by_the_layouts_names() -> None:
    controller = _controller(program_of("c(CU := a, R := b, PV := 2); n := c.CV;", "c : CTU;"))
    before = controller.exact_values()
    controller.scan({"a": 1, "b": 0})
    assert controller.read("c.cv") == 1
    controller.load({"plc.c.CV": 5})
    assert controller.read("c.cv") == 5
    controller.remember(before)
    assert controller.read("c.cv") == 0
    with pytest.raises(KeyError):
        controller.load({"plc.nothing": 1})


@pytest.mark.parametrize(
    ("body", "declared", "says"),
    [
        ("nn := 1;", "", "'nn' is not declared; did you mean 'n'?"),
        ("IF FALSE THEN q := n; END_IF;", "", "'q' is BOOL and cannot be given INT"),
        ("n := Sun(1);", "", "'Sun' is nothing that can be called"),
        ("t(IM := a);", "t : TON;", "'t' has no member 'IM'; known: IN, PT, Q"),
        ("q := t.ET > T#0s;", "t : TON;", "ET cannot be read from a free timer"),
        ("n := x[1, 2];", "x : ARRAY [0..3] OF INT;", "the array has 1 indexes"),
        (";", "x : Mortor;", "the type 'Mortor' is not known"),
        ("K := 2;", "END_VAR VAR CONSTANT K : INT := 1;", "constants cannot be assigned"),
    ],
)
def test_what_cannot_be_executed_is_told_at_load(body: str, declared: str, says: str) -> None:
    with pytest.raises(InputError) as found:
        _controller(program_of(body, declared), Settings())
    assert says in str(found.value)
    assert len(found.value.mistakes) == 1


def test_bits_that_an_assignment_loses_are_a_flaw_and_those_of_a_conversion_are_none() -> None:
    declared = "w : WORD := 16#1234; x, y : BYTE;"
    controller = _controller(program_of("x := w;\ny := WORD_TO_BYTE(w);\nn := x + y;", declared))
    found = controller.scan({"a": 0, "b": 0})
    assert found.outputs["n"] == 2 * 0x34
    assert [str(d) for d in found.defects] == [
        "known.st:4:1: 'x' is assigned a value outside 0..255"
    ]


@pytest.mark.parametrize("timers", list(Timers))
def test_every_name_that_is_told_can_be_read(timers: Timers) -> None:
    blocks = "t : TON; c : CTU; e : F_TRIG; s : RS;"
    controller = _controller(program_of("t(IN := a, PT := T#1s);", blocks), Settings(timers))
    values = {name: controller.read(name) for name in controller.names()}
    assert {"a", "q", "t.q", "c.cv", "e.q", "s.q1"} <= values.keys()


def test_what_an_action_of_a_chart_remembers_is_no_name() -> None:
    chart = (
        "INITIAL_STEP Wait: END_STEP STEP Run: go(N); late(D, T#1s); END_STEP\n"
        "TRANSITION FROM Wait TO Run := a; END_TRANSITION "
        "TRANSITION FROM Run TO Wait := b; END_TRANSITION\n"
        "ACTION go: q := Run.X; END_ACTION ACTION late: n := 1; END_ACTION"
    )
    controller = _controller(program_of("", after=chart))
    values = {name: controller.read(name) for name in controller.names()}
    assert {"wait.x", "run.x", "q", "n"} <= values.keys()
