"""CASE: the first branch that has the selector's value is executed.

Source: IEC 61131-3, CASE statement: "the first group of statements, one of whose ranges contains
the computed value of the selector, shall be executed" (from memory).
"""

from __future__ import annotations

from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.kernel.evaluate import evaluate
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_project
from interlock.st.lower import lower_program

_LEAST, _MOST = -2, 9


@st.composite
def _labels(draw: st.DrawFn) -> list[list[tuple[int, int]]]:
    numbers = st.integers(_LEAST, _MOST)
    spans = st.tuples(numbers, numbers).map(lambda pair: (min(pair), max(pair)))
    return draw(st.lists(st.lists(spans, min_size=1, max_size=3), min_size=1, max_size=4))


@settings(max_examples=40, deadline=None)
@given(_labels())
def test_the_first_branch_that_has_the_value_is_executed(
    branches: list[list[tuple[int, int]]],
) -> None:
    lines = [
        ", ".join(f"{lo}..{hi}" if hi > lo else str(lo) for lo, hi in spans) + f": n := {number};"
        for number, spans in enumerate(branches)
    ]
    text = f"""PROGRAM p VAR_INPUT k : INT; END_VAR VAR_OUTPUT n : INT; END_VAR
CASE k OF
{chr(10).join(lines)}
ELSE n := 99;
END_CASE END_PROGRAM"""
    loaded = load_project({"p.st": text})
    direct = DirectController(loaded.files, loaded.root, Settings())
    scalars = Controller(loaded.program, Settings())
    lowered = lower_program(loaded.program, Settings())
    start = {v.name: v.initial for v in lowered.variables}
    for k in range(_LEAST - 1, _MOST + 2):
        having = [n for n, spans in enumerate(branches) if any(lo <= k <= hi for lo, hi in spans)]
        expected = next(iter(having), 99)
        assert direct.scan({"k": k}).outputs == {"n": expected}
        assert scalars.scan({"k": k}).outputs == {"n": expected}
        assert evaluate(lowered.updates["n"], start | {"input.k": k}) == expected
    spans = [(span, number) for number, found in enumerate(branches) for span in found]
    overlapping = any(
        max(a[0], b[0]) <= min(a[1], b[1])
        for (n, (a, _)), (m, (b, _)) in product(enumerate(spans), repeat=2)
        if n < m
    )
    assert overlapping == any("an earlier branch" in note.says for note in loaded.notes)


def test_values_of_an_enumeration_that_come_twice_are_told_by_name() -> None:
    text = """TYPE Step : (Idle, Busy, Done); END_TYPE
PROGRAM p VAR_INPUT s : Step; END_VAR VAR_OUTPUT n : INT; END_VAR
CASE s OF
Idle: n := 1;
Step#Idle, Busy: n := 2;
Busy: n := 3;
END_CASE END_PROGRAM"""
    loaded = load_project({"p.st": text})
    told = [(n.place.line, n.says) for n in loaded.notes if "an earlier branch" in n.says]
    assert told == [
        (5, "an earlier branch of this CASE has Idle, so this one is never executed for it"),
        (6, "an earlier branch of this CASE has Busy, so this one is never executed for it"),
    ]
    controller = Controller(loaded.program, Settings())
    assert [controller.scan({"s": s}).outputs["n"] for s in range(3)] == [1, 2, 2]
