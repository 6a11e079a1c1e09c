"""Malformed programs and expressions: each is told with its place, in words that help."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.base.errors import InputError, Mistake, Place
from interlock.st.check import check_expression
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_program
from interlock.st.parser import MAX_DEPTH, parse_expression
from interlock.st.types import BOOL, EnumType, IntType, Scope

_SCOPE = Scope.of(
    {
        "ok": BOOL,
        "lock_1": BOOL,
        "n": IntType(0, 7),
        "lift": EnumType("lift", ("DOWN", "MID", "UP")),
        "pin": EnumType("pin", ("in", "out")),
        "seat": EnumType("seat", ("in", "UP")),
        "pair": EnumType("pin", ("in", "out")),
    }
)

# Text of an expression, column of the mistake, a part of its message.
_EXPRESSIONS = [
    ("", 1, "unexpected end of the expression; expected an expression"),
    ("ok AND", 7, "unexpected end"),
    ("(ok", 4, "expected ')'"),
    ("ok)", 3, "unexpected ')'"),
    ("ok ok", 4, "unexpected 'ok'; expected the end or an operator"),
    ("ok == TRUE", 4, "use '=' to compare"),
    ("ok != TRUE", 4, "use '<>' to compare"),
    ("ok && ok", 4, "use AND"),
    ("ok || ok", 4, "use OR"),
    ("!ok", 1, "use NOT"),
    ("ok := TRUE", 4, "':=' assigns; use '=' to compare"),
    ("n = 'a'", 5, "a string or a date is not supported here"),
    ("n[1] = 2", 1, "'n[1]' is not declared"),
    ("n^ = 2", 1, "a pointer is not supported here"),
    ("%IX0.0", 1, "a direct address is not supported here"),
    ("ok {x}", 4, "pragmas are not supported"),
    ("ok (* open", 4, "comment is never closed"),
    ("ok /* open", 4, "comment is never closed"),
    ("€", 1, "'€' is not a character of Structured Text"),
    ("n = 5abc", 5, "'5abc' is not an integer"),
    ("n = 2#12", 5, "'2#12' is not an integer"),
    ("n = 1__0", 5, "'1__0' is not an integer"),
    ("n = lift#5", 5, "'lift#5' is not supported; supported prefixes: INT#"),
    ("n = 99999", 5, "99999 is outside INT"),
    ("T#5 = T#5s", 1, "'T#5' is not a duration"),
    ("T#0.0001s = T#5s", 1, "no whole number of milliseconds"),
    ("FOR", 1, "unexpected 'FOR'; expected an expression"),
    ("lok_1", 1, "'lok_1' is not declared; did you mean 'lock_1'?"),
    ("ok AND lok_1 AND ok", 8, "did you mean 'lock_1'?"),
    ("lift = midd", 8, "did you mean 'MID'?"),
    ("lift = in", 8, "'in' is no value of lift"),
    ("lift = lift#TOP", 8, "'TOP' is no value of lift"),
    ("lift = lyft#UP", 8, "'lyft' is no enumeration; did you mean 'lift'?"),
    ("UP = UP", 1, "write lift#UP"),
    ("in = pin#in AND UP = in", 17, "'UP' is a value of several types (lift, seat)"),
    ("lift < UP", 1, "only = and <> can"),
    ("lift", 1, "lift is of type lift; expected BOOL; compare it, as in lift = DOWN"),
    ("n", 1, "n is of type INT (0..7); expected BOOL"),
    ("ok = n", 6, "n is of type INT (0..7); expected BOOL"),
    ("lift = pin", 8, "pin is of type pin; expected lift"),
    ("NOT lift = UP", 5, "lift is of type lift; expected BOOL"),
    ("n + ok = 3", 5, "ok is of type BOOL; + needs INT"),
    ("-ok = 3", 2, "- needs INT"),
    ("n / 0 = 1", 5, "division by zero"),
    ("n / (0 * n) = 1", 6, "division by zero"),
    ("n / (n MOD 0) = 1", 6, "division by zero"),
    ("+lift = UP", 2, "lift is of type lift; + needs INT"),
    ("n * 9999 > 3", 1, "n * 9999 may be 0..69993, outside INT"),
    ("FOO(n) = 1", 1, "function 'FOO' is not supported; supported functions: SEL"),
    ("TON(ok)", 1, "TON is a function block"),
    ("MIN(n) = 1", 1, "MIN takes 2 or more arguments, not 1"),
    ("SEL(ok, n) = 1", 1, "SEL takes 3 arguments, not 2"),
    ("SEL(n, n, n) = 1", 5, "expected BOOL"),
    ("MAX(IN := n) = 1", 5, "MAX has no argument 'IN'; arguments: IN1, IN2"),
    ("ok.Q", 1, "'ok.Q' is not declared"),
    ("n >= T#5s", 6, "expected INT"),
    ("ok AND MOD", 8, "unexpected 'MOD'"),
]


@pytest.mark.parametrize(("text", "column", "says"), _EXPRESSIONS)
def test_a_malformed_expression_is_told_with_its_place(text: str, column: int, says: str) -> None:
    with pytest.raises(InputError) as caught:
        check_expression(parse_expression(text, "model.yaml", 12, 1), _SCOPE)
    first = caught.value.mistakes[0]
    assert first.place == Place("model.yaml", 12, column), first
    assert says in first.says


_PROGRAM = """TYPE K : (LOW, TOP); END_TYPE
PROGRAM p
VAR_INPUT a, b : BOOL; END_VAR
VAR_OUTPUT q : BOOL; END_VAR
VAR m : K; n : INT (0..7); t : TON; c : CTU; {declared} END_VAR
{body}
END_PROGRAM
"""

# A statement in line 6, column of the mistake, a part of its message.
_STATEMENTS = [
    ("q = a;", 3, "'=' compares; use ':=' to assign"),
    ("q := a q := m;", 8, "expected ';'"),
    ("q := ;", 6, "unexpected ';'; expected an expression"),
    ("IF a THEN EXIT; END_IF;", 11, "EXIT stands in no loop"),
    ("IF a q := a; END_IF;", 6, "expected THEN"),
    ("IF a THEN q := a; END_IF q := n;", 31, "expected BOOL"),
    ("IF n THEN q := a; END_IF;", 4, "expected BOOL"),
    ("ELSE;", 1, "unexpected 'ELSE'"),
    ("lok := a;", 1, "'lok' is not declared"),
    ("TOP := m;", 1, "'TOP' is a value of an enumeration"),
    ("t := a;", 1, "'t' is an instance of TON, and instances are not copied; call it"),
    ("t.Q := a;", 1, "only TON itself writes it"),
    ("q := n;", 6, "n is of type INT (0..7); expected BOOL"),
    ("n := 9;", 6, "the value is 9, never within 0..7 of 'n'"),
    ("m := MID;", 6, "'MID' is neither declared nor a value of K"),
    ("m := 7;", 6, "expected K; no value of it has the number 7"),
    ("q := t.X;", 6, "'t' has no output 'X'; known: ET, Q"),
    ("CASE n OF 3 / (3 MOD 3): q := a; END_CASE;", 16, "division by zero"),
    ("q := +a;", 7, "a is of type BOOL; + needs INT"),
    ("q := n + + ;", 12, "unexpected ';'; expected an expression"),
    ("q := TON(a);", 6, "TON is a function block"),
    ("q := t(IN := a, PT := T#1s);", 6, "call a block as a statement of its own"),
    ("t(IN := a, PT := n);", 18, "n is of type INT (0..7); expected TIME"),
    ("t(IN := a, PT := T#1s, X := a);", 24, "TON has no input 'X'; inputs: IN, PT"),
    ("t(IN := a, IN := a, PT := T#1s);", 12, "input IN is given twice"),
    ("t(IN := a, PT := T#1s, X => q);", 24, "TON has no output 'X'"),
    ("t(IN := a, PT := T#1s, Q => n);", 29, "'n' is of type INT (0..7); Q is BOOL"),
    ("c(CU := a, PV := 2); c(CU := a, R := b, PV := 2);", 1, "called without R here"),
    ("c(CU := a, PV := a);", 18, "needs INT"),
    ("TON(IN := a, PT := T#1s);", 1, "declare an instance of it in VAR"),
    ("a(IN := b);", 1, "'a' is no function block"),
    ("LIMTI(b);", 1, "there is no function 'LIMTI'; did you mean 'LIMIT'?"),
    ("CASE a OF 1: ; END_CASE;", 6, "CASE needs an enumeration or INT"),
    ("CASE n OF END_CASE;", 11, "unexpected 'END_CASE'"),
    ("CASE n OF 3..2: ; END_CASE;", 11, "the range is empty"),
    ("CASE n OF 9: ; END_CASE;", 11, "never met: the selector is 0..7"),
    ("CASE n OF n: ; END_CASE;", 11, "a CASE label must be constant"),
    ("CASE m OF MID: ; END_CASE;", 11, "'MID' is neither declared nor a value of K"),
    ("q := T#1s;", 6, "T#1s is of type TIME; expected BOOL"),
]


@pytest.mark.parametrize(("text", "column", "says"), _STATEMENTS)
def test_a_malformed_statement_is_told_with_its_place(text: str, column: int, says: str) -> None:
    with pytest.raises(InputError) as caught:
        load_program(_PROGRAM.format(declared="", body=text), "controller.st")
    first = caught.value.mistakes[0]
    assert says in first.says
    assert first.place == Place("controller.st", 6, column), first


# A declaration in line 5 from column 46 on, column of the mistake, a part of its message.
_DECLARATIONS = [
    ("x : ctud_real;", 50, "type 'ctud_real' is not declared"),
    ("x : INT (0..5 / 0);", 62, "division by zero"),
    ("x : INT (0..7) := 5 / (3 MOD 3);", 69, "division by zero"),
    ("x : INT (0..7) := 9 * 9999;", 64, "initial value 89991 is outside 0..7"),
    ("x : INT (0..7) := +8;", 64, "initial value 8 is outside 0..7"),
    ("x : INT (0..7) := + a;", 66, "a is of type BOOL; + needs INT"),
    ("x : INT (0..7) := +32768;", 64, "initial value 32768 is outside 0..7"),
    ("x : INT (0..7) := 1 +;", 67, "unexpected ';'; expected an expression"),
    ("x : BOLL;", 50, "type 'BOLL' is not declared; did you mean 'BOOL'?"),
    ("x : INT (3..1);", 50, "the range 3..1 is empty"),
    ("x : INT (0..n);", 58, "this must be constant"),
    ("x : BOOL (0..1);", 50, "BOOL has no range"),
    ("x : INT (0..3) := 5;", 64, "initial value 5 is outside 0..3"),
    ("x : BOOL := 2;", 58, "expected BOOL"),
    ("x : BOOL := a;", 58, "this must be constant"),
    ("Q : BOOL;", 46, "'Q' is declared twice, first in line 4"),
    ("time : BOOL;", 46, "'time' is a name of the standard"),
    ("mod : BOOL;", 46, "'mod' is a reserved word"),
    ("x : TON := TRUE;", 57, "has no initial value"),
    ("x : BOOL y : BOOL;", 55, "expected ';'"),
    ("END_VAR VAR_OUTPUT x : TON;", 69, "declare a TON in VAR, not in VAR_OUTPUT"),
]


@pytest.mark.parametrize(("text", "column", "says"), _DECLARATIONS)
def test_a_malformed_declaration_is_told_with_its_place(text: str, column: int, says: str) -> None:
    with pytest.raises(InputError) as caught:
        load_program(_PROGRAM.format(declared=text, body=""), "controller.st")
    first = caught.value.mistakes[0]
    assert says in first.says
    assert first.place == Place("controller.st", 5, column), first


@pytest.mark.parametrize(
    ("text", "line", "column", "says"),
    [
        ("", 1, 1, "there is no PROGRAM and no FUNCTION_BLOCK in it"),
        ("FUNCTION f : STRING\nEND_FUNCTION", 1, 1, "there is no PROGRAM"),
        ("TYPE T : (A); END_TYPE", 1, 1, "in it, only what one could use; give its file as well"),
        ("PROGRAM p\nEND_PROGRAM\nPROGRAM q\nEND_PROGRAM", 1, 1, "several programs (p, q)"),
        ("PROGRAM p\nEND_PROGRAM\nPROGRAM q\nEND_PROGRAM", 1, 1, "as in 'root: p'"),
        ("PROGRAM p EXTENDS far\nEND_PROGRAM", 1, 1, "'far', which p extends, is not in the files"),
        ("FUNCTION_BLOCK p EXTENDS l.far\nEND_FUNCTION_BLOCK", 1, 1, "'l.far', which p extends"),
        ("PROGRAM p\nEND_PROGRAM\nx", 3, 1, "unexpected 'x'; expected the end"),
        ("TYPE T : (A, a); END_TYPE PROGRAM p END_PROGRAM", 1, 14, "'a' is named twice"),
        ("TYPE T : (A) := B; END_TYPE PROGRAM p END_PROGRAM", 1, 17, "'B' is neither declared"),
        ("TYPE T : (A); T : (B); END_TYPE PROGRAM p END_PROGRAM", 1, 15, "is declared twice"),
        ("PROGRAM p\nVAR x : BOOL;\n", 2, 14, "expected END_VAR or a name"),
    ],
)
def test_a_malformed_file_is_told_with_its_place(
    text: str, line: int, column: int, says: str
) -> None:
    with pytest.raises(InputError) as caught:
        load_program(text, "controller.st")
    first = caught.value.mistakes[0]
    assert says in first.says
    assert first.place == Place("controller.st", line, column), first


@pytest.mark.parametrize("text", ["ok AND ;", "n = ;", "n + ;", "-;", "n = 1 + -;", "(;"])
def test_where_an_expression_is_missing_nothing_else_is_expected(text: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_expression(text)
    assert caught.value.mistakes[0].says == "unexpected ';'; expected an expression"


def test_an_if_that_is_never_closed_is_told_where_the_program_ends() -> None:
    with pytest.raises(InputError, match=r"c\.st:7:1: unexpected 'END_PROGRAM'.*END_IF"):
        load_program(_PROGRAM.format(declared="", body="IF a THEN q := a;"), "c.st")


def test_every_type_mistake_of_a_file_is_told_at_once() -> None:
    body = "q := n;\nlok := a;\nIF m THEN n := 9; END_IF;"
    with pytest.raises(InputError) as caught:
        load_program(_PROGRAM.format(declared="x : INT (5..1);", body=body), "c.st")
    places = [(m.place.line, m.place.column) for m in caught.value.mistakes]
    assert places == [(5, 50), (6, 6), (7, 1), (8, 4), (8, 16)]


def test_syntax_mistakes_of_several_statements_are_told_at_once() -> None:
    loop = "FOR i := 1 TO 2 DO FOR j := 1 TO 2 DO q := 1.5; END_FOR; END_FOR;"
    body = f"q = a;\n{loop}\nq := a b;\nq := a +"
    with pytest.raises(InputError) as caught:
        load_program(_PROGRAM.format(declared="x : ARRAY[0..1] OF BOOL;", body=body), "c.st")
    places = [(m.place.line, m.place.column) for m in caught.value.mistakes]
    assert places == [(6, 3), (8, 8), (10, 1)]


def test_a_name_whose_declaration_is_refused_is_not_told_again() -> None:
    with pytest.raises(InputError) as caught:
        load_program(_PROGRAM.format(declared="x : REAL;", body="x := a; q := x;"), "c.st")
    assert all("not declared" not in mistake.says for mistake in caught.value.mistakes)


def test_reading_the_elapsed_time_of_a_free_timer_is_refused() -> None:
    text = _PROGRAM.format(declared="", body="t(IN := a, PT := T#1s);\nq := t.ET > T#0s;")
    program = load_program(text, "c.st")
    with pytest.raises(InputError, match=r"c\.st:7:6: ET cannot be read from a free timer"):
        Controller(program, Settings())


def test_places_count_lines_of_a_text_with_several() -> None:
    with pytest.raises(InputError) as caught:
        parse_expression("ok AND\n  lift ==", "model.yaml", 7, 20)
    assert caught.value.mistakes[0].place == Place("model.yaml", 8, 8)


def test_places_may_be_located_by_the_caller() -> None:
    with pytest.raises(InputError) as caught:
        parse_expression("ok ok", locate=lambda offset: Place("other", 1, 100 + offset))
    assert caught.value.mistakes[0].place == Place("other", 1, 103)


@pytest.mark.parametrize(
    "text",
    [
        "(" * 2000 + "ok" + ")" * 2000,
        "NOT " * 2000 + "ok",
        "ok = " * 2000 + "ok",
        "1 + " * 2000 + "n > 3",
        "MIN(1, " * 2000 + "2" + ")" * 2000,
        "ok AND (" * 500 + "ok" + ")" * 500,
    ],
)
def test_deep_nesting_is_refused_and_does_not_break_the_stack(text: str) -> None:
    with pytest.raises(InputError, match="nested too deeply"):
        parse_expression(text)


def test_deeply_nested_statements_are_refused() -> None:
    body = "IF a THEN " * 500 + "q := a;" + " END_IF;" * 500
    with pytest.raises(InputError, match="nested too deeply"):
        load_program(_PROGRAM.format(declared="", body=body), "c.st")


def test_an_expression_just_shallow_enough_is_checked() -> None:
    text = "NOT " * (MAX_DEPTH - 3) + "ok"
    check_expression(parse_expression(text), _SCOPE)


def test_a_long_chain_of_and_is_not_deep() -> None:
    check_expression(parse_expression(" AND ".join(["ok"] * 3000)), _SCOPE)


_WORDS = """PROGRAM p END_PROGRAM VAR VAR_INPUT END_VAR TYPE END_TYPE a b t : := ; , ( ) IF THEN
ELSE ELSIF END_IF CASE OF END_CASE 1 2..3 T#5s M#A TON BOOL INT + - * / MOD = <> < AND OR XOR NOT
=> . .. FOR END_FOR (* *) // # 1.5 ' RETAIN ARRAY é"""
_texts = st.text(max_size=60) | st.lists(st.sampled_from(_WORDS.split()), max_size=40).map(" ".join)


