"""Facts of IEC 61131-3, in the interpreter and in the lowering.

Vectors are the standard's block bodies and timing diagrams, worked out call by call; a timer's
call k happens at k·100 ms. Where nothing else is said, the source is IEC 61131-3, from memory.
"""

from __future__ import annotations

import pytest

from interlock.kernel import expr as ex
from interlock.kernel.evaluate import evaluate
from interlock.st.check import check_expression
from interlock.st.evaluate import evaluate_expression
from interlock.st.interpret import Controller
from interlock.st.layout import Settings, Timers
from interlock.st.load import load_program
from interlock.st.lower import lower_expression, lower_program
from interlock.st.parser import parse_expression
from interlock.st.types import BOOL, IntType, Scope

_PROGRAM = """PROGRAM known
VAR_INPUT a, b : BOOL; END_VAR
VAR_OUTPUT q : BOOL; n : INT (0..9); END_VAR
VAR block : {type}; END_VAR
block({arguments});
{rest}
END_PROGRAM
"""
_COUNTED = Settings(Timers.COUNTED, scan_ms=100)


def _run(text: str, settings: Settings, a: str, b: str = "") -> tuple[list[str], list[str]]:
    """Outputs q and n of every scan; interpreter and lowering must give the same."""
    program = load_program(text, "known.st")
    controller, lowered = Controller(program, settings), lower_program(program, settings)
    values = {v.name: v.initial for v in lowered.variables}
    q, n = "", ""
    for k in range(len(a)):
        inputs = {"a": int(a[k]), "b": int(b[k]) if b else 0}
        outputs = controller.scan(inputs).outputs
        env = {**values, **{f"input.{name}": value for name, value in inputs.items()}}
        values |= {name: evaluate(e, env) for name, e in lowered.updates.items()}
        assert values == controller.values()
        q, n = q + str(outputs["q"]), n + str(outputs["n"])
    return [q], [n]


def _output(block: str, arguments: str, settings: Settings, a: str, b: str = "") -> str:
    output = "Q1" if block in ("SR", "RS") else "Q"
    text = _PROGRAM.format(type=block, arguments=arguments, rest=f"q := block.{output};")
    return _run(text, settings, a, b)[0][0]


def test_sr_is_set_dominant() -> None:
    # Q1 := S1 OR (NOT R AND Q1)
    assert _output("SR", "S1 := a, R := b", Settings(), "0110010", "0010110") == "0111011"


def test_rs_is_reset_dominant() -> None:
    # Q1 := NOT R1 AND (S OR Q1)
    assert _output("RS", "S := a, R1 := b", Settings(), "0110010", "0010110") == "0100000"


@pytest.mark.parametrize("edition", [1, 2])
def test_r_trig_gives_one_scan_at_each_rise(edition: int) -> None:
    # Q := CLK AND NOT M; M := CLK
    assert _output("R_TRIG", "CLK := a", Settings(edges=edition), "0011010") == "0010010"


@pytest.mark.parametrize(("edition", "expected"), [(1, "0000101"), (2, "1000101")])
def test_f_trig_on_its_first_call_depends_on_the_edition(edition: int, expected: str) -> None:
    # With CLK FALSE the first call gives TRUE in the 2nd edition and not in the 1st.
    assert _output("F_TRIG", "CLK := a", Settings(edges=edition), "0011010") == expected


@pytest.mark.parametrize("edition", [1, 2])
def test_r_trig_fires_on_its_first_call_with_clk_true(edition: int) -> None:
    # Follows from the body with M initially FALSE: a button held at power-up fires.
    assert _output("R_TRIG", "CLK := a", Settings(edges=edition), "110") == "100"


@pytest.mark.parametrize(
    ("block", "on", "expected"),
    [
        ("TON", "0111110", "0000110"),
        ("TOF", "0111110", "0111111"),
        ("TP", "0111110", "0111000"),
        ("TON", "01000000", "00000000"),
        ("TOF", "01000000", "01111000"),
        ("TP", "01000000", "01110000"),
    ],
)
def test_counted_timers_follow_the_timing_diagrams(block: str, on: str, expected: str) -> None:
    assert _output(block, "IN := a, PT := T#300ms", _COUNTED, on) == expected


def test_a_pulse_is_not_prolonged_and_needs_in_false_before_the_next() -> None:
    # The timing diagram of TP: IN during the pulse has no effect.
    assert _output("TP", "IN := a, PT := T#200ms", _COUNTED, "1011111011") == "1100000011"


