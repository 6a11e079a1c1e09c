"""Each element of ladder and blocks as the text that it means."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from interlock.exchange.files import read_files
from interlock.st.write import write_file
from tests.support.exchange_files import Sheet, interface, pou, project, st_body

_FACES = interface(
    VAR_INPUT="a:BOOL;b:BOOL;c:BOOL;k:INT",
    VAR_OUTPUT="q:BOOL;r:BOOL;n:INT;m:INT",
    VAR="t:TON;f:Flip",
)
_FLIP = pou(
    "Flip",
    st_body("y := NOT x; io := y;"),
    interface(VAR_INPUT="x:BOOL", VAR_OUTPUT="y:BOOL", VAR_IN_OUT="io:BOOL"),
    "functionBlock",
)
_HALF = pou("Half", st_body("Half := x / 2;"), interface("INT", VAR_INPUT="x:INT"), "function")


def whole(text: str) -> str:
    """All of the unit Main of a file, as text."""
    written = write_file(read_files({"plant.xml": text})[0])
    return written[written.index("PROGRAM Main") :]


def _statements(draw: Callable[[Sheet], object], language: str = "LD") -> str:
    sheet = Sheet()
    draw(sheet)
    text = whole(project(_FLIP, _HALF, pou("Main", sheet.body(language), _FACES)))
    body = text.rpartition("END_VAR\n")[2].replace("END_PROGRAM\n", "")
    return " ".join(body.split())


_DRAWN: list[tuple[Callable[[Sheet, str], object], str]] = []


def means(text: str) -> Callable[[Callable[[Sheet, str], object]], Callable[[Sheet, str], object]]:
    """Say what a drawing means; it is given a sheet and the rail at its left."""

    def noted(draw: Callable[[Sheet, str], object]) -> Callable[[Sheet, str], object]:
        _DRAWN.append((draw, text))
        return draw

    return noted


@means("q := a; r := NOT b;")
def contacts(s: Sheet, rail: str) -> None:
    s.coil("q", s.contact("a", rail))
    s.rung()
    s.coil("r", s.contact("b", rail, negated="true"))


@means("q := a AND b; r := (a OR b) AND NOT c;")
def series_and_parallel(s: Sheet, rail: str) -> None:
    s.coil("q", s.contact("b", s.contact("a", rail)))
    s.rung()
    both = s.contact("a", rail), s.contact("b", rail)
    s.coil("r", s.contact("c", *both, negated="1"))


@means(
    "edge_3_OUT(CLK := NOT a); NOT_3_OUT := edge_3_OUT.Q; q := NOT_3_OUT; r := NOT_3_OUT;",
)
def edge_of_an_output(s: Sheet, rail: str) -> None:
    block = s.block("NOT", {"IN": s.contact("a", rail)}, "OUT", signs={"OUT": 'edge="rising"'})
    s.coil("q", block)
    s.coil("r", block)


@means("IF a THEN q := TRUE; END_IF; IF b THEN q := FALSE; END_IF; r := NOT c;")
def kinds_of_coils(s: Sheet, rail: str) -> None:
    s.coil("q", s.contact("a", rail), storage="set")
    s.rung()
    s.coil("q", s.contact("b", rail), storage="reset")
    s.rung()
    s.coil("r", s.contact("c", rail), negated="true")


@means("edge_2(CLK := a); q := edge_2.Q; edge_5(CLK := b); IF edge_5.Q THEN r := TRUE; END_IF;")
def edges(s: Sheet, rail: str) -> None:
    s.coil("q", s.contact("a", rail, edge="rising"))
    s.rung()
    s.coil("r", s.contact("b", rail), edge="falling", storage="set")


@means("q := TRUE;")
def power_from_the_rail(s: Sheet, rail: str) -> None:
    s.coil("q", rail)


# What comes from the left goes on behind a coil.
@means("coil_4 := a AND b; q := coil_4; r := coil_4;")
def coils_in_series(s: Sheet, rail: str) -> None:
    s.coil("r", s.coil("q", s.contact("b", s.contact("a", rail))))


# A contact is evaluated once: what the first coil writes does not change what the second gets.
@means("contact_2 := NOT q; q := contact_2; r := contact_2;")
def one_contact_for_two_coils(s: Sheet, rail: str) -> None:
    contact = s.contact("q", rail, negated="true")
    s.coil("q", contact)
    s.rung()
    s.coil("r", contact)


@means("t(IN := a, PT := T#5s); q := t.Q; r := NOT t.Q;")
def an_instance(s: Sheet, rail: str) -> None:
    time = s.value("T#5s")
    block = s.block("TON", {"IN": s.contact("a", rail), "PT": time}, "Q,ET", "t")
    s.coil("q", (block, "Q"))
    s.rung()
    s.coil("r", (block, "Q"), negated="true")


@means("edge_4_x(CLK := NOT a); f(x := NOT edge_4_x.Q, io := r); q := NOT f.y;")
def signs_of_pins(s: Sheet, rail: str) -> None:
    signs = {"x": 'negated="true" edge="rising"', "y": 'negated="true"'}
    given, both = {"x": s.value("a", negated="true")}, {"io": s.value("r")}
    block = s.block("Flip", given, "y", "f", both, signs)
    s.coil("q", (block, "y"))


@means("n := k + 1; q := k > 3; r := a XOR NOT b;")
def functions(s: Sheet, rail: str) -> None:
    s.assign("n", s.block("ADD", {"IN1": s.value("k"), "IN2": s.value("1")}, "OUT"))
    s.rung()
    s.assign("q", s.block("GT", {"IN1": s.value("k"), "IN2": s.value("3")}, "OUT"))
    s.rung()
    signs = {"IN2": 'negated="true"'}
    s.assign("r", s.block("XOR", {"IN1": s.value("a"), "IN2": s.value("b")}, "", signs=signs))


# Arguments have the places that their names have in the standard, in whatever order they stand.
@means("n := SEL(a, 1, k); n := LIMIT(0, k, 9);")
def names_of_arguments(s: Sheet, rail: str) -> None:
    s.assign("n", s.block("SEL", {"IN1": s.value("k"), "IN0": s.value("1"), "G": s.value("a")}))
    s.rung()
    given = {"IN": s.value("k"), "MX": s.value("9"), "MN": s.value("0")}
    s.assign("n", s.block("LIMIT", given))


@means("EN_4 := a; IF EN_4 THEN n := k; END_IF; q := EN_4;")
def enabled(s: Sheet, rail: str) -> None:
    given = {"EN": s.contact("a", rail), "IN": s.value("k")}
    block = s.block("MOVE", given, "ENO,OUT")
    s.assign("n", (block, "OUT"))
    s.rung()
    s.coil("q", (block, "ENO"))


@means("n := Half(x := k);")
def a_function_of_the_project(s: Sheet, rail: str) -> None:
    s.assign("n", s.block("Half", {"x": s.value("k")}, "Half"))


# Some editors leave the name of a result empty, beside that of ENO.
@means("EN_4 := a; IF EN_4 THEN n := Half(x := k); END_IF; q := EN_4;")
def a_result_without_a_name(s: Sheet, rail: str) -> None:
    given = {"EN": s.contact("a", rail), "x": s.value("k")}
    block = s.block("Half", given, ",ENO")
    s.assign("n", (block, ""))
    s.rung()
    s.coil("q", (block, "ENO"))


@means("t(EN := a, IN := b, PT := T#1s, ENO => ENO_5); q := ENO_5;")
def an_instance_with_en(s: Sheet, rail: str) -> None:
    given = {"EN": s.contact("a", rail), "IN": s.value("b"), "PT": s.value("T#1s")}
    s.coil("q", (s.block("TON", given, "ENO,Q,ET", "t"), "ENO"))


@means("q := a AND b; r := a AND b;")
def connectors(s: Sheet, rail: str) -> None:
    s.end("connector", s.contact("b", s.contact("a", rail)), name="X")
    s.rung()
    s.coil("q", s.end("continuation", name="x"))
    s.rung()
    s.coil("r", s.contact("b", s.contact("a", rail)))


@means("jump_3 := FALSE; jump_3 := a; IF NOT jump_3 THEN q := b; END_IF; r := c;")
def jumps(s: Sheet, rail: str) -> None:
    s.end("jump", s.contact("a", rail), label="Behind")
    s.rung()
    s.coil("q", s.contact("b", rail))
    s.rung()
    s.end("label", label="behind")
    s.rung()
    s.coil("r", s.contact("c", rail))


@means("IF a THEN RETURN; END_IF; q := b; RETURN; r := c;")
def returns(s: Sheet, rail: str) -> None:
    s.end("return", s.contact("a", rail))
    s.rung()
    s.coil("q", s.contact("b", rail))
    s.rung()
    s.end("return")
    s.rung()
    s.coil("r", s.contact("c", rail))


@means("OR_2 := a OR AND_3_before; AND_3_before := OR_2 AND NOT b; q := OR_2;")
def a_wire_that_leads_back(s: Sheet, rail: str) -> None:
    s.block("OR", {"IN1": "5", "IN2": "3"}, "", at=(0, 2))
    s.block("AND", {"IN1": "2", "IN2": "6"}, "", at=(0, 3))
    s.assign("q", "2", at=(0, 4))
    s.value("a", at=(0, 1))
    s.value("b", at=(1, 1), negated="true")


# Which element of a loop comes first is told from left to right, whatever stands higher.
@means("OR_2 := a OR NOT_3_before; NOT_3_before := NOT OR_2; q := OR_2;")
def a_wire_that_leads_back_from_above(s: Sheet, rail: str) -> None:
    s.block("OR", {"IN1": "5", "IN2": "3"}, "", at=(5, 2))
    s.block("NOT", {"IN": "2"}, "", at=(0, 3))
    s.assign("q", "2", at=(6, 4))
    s.value("a", at=(5, 1))


# By their numbers the comparison comes before the sum, and so it sees the one before.
@means("GT_2 := ADD_3_before > 3; ADD_3_before := k + 1; q := GT_2;")
def a_value_of_the_evaluation_before(s: Sheet, rail: str) -> None:
    s.block("GT", {"IN1": "3", "IN2": "5"}, "", executionOrderId="1")
    s.block("ADD", {"IN1": "6", "IN2": "7"}, "", executionOrderId="2")
    s.assign("q", "2", executionOrderId="3")
    for text in ("3", "k", "1"):
        s.value(text)


# What takes the value of a function keeps its own while the function is not called.
@means(
    "EN_4 := a; IF EN_4 THEN MOVE_4 := k; END_IF; IF EN_4 THEN n := MOVE_4; END_IF; "
    "IF EN_4 THEN m := MOVE_4; END_IF;"
)
def two_takers_of_an_enabled_function(s: Sheet, rail: str) -> None:
    given = {"EN": s.contact("a", rail), "IN": s.value("k")}
    block = s.block("MOVE", given, "ENO,OUT")
    s.assign("n", (block, "OUT"))
    s.rung()
    s.assign("m", (block, "OUT"))


# Numbers of execution go before places.
@means("n := k; n := 1;")
def numbers_of_execution(s: Sheet, rail: str) -> None:
    s.assign("n", s.value("1"), executionOrderId="2")
    s.rung()
    s.assign("n", s.value("k"), executionOrderId="1")


# An order of 0 in every element is none.
@means("n := 1; n := k;")
def no_numbers_of_execution(s: Sheet, rail: str) -> None:
    s.assign("n", s.value("1"), executionOrderId="0")
    s.rung()
    s.assign("n", s.value("k"), executionOrderId="0")


@means("q := a AND (b OR k > 3);")
def expressions(s: Sheet, rail: str) -> None:
    s.assign("q", s.value("a AND (b OR k > 3)"))


@pytest.mark.parametrize(("draw", "text"), _DRAWN, ids=[draw.__name__ for draw, _ in _DRAWN])
def test_a_drawing_is_read_as_the_text_that_it_means(
    draw: Callable[[Sheet, str], object], text: str
) -> None:
    assert _statements(lambda sheet: draw(sheet, sheet.rail())) == text


def test_rungs_without_positions_come_in_the_order_of_the_file() -> None:
    def draw(s: Sheet) -> None:
        rail = s.add("leftPowerRail", "", at=(0, 0))
        for target, source in (("q", "a"), ("r", "b"), ("q", "c")):
            s.coil(target, s.contact(source, rail, at=(0, 0)), at=(0, 0))

    assert _statements(draw) == "q := a; r := b; q := c;"


def test_a_long_rung_is_divided_and_read_in_time() -> None:
    def draw(s: Sheet) -> None:
        wire = s.rail()
        for number in range(3000):
            wire = s.contact("ab"[number % 2], wire)
        s.coil("q", wire)

    text = _statements(draw)
    assert text.count(":=") < 100
    assert text.count("a") >= 1500


def test_a_long_chain_of_blocks_has_wires_of_the_type_of_what_comes_in() -> None:
    sheet = Sheet()
    wire = sheet.value("k")
    for _ in range(40):
        wire = sheet.block("ADD", {"IN1": wire, "IN2": wire}, "")
    sheet.assign("n", wire)
    text = whole(project(pou("Main", sheet.body("FBD"), _FACES)))
    assert "ADD_41 : INT;" in text or "ADD_40 : INT;" in text
    assert text.count("ADD_2 :=") == 1
