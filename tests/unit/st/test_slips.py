"""Slips in whole programs: each is told where it is, and nothing that only follows from it."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.base.errors import InputError, Mistake
from interlock.st.parser import parse_file
from interlock.st.tokens import tokenize

MACHINES = sorted((Path(__file__).parent / "machine_logic").glob("*.st"))


def mistakes_of(text: str) -> list[Mistake]:
    try:
        parse_file(text, "f.st")
    except InputError as error:
        return list(error.mistakes)
    return []


def told(text: str) -> list[tuple[int, int]]:
    return [(m.place.line, m.place.column) for m in mistakes_of(text)]


@pytest.mark.parametrize(
    ("body", "column", "says"),
    [
        ("IF a THN n := 1; END_IF;", 6, "expected THEN or an operator; did you mean THEN?"),
        ("IFF a THEN n := 1; END_IF;", 1, "did you mean IF?"),
        ("IFF (a) THEN n := 1; END_IF;", 1, "did you mean IF?"),
        ("IF a THEN n := 1; ENDIF;", 19, "did you mean END_IF?"),
        ("IF a THEN n := 1; ELSEIF b THEN n := 2; END_IF;", 19, "write ELSIF"),
        ("IF a THEN n := 1; ELSE IF b THEN n := 2; END_IF;", 24, "for ELSE IF, which needs two"),
        ("IF a THEN n := 1;", 1, "END_IF, ELSIF, ELSE or a statement, for what begins in line 3"),
        ("IF a := b THEN n := 1; END_IF;", 6, "':=' assigns; use '=' to compare"),
        ("n == 1;", 3, "'==' compares; use ':=' to assign"),
        ("n : = 1;", 5, "write ':=' without a blank"),
        ("WHIL a DO n := 1; END_WHILE;", 1, "did you mean WHILE?"),
        ("FOR i := 1 TOO 3 DO n := 1; END_FOR;", 12, "did you mean TO?"),
        ("FOR i := 1 TO 3 n := 1; END_FOR;", 17, "expected DO or an operator"),
        ("FOR a[1] := 1 TO 3 DO ; END_FOR;", 5, "a loop counts in a variable"),
        ("CASE n OF 1 a := b; END_CASE;", 13, "expected ':', ',', '..' or an operator"),
        ("CASE n OF 1: IF a THEN ; 2: ; END_CASE;", 26, "unexpected '2'; expected a statement"),
        ("REPEAT n := 1; END_REPEAT;", 16, "expected UNTIL or a statement"),
        ("LD a", 1, "'LD' is Instruction List, which is not read"),
        ("n := t(a).Q;", 10, "a member of a call's result cannot be used"),
        ("fb.Do(1).y();", 9, "a member of a call's result cannot be used"),
        ("a(1) := 2;", 6, "write x[1] for an element"),
        ("t(IN := a, PT = T#5s);", 15, "'=' compares; use ':=' to give PT a value"),
        ("n := w.%B1;", 8, "single bits are"),
        ("t(IN := a, PT := 5s);", 18, "'5s' is no duration without its prefix; write T#5s"),
        ("a := b | c;", 8, "'|' is not Structured Text; use OR"),
        ("n := 'abc;", 6, "this string is never closed"),
        ("n := (1;", 8, "expected ')' or an operator"),
        ("if a then b := TRUE n := 1; end_if", 21, "expected ';' or an operator"),
        ("n := 3 *) 2;", 8, "no comment is open"),
        ("ACTION x: n := 1; END_ACTIN", 19, "did you mean END_ACTION?"),
    ],
)
def test_a_slip_in_a_statement_is_told_once(body: str, column: int, says: str) -> None:
    (mistake,) = mistakes_of(f"PROGRAM p\nVAR n : INT; END_VAR\n{body}\nEND_PROGRAM\n")
    assert says in mistake.says
    line = 4 if body == "IF a THEN n := 1;" else 3
    assert (mistake.place.line, mistake.place.column) == (line, column), mistake


@pytest.mark.parametrize(
    ("text", "line", "column", "says"),
    [
        ("PROGRM p\nVAR a : BOOL; END_VAR\nEND_PROGRAM", 1, 1, "did you mean PROGRAM?"),
        ("FUNCTON f : INT\nf := 1;\nEND_FUNCTION", 1, 1, "did you mean FUNCTION?"),
        ("PROGRAM p\nVAR_INPT a : BOOL; END_VAR\nEND_PROGRAM", 2, 1, "did you mean VAR_INPUT?"),
        ("PROGRAM p\nVAR a : BOOL; END_VR\na := b;\nEND_PROGRAM", 2, 15, "did you mean END_VAR?"),
        ("PROGRAM p\nVAR a : BOOL;\na.b := c;\nEND_PROGRAM", 3, 2, "END_VAR before a statement"),
        ("PROGRAM p\nVAR a : BOOL;\nIF a THEN ; END_IF", 3, 1, "expected END_VAR or a name"),
        ("PROGRAM p\nVAR if : BOOL; END_VAR", 2, 5, "'if' is a reserved word"),
        ("PROGRAM p\nVAR END_STRUCT : a ( b", 2, 5, "'END_STRUCT' is a reserved word"),
        ("PROGRAM p\nVAR a : ARAY[1..2] OF INT; END_VAR", 2, 9, "did you mean ARRAY?"),
        ("PROGRAM p\nVAR a : fb(x := 1); END_VAR", 2, 11, "write := (…) for first values"),
        ("TYPE a : STRCT x : INT; END_STRUCT END_TYPE", 1, 10, "did you mean STRUCT?"),
        ("TYPE a : (x, y) b : (z, w); END_TYPE", 1, 19, "expected ';' or ':='"),
        ("FUNCTION_BLOCK a\nEND_FUNCTION\n", 2, 1, "expected END_FUNCTION_BLOCK"),
        ("INTERFACE I\nEND_INTERFAC", 2, 1, "did you mean END_INTERFACE?"),
        ("PROGRAM p END_PROGRAM\nq := a;", 2, 1, "unexpected 'q'; expected the end"),
        ("PROGRAM p END_PROGRAM\nsome text\nPROGRM q ; END_PROGRAM", 2, 1, "unexpected 'some'"),
        ("METHOD m END_METHOD", 1, 1, "METHOD stands outside of the unit it belongs to"),
        ("PROGRAM p : INT\nEND_PROGRAM", 1, 11, "a PROGRAM has no type of its own"),
        ("STEP a: END_STEP n := 1;", 1, 18, "a chart or statements, not both"),
        ("CONFIGURATION c RESORCE r", 1, 17, "did you mean RESOURCE?"),
        ("Prose\nx := 1;\nPROGRAM p END_PROGRAM", 1, 1, "expected PROGRAM, FUNCTION_BLOCK"),
        ("PROGRAM p {x", 1, 11, "this pragma is never closed"),
        ("VAR_ACCESS a : b;\nVAR_GLOBAL c : INT; END_VAR", 2, 1, "expected END_VAR"),
    ],
)
def test_a_slip_in_the_frame_is_told_once(text: str, line: int, column: int, says: str) -> None:
    (mistake,) = mistakes_of(text)
    assert says in mistake.says
    assert (mistake.place.line, mistake.place.column) == (line, column), mistake


def test_slips_that_have_nothing_to_do_with_each_other_are_all_told() -> None:
    text = """PROGRAM p