def test_elapsed_time_rises_to_the_preset_time_and_stays() -> None:
    rest = "n := SEL(block.ET >= T#250ms, SEL(block.ET >= T#100ms, 0, 1), 2); q := block.Q;"
    text = _PROGRAM.format(type="TON", arguments="IN := a, PT := T#250ms", rest=rest)
    q, n = _run(text, _COUNTED, "0111111")
    assert (q, n) == (["0000111"], ["0011222"])


@pytest.mark.parametrize(
    ("block", "on", "shown"),
    [
        # ET starts anew with IN.
        ("TON", "0110111110", "0010012330"),
        # ET stays at PT after it ran out, until IN comes again.
        ("TOF", "0100000100", "0001233001"),
        # ET counts on without IN while the pulse lasts; after it, it stays at PT while IN does.
        ("TP", "0100001111110", "0012000123330"),
    ],
)
def test_elapsed_time_follows_the_timing_diagrams(block: str, on: str, shown: str) -> None:
    # IEC 61131-3, timing diagrams of the timers (from memory); shown in hundreds of milliseconds.
    steps = "SEL(block.ET >= T#300ms, SEL(block.ET >= T#200ms, SEL(block.ET >= T#100ms, 0, 1), 2)"
    rest = f"n := {steps}, 3);"
    text = _PROGRAM.format(type=block, arguments="IN := a, PT := T#300ms", rest=rest)
    assert _run(text, _COUNTED, on)[1] == [shown]


def test_ctu_counts_rises_and_reset_wins() -> None:
    # PV 2: (Q, CV) 00 01 01 12 12 00 01
    text = _PROGRAM.format(
        type="CTU", arguments="CU := a, R := b, PV := 2", rest="q := block.Q; n := block.CV;"
    )
    q, n = _run(text, Settings(), "0101101", "0000010")
    assert (q, n) == (["0001100"], ["0112201"])


@pytest.mark.parametrize(
    ("rest", "q", "n"),
    [
        # IEC 61131-3 (from memory): CV counts on past PV up to the greatest value of its type.
        ("q := block.Q; n := block.CV;", "0001111", "0112233"),
        ("q := block.CV > 2; n := MIN(block.CV, 2);", "0000011", "0112222"),
        ("q := 2 < block.CV; n := SEL(block.CV = 2, 0, 9);", "0000011", "0009900"),
        ("CASE block.CV OF 1, 3: q := TRUE; ELSE q := FALSE; END_CASE;", "0110011", "0000000"),
        ("n := LIMIT(1, block.CV, 3); q := block.CV <> n;", "1000000", "1112233"),
    ],
)
def test_ctu_counts_on_past_its_preset_value(rest: str, q: str, n: str) -> None:
    text = _PROGRAM.format(type="CTU", arguments="CU := a, R := b, PV := 2", rest=rest)
    assert _run(text, Settings(), "0101010") == ([q], [n])


def test_ctu_stops_at_the_greatest_int() -> None:
    # IEC 61131-3 (from memory): the body counts only while CV is less than PVmax.
    rest = "q := block.CV - 32767 = 0;"
    text = _PROGRAM.format(type="CTU", arguments="CU := a, R := b, PV := 2", rest=rest)
    program = load_program(text, "known.st")
    lowered, controller = lower_program(program, Settings()), Controller(program, Settings())
    values = {v.name: v.initial for v in lowered.variables}
    full = {"plc.block.CV": 32766, "plc.block.Q": 1}
    values |= full
    controller.load(full)
    counts = []
    for pressed in (0, 1, 0, 1):
        env = {**values, "input.a": pressed, "input.b": 0}
        values |= {name: evaluate(e, env) for name, e in lowered.updates.items()}
        controller.scan({"a": pressed, "b": 0})
        assert values == controller.values()
        counts.append((values["q"], values["plc.block.CV"]))
    assert counts == [(0, 32766), (1, 32767), (1, 32767), (1, 32767)]


_ORDERED = """PROGRAM p
VAR_INPUT a, b : BOOL; END_VAR
VAR_OUTPUT q : BOOL; n : INT (0..9); END_VAR
VAR flag : BOOL; r : R_TRIG; END_VAR
{body}
END_PROGRAM
"""
_SCOPE = Scope.of({"a": BOOL, "b": BOOL, "c": BOOL, "m": IntType(-9, 9), "n": IntType(-9, 9)})


