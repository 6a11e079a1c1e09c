"""Reading Structured Text and writing it again."""

from __future__ import annotations

import pytest

from interlock.st import syntax as sx
from interlock.st.parser import parse_expression, parse_program
from interlock.st.write import write_expression, write_program


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("not a and (b = 1)", "NOT a AND b = 1"),
        ("a & (b & c)", "a AND (b AND c)"),
        ("(a and b) or c", "a AND b OR c"),
        ("(a or b) and c", "(a OR b) AND c"),
        ("a - (b - c) > 0", "a - (b - c) > 0"),
        ("(a - b) - c > 0", "a - b - c > 0"),
        ("-(a + b) > - -c", "-(a + b) > --c"),
        ("NOT (a = b)", "NOT (a = b)"),
        ("(not a) = b", "NOT a = b"),
        ("max(a, (b))", "max(a, b)"),
        ("lift#UP = lift", "lift#UP = lift"),
        ("time#1m0s = T#1ms", "T#60s = T#1ms"),
        ("INT#16#F = int#-2", "INT#15 = INT#-2"),
        ("t1.Q (* why *) or // so\n b /* end */", "t1.Q OR b"),
    ],
)
def test_an_expression_is_written_with_few_parentheses_and_reads_back(
    text: str, written: str
) -> None:
    tree = parse_expression(text)
    assert write_expression(tree) == written
    assert parse_expression(written) == tree


def test_keywords_may_have_any_case_and_begin_an_identifier() -> None:
    tree = parse_expression("nOt notice aNd ifs Or mode")
    assert write_expression(tree) == "NOT notice AND ifs OR mode"


def test_words_of_blocks_are_ordinary_identifiers() -> None:
    assert isinstance(parse_expression("in"), sx.Name)
    assert write_expression(parse_expression("pin = in OR on = r1")) == "pin = in OR on = r1"


def test_every_node_knows_its_place() -> None:
    tree = parse_expression("a AND\n  NOT (b)", "m.yaml", 3, 10)
    assert isinstance(tree, sx.Junction)
    assert str(tree.place) == "m.yaml:3:10"
    assert [str(o.place) for o in tree.operands] == ["m.yaml:3:10", "m.yaml:4:3"]


def test_a_program_reads_back_from_what_is_written_of_it() -> None:
    text = """TYPE
  Step : (IDLE, MOVE) := MOVE;
END_TYPE
PROGRAM p
VAR_INPUT
  a, b : BOOL;
END_VAR
VAR_OUTPUT RETAIN
  n : INT (0..7) := 3;
END_VAR
VAR
  s : Step;
  t1 : TON;
END_VAR
t1(IN := a AND NOT b, PT := T#5s, Q => n);
IF a THEN
  n := 1;
ELSIF b THEN
  ;
ELSE
  CASE n OF
    0, 2..3:
      s := IDLE;
    7:
    ELSE
  END_CASE;
END_IF;
END_PROGRAM
"""
    tree = parse_program(text, "c.st")
    written = write_program(tree)
    assert parse_program(written, "d.st") == tree
    assert write_program(parse_program(written, "d.st")) == written


def test_a_program_may_be_empty() -> None:
    program = parse_program("program P end_program", "c.st")
    assert (program.name, program.body) == ("P", ())
