"""Long and hostile texts are read in a time that grows with their length alone."""

from __future__ import annotations

import time
from contextlib import suppress
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.st.parser import parse_file

LINES = (Path(__file__).parent / "machine_logic" / "hoist.st").read_text("utf-8")

_N = 4000


def cpu_s(text: str) -> float:
    start = time.process_time()
    with suppress(InputError):
        parse_file(text, "long.st")
    return time.process_time() - start


def test_a_thousand_lines_take_less_than_a_fifth_of_a_second() -> None:
    unit = LINES[LINES.index("PROGRAM Hoist") :]
    text = "".join(unit.replace("Hoist\n", f"Hoist{n}\n") for n in range(45))
    assert text.count("\n") > 1000
    assert min(cpu_s(text) for _ in range(3)) < 0.2


@pytest.mark.parametrize(
    "piece",
    [
        *("(", "[", "a[", "x := (", "(*", "/*", "{", "'", "'$", '"', "a.", "a^", "-", "%", "T#"),
        *("(*)", "(**)*)", "(*@KEY@:DESCRIPTION*)", "@\n", "----\n", "é", "A", "A ", "1", "1.1"),
        *("IF a THEN ", "FOR i := ", "REPEAT ", "CASE x OF 1: ", "1: ", "a,", "x;", "x(a)"),
        *("PROGRAM p ", "METHOD m ", "PROPERTY p : INT GET ", "NAMESPACE n ", "ACTION a "),
        *("VAR a : ", "ARRAY[1..2] OF ", "STRUCT a : ", "POINTER TO ", "2(", "END_VAR "),
        *("AND a ", "+1", "NOT ", "x := y;\n", "#", "ELSIF a THEN ", "STEP s: ", "END_IF "),
    ],
)
@pytest.mark.parametrize("head", ["PROGRAM p ", "VAR a : INT := "])
def test_a_hostile_text_takes_no_longer_than_its_length(piece: str, head: str) -> None:
    # Read in one pass it takes up to half a second; in the square of its length, tens of them.
    assert cpu_s(head + piece * _N) < 2


@pytest.mark.parametrize("text", ["(" * 100_000, "x := " + "(" * 100_000, "(*" * 500_000])
def test_brackets_and_comments_without_end_are_one_mistake(text: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_file(text, "f.st")
    assert len(caught.value.mistakes) == 1