def _both(text: str, **values: int) -> int:
    typed = check_expression(parse_expression(text), _SCOPE, None)
    lowered = lower_expression(typed, {name: ex.var(name) for name in _SCOPE.variables})
    result = evaluate(lowered, values)
    assert result == evaluate_expression(typed, values)
    return result


@pytest.mark.parametrize(("m", "n"), [(7, 2), (-7, 2), (7, -2), (-7, -2), (1, 3), (-1, 3)])
def test_division_truncates_and_mod_keeps_the_dividends_sign(m: int, n: int) -> None:
    # −7/2 = −3 and −7 MOD 2 = −1; int(m / n) truncates as the standard demands.
    assert _both("m / n", m=m, n=n) == int(m / n)
    assert _both("m MOD n", m=m, n=n) == m - n * int(m / n)


@pytest.mark.parametrize("m", [-7, 0, 7])
def test_mod_zero_is_zero_and_no_error(m: int) -> None:
    # IEC 61131-3 (from memory): m MOD 0 is 0; only a division by zero is an error.
    assert (_both("m MOD 0", m=m), _both("m MOD n", m=m, n=0), _both("5 MOD 0")) == (0, 0, 0)
    text = """PROGRAM p
    VAR_INPUT a, b : BOOL; END_VAR
    VAR_OUTPUT q : BOOL; n : INT (0..9); END_VAR
    n := 5 MOD SEL(a, 0, 3); q := 5 / SEL(b, 1, 0) = 5;
    END_PROGRAM"""
    assert _run(text, Settings(), "011") == (["111"], ["022"])
    flaws = lower_program(load_program(text, "p.st"), Settings()).flaws
    assert [flaw.says for flaw in flaws] == ["division by zero"]
    found = Controller(load_program(text, "p.st"), Settings()).scan({"a": 0, "b": 0})
    assert not found.defects


@pytest.mark.parametrize(
    ("text", "value"),
    [("+5", 5), ("+m", 4), ("3 - +m", -1), ("-+m", -4), ("+-m", -4), ("INT#+5", 5), ("+INT#5", 5)],
)
def test_a_plus_before_a_number_changes_nothing(text: str, value: int) -> None:
    # IEC 61131-3 (from memory): a signed integer is ['+' | '-'] integer.
    assert _both(text, m=4) == value


def test_the_published_examples_of_division() -> None:
    assert (_both("-7 / 2"), _both("-7 MOD 2")) == (-3, -1)


@pytest.mark.parametrize(
    ("text", "grouped"),
    [
        ("NOT a = b", "(NOT a) = b"),
        ("a OR b XOR c", "a OR (b XOR c)"),
        ("a XOR b AND c", "a XOR (b AND c)"),
        ("a & b OR c", "(a AND b) OR c"),
        ("a AND b = c", "a AND (b = c)"),
        ("a = m < n", "a = (m < n)"),
        ("m + n < m", "(m + n) < m"),
        ("m - n - 1 > 0", "((m - n) - 1) > 0"),
        ("m + n * 2 > 0", "(m + (n * 2)) > 0"),
        ("-m + n > 0", "((-m) + n) > 0"),
        ("m MOD 3 * 2 > 0", "((m MOD 3) * 2) > 0"),
        ("8 / m * n > 1", "((8 / m) * n) > 1"),
        ("8 / m / n > 1", "((8 / m) / n) > 1"),
        ("-m * n > 0", "((-m) * n) > 0"),
        ("+m - -n > 0", "((+m) - (-n)) > 0"),
        ("-ABS(m) + n > 0", "((-(ABS(m))) + n) > 0"),
        ("NOT a AND b", "(NOT a) AND b"),
        ("NOT NOT a XOR b", "(NOT (NOT a)) XOR b"),
        ("a = b = c", "(a = b) = c"),
        ("m < n = a", "(m < n) = a"),
        ("a <> b AND c", "(a <> b) AND c"),
        ("a AND b XOR c", "(a AND b) XOR c"),
        ("a XOR b OR c", "(a XOR b) OR c"),
        ("a OR b AND c", "a OR (b AND c)"),
        ("m - n < n - m", "(m - n) < (n - m)"),
    ],
)
def test_precedence(text: str, grouped: str) -> None:
    # High to low: ( ), call, unary - and NOT, * / MOD, + -, < > <= >=, = <>, AND &, XOR, OR
    assert check_expression(parse_expression(text), _SCOPE) == check_expression(
        parse_expression(grouped), _SCOPE
    )