VAR a : BOOL := ; b INT; c : ; d : INT := 5 6; END_VAR
n := n +;
IF a THEN b := ; n := 2 + ; END_IF; n := * 3;
n := 5abc + T#5 + 2#12;
WHILE a b DO x := ; END_WHILE
END_PROGRAM
FUNCTION_BLOCK f
q r s;
END_FUNCTION_BLOCK
"""
    assert told(text) == [
        *((2, 17), (2, 21), (2, 30), (2, 45)),
        *((3, 9), (4, 16), (4, 27), (4, 42)),
        *((5, 6), (5, 13), (5, 19)),
        *((6, 9), (6, 19)),
        (9, 3),
    ]


def test_no_more_than_twenty_mistakes_are_told() -> None:
    assert len(mistakes_of("x := ;\n" * 100)) == 20


def test_one_word_left_out_is_seldom_told_more_than_once() -> None:
    """Taken out of good programs, one token at a time; seen: 7 of 2000 are told twice or more."""
    counts = []
    for path in MACHINES:
        text = path.read_bytes().decode("utf-8")
        tokens = [token for token in tokenize(text).tokens if token.text]
        for token in random.Random(1).sample(tokens, min(len(tokens), 40)):
            without = text[: token.start] + " " * len(token.text) + text[token.end :]
            counts.append(len(mistakes_of(without)))
    assert sum(count > 1 for count in counts) <= len(counts) // 50
    assert sum(count == 1 for count in counts) > len(counts) // 2


_TOKENS = sorted(
    {token.text for path in MACHINES for token in tokenize(path.read_text("utf-8-sig")).tokens}
)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.sampled_from(_TOKENS), max_size=40))
def test_any_words_are_a_file_or_an_input_error(words: list[str]) -> None:
    mistakes = mistakes_of("\n".join(words))
    assert all(1 <= mistake.place.line <= len(words) + 1 for mistake in mistakes)


@settings(max_examples=100, deadline=None)
@given(st.randoms(use_true_random=False), st.sampled_from(MACHINES))
def test_any_broken_program_is_a_file_or_an_input_error(chance: random.Random, path: Path) -> None:
    words = [token.text for token in tokenize(path.read_text("utf-8-sig")).tokens]
    for _ in range(3):
        words[chance.randrange(len(words))] = chance.choice(_TOKENS)
    mistakes_of("\n".join(words))