def _mistakes_of(read: Callable[[], object]) -> tuple[Mistake, ...]:
    try:
        read()
    except InputError as error:
        return error.mistakes
    return ()


@settings(max_examples=150, deadline=None)
@given(_texts)
def test_any_text_is_an_expression_or_an_input_error(text: str) -> None:
    mistakes = _mistakes_of(lambda: check_expression(parse_expression(text), _SCOPE, None))
    n_lines = text.count("\n") + 1
    assert all(1 <= mistake.place.line <= n_lines for mistake in mistakes)


@settings(max_examples=150, deadline=None)
@given(_texts, st.booleans())
def test_any_text_is_a_program_or_an_input_error(text: str, inside: bool) -> None:
    whole = _PROGRAM.replace("{declared}", "").replace("{body}", text) if inside else text
    mistakes = _mistakes_of(lambda: load_program(whole, "c.st"))
    n_lines = whole.count("\n") + 1
    assert all(1 <= mistake.place.line <= n_lines for mistake in mistakes)


def test_a_qualifier_that_is_not_known_is_told_at_its_place() -> None:
    text = """PROGRAM Main VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR
INITIAL_STEP One: q(X); END_STEP TRANSITION FROM One TO One := a; END_TRANSITION END_PROGRAM"""
    with pytest.raises(InputError, match=r"2:19: the qualifier 'X' is not known; known: N, R,"):
        load_program(text, "chart.st")