@pytest.mark.parametrize(
    ("text", "value"),
    [("1_000", 1000), ("16#FF", 255), ("2#1010", 10), ("8#17", 15), ("INT#5", 5), ("INT#16#F", 15)],
)
def test_integer_literals(text: str, value: int) -> None:
    assert _both(text) == value


@pytest.mark.parametrize(
    ("text", "ms"), [("T#5s", 5000), ("time#1m30s", 90_000), ("T#1h", 3_600_000), ("T#1.5s", 1500)]
)
def test_duration_literals(text: str, ms: int) -> None:
    assert _both(text) == ms


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("SEL(FALSE, 1, 2)", 1),
        ("SEL(TRUE, 1, 2)", 2),
        ("LIMIT(0, 9, 5)", 5),
        ("LIMIT(0, -9, 5)", 0),
        ("MIN(3, 1, 2)", 1),
        ("MAX(3, 1, 2)", 3),
        ("ABS(-4)", 4),
    ],
)
def test_standard_functions(text: str, value: int) -> None:
    assert _both(text) == value


def test_inputs_are_latched_and_a_later_assignment_wins() -> None:
    text = """PROGRAM p
    VAR_INPUT a, b : BOOL; END_VAR
    VAR_OUTPUT q : BOOL; n : INT (0..9); END_VAR
    q := TRUE; IF q THEN n := 1; END_IF; q := a;
    END_PROGRAM"""
    assert _run(text, Settings(), "010") == (["010"], ["111"])


@pytest.mark.parametrize(
    ("body", "a", "b", "q"),
    [
        ("q := NOT a; q := a;", "0110", "0000", "0110"),
        ("q := a; IF b THEN q := FALSE; END_IF;", "0110", "0101", "0010"),
        ("IF b THEN q := FALSE; END_IF; q := a;", "0110", "0101", "0110"),
        ("IF b THEN q := TRUE; END_IF; IF a THEN q := FALSE; END_IF;", "0110", "0011", "0001"),
        ("q := b; CASE n OF 0: q := a; END_CASE;", "0110", "0011", "0110"),
        ("r(CLK := a, Q => q); q := b;", "0110", "0011", "0011"),
        ("q := b; r(CLK := a, Q => q);", "0110", "0011", "0100"),
    ],
)
def test_of_several_assignments_the_last_one_made_wins(body: str, a: str, b: str, q: str) -> None:
    assert _run(_ORDERED.format(body=body), Settings(), a, b)[0] == [q]


@pytest.mark.parametrize(
    ("body", "a", "q"),
    [
        ("q := flag; flag := a;", "01100", "00110"),
        ("flag := a; q := flag;", "01100", "01100"),
        ("q := flag; IF a THEN flag := TRUE; END_IF;", "01000", "00111"),
        ("q := flag AND NOT a; flag := a;", "01100", "00010"),
        ("IF flag THEN q := NOT q; END_IF; flag := a;", "01101", "00100"),
        ("q := r.Q; r(CLK := a);", "01100", "00100"),
    ],
)
def test_a_flag_keeps_what_a_scan_set_until_a_scan_sets_it_anew(body: str, a: str, q: str) -> None:
    # Statements are executed once a scan, in order; what is read before it is written is the value
    # that the scan before left.
    assert _run(_ORDERED.format(body=body), Settings(), a)[0] == [q]


def test_initial_values_are_false_the_first_label_and_the_lower_limit() -> None:
    text = """TYPE COLOUR : (RED, GREEN); LEVEL : (LOW, HIGH) := HIGH; END_TYPE
    PROGRAM p
    VAR b : BOOL; c : COLOUR; l : LEVEL; n : INT (2..5); m : INT (2..5) := 3; END_VAR
    END_PROGRAM"""
    program = load_program(text, "p.st")
    assert [v.initial for v in program.variables] == [0, 0, 1, 2, 3]


def test_constants_of_declarations_are_computed() -> None:
    text = """TYPE LEVEL : (LOW, HIGH) := LEVEL#HIGH; END_TYPE
    PROGRAM p
    VAR l : LEVEL; n : INT (-5..+5) := +(1 + 2); m : INT (-7 / 2..7) := 5 MOD 0; END_VAR
    CASE n OF -3..+2: n := +3; END_CASE;
    END_PROGRAM"""
    program = load_program(text, "p.st")
    assert [v.initial for v in program.variables] == [1, 3, 0]
    assert [str(v.type) for v in program.variables[1:]] == ["INT (-5..5)", "INT (-3..7)"]
