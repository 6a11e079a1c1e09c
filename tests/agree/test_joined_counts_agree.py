"""A program whose counts are joined does every scan that the program itself does.

From every value that a counter of eight bits has, reached or not: for one of the values of the new
inputs the scan leads to the same outputs and memory, the count to what stands for its value. Values
that are never reached may be left out of the joined program altogether, and only those.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from unittest import mock

import pytest
from hypothesis import HealthCheck, event, example, given, settings
from hypothesis import strategies as st

from interlock.kernel.evaluate import evaluate
from interlock.st import joined_counts
from interlock.st.inference import infer_ranges
from interlock.st.joined_counts import with_joined_counts
from interlock.st.layout import Settings
from interlock.st.load import load_program
from interlock.st.lower import Lowered, lower_program
from interlock.st.typed import Program
from interlock.st.types import LIMITS

_TEXT = """PROGRAM p
VAR_INPUT a, b : BOOL; END_VAR
VAR_OUTPUT q, r : BOOL; k : INT (0..3); END_VAR
VAR n : {type} := {first}; m : {other}; END_VAR
{body}
END_PROGRAM
"""

_TYPES = ("SINT", "USINT")


@st.composite
def _texts(draw: st.DrawFn) -> str:
    type_ = draw(st.sampled_from(_TYPES))
    lo, hi = LIMITS[type_]
    small = st.integers(max(lo, -4), 6)
    number = st.one_of(small, small, small, small, small, st.sampled_from((lo, hi, lo + 1, hi - 1)))

    def some() -> int:
        found: int = draw(number)
        return found

    def condition() -> str:
        first, last = sorted((some(), some()))
        op = draw(st.sampled_from(("<", "<=", ">", ">=", "=", "<>")))
        return draw(
            st.sampled_from(
                (
                    *("a", "NOT b", f"n {op} {first}", f"{first} {op} n", f"n {op} k"),
                    *(f"n > {first} AND n < {last}", f"m {op} n", f"n {op} k + {min(first, 9)}"),
                )
            )
        )

    def statement(depth: int) -> str:
        step = draw(st.sampled_from(("n := n + 1;", "n := 1 + n;", "n := n - 1;")))
        kind = draw(st.sampled_from("scqkrif" if depth < 2 else "scqkr"))
        match kind:
            case "s" | "c":
                return step
            case "q":
                return f"q := {condition()};"
            case "k":
                return f"IF {condition()} THEN k := (k + 1) MOD 4; END_IF;"
            case "r":
                value = draw(st.sampled_from((str(some()), "k")))
                return f"IF {condition()} THEN n := {value}; END_IF;"
            case "i":
                inner, other = statement(depth + 1), statement(depth + 1)
                return f"IF {condition()} THEN {inner} ELSE {other} END_IF;"
            case _:
                first, last = sorted((some(), some()))
                inner, other = statement(depth + 1), statement(depth + 1)
                return f"CASE n OF {first}..{last}: {inner} ELSE {other} END_CASE;"

    lines = [statement(0) for _ in range(draw(st.integers(2, 5)))]
    step = draw(st.sampled_from(("n := n + 1;", "n := n - 1;", "n := n + 1; n := n + 1;")))
    moves = draw(st.sampled_from(("", "m := m + 1;", "IF a THEN m := m - 1; END_IF;")))
    lines.insert(draw(st.integers(0, len(lines))), f"IF {condition()} THEN {step} END_IF;")
    return _TEXT.format(
        type=type_,
        other=draw(st.sampled_from((type_, *["SINT (0..5)"] * 4))),
        first=some(),
        body="\n".join([*lines, moves, f"r := {condition()};"]),
    )


def _text(body: str, first: int) -> str:
    return _TEXT.format(type="USINT", other="USINT", first=first, body=body)


def _scan(program: Lowered, env: dict[str, int]) -> tuple[dict[str, int], set[str]]:
    flaws = {f"{f.place.line}: {f.says}" for f in program.flaws if evaluate(f.when, env)}
    return {name: evaluate(e, env) for name, e in program.updates.items()}, flaws


def _states(program: Program, whole: Lowered) -> Iterator[dict[str, int]]:
    """Memories: the count near the ends and near what anything asks, with k and m at either end."""
    lasting = infer_ranges(program).memory
    spans = {v.name: (v.domain.lo, v.domain.hi) for v in whole.variables}
    for name in spans:
        known = lasting.get(name.removeprefix("plc."))
        spans[name] = known if isinstance(known, tuple) else spans[name]
    lo, hi = spans["plc.n"]
    near = {*range(-6, 9), lo, lo + 1, lo + 2, hi - 2, hi - 1, hi}
    for count in sorted(near & set(range(lo, hi + 1))):
        for end in (0, 1):
            yield {name: span[end] for name, span in spans.items()} | {"plc.n": count}


def _is_reached(whole: Lowered, memory: dict[str, int]) -> bool:
    """Whether the program itself comes to `memory`, told by doing all of its scans."""
    names = sorted(memory)
    wanted = tuple(memory[name] for name in names)
    first = {v.name: v.initial for v in whole.variables}
    todo = [tuple(first[name] for name in names)]
    seen = set(todo)
    while todo and wanted not in seen:
        here = dict(zip(names, todo.pop(), strict=True))
        for a, b in product((0, 1), repeat=2):
            after, _ = _scan(whole, here | {"input.a": a, "input.b": b})
            there = tuple(after.get(name, here[name]) for name in names)
            if there not in seen:
                seen.add(there)
                todo.append(there)
    return wanted in seen


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(_texts())
@example(_text("IF n < 0 THEN n := n + 1; END_IF;\nn := n + 1;\nn := n - 1;\nr := 0 < n;", 255))
def test_every_scan_of_the_program_is_one_of_what_is_explored(text: str) -> None:
    program = load_program(text, "p.st")
    with mock.patch.multiple(joined_counts, _FEW=16, _WORTH=1):
        joined = with_joined_counts(program)
    new = [v.name for v in joined.inputs if v.name not in {"a", "b"}] if joined else []
    if joined is None or len(new) > 4:
        event("nothing is joined, or too much to try")
        return
    event("joined")
    whole, coarse = lower_program(program, Settings()), lower_program(joined, Settings())
    kept = {v.name: v.domain for v in coarse.variables}
    uncounted = {f.place.line for one in joined.any_values for f in one.flaws}

    def stands_for(memory: dict[str, int]) -> dict[str, int]:
        return {n: min(max(v, kept[n].lo), kept[n].hi) for n, v in memory.items() if n in kept}

    for memory, a, b in product(_states(program, whole), (0, 1), (0, 1)):
        given_ = {"input.a": a, "input.b": b}
        after, flaws = _scan(whole, memory | given_)
        found = []
        for leaps in product((0, 1), repeat=len(new)):
            chosen = {f"input.{name}": value for name, value in zip(new, leaps, strict=True)}
            found.append(_scan(coarse, stands_for(memory) | given_ | chosen))
        same = [told for reached, told in found if reached == stands_for(after)]
        if not same and stands_for(memory) != {n: memory[n] for n in kept}:
            assert not _is_reached(whole, memory), (text, memory)
            event("a value that is never reached is left out")
            continue
        assert same, (text, memory, a, b, after, found)
        # Nobody judges whether counting overflows; every other flaw is met as well.
        judged = {flaw for flaw in flaws if int(flaw.partition(":")[0]) not in uncounted}
        assert any(judged <= told for told in same), (text, memory, flaws, same)


_USES = {
    "n MOD 3 = 1": False,
    "n + 1 > 4": False,
    "SEL(a, n, 3) = 5": False,
    "DINT_TO_REAL(n) > 3.0": False,
    "n.3": False,
    "MIN(n, 4) = 4": False,
    "m > n": False,
    "n > k": True,
    "n > 4 AND n <> 7": True,
    "4 < n": True,
}


@pytest.mark.parametrize("asked", _USES)
def test_only_counters_that_are_compared_with_few_values_are_joined(asked: str) -> None:
    text = f"""PROGRAM p
VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; k : INT (0..3); END_VAR
VAR n, m : DINT; END_VAR
IF a THEN n := n + 1; END_IF; m := m - 1; q := {asked}; END_PROGRAM"""
    program = load_program(text, "p.st")
    joined = with_joined_counts(program) or program
    assert (infer_ranges(joined).memory["n"] != infer_ranges(program).memory["n"]) == _USES[asked]


@pytest.mark.parametrize(
    "change",
    ["n := n + 2;", "n := m;", "n := n * 2;", "n := n + k;", "m := n;", "c(CU := a, PV := n);"],
)
def test_a_counter_that_is_used_otherwise_is_not_joined(change: str) -> None:
    text = f"""PROGRAM p
VAR_INPUT a : BOOL; k : INT; END_VAR VAR_OUTPUT q : BOOL; END_VAR
VAR n, m : DINT; c : CTU; END_VAR
IF a THEN n := n + 1; END_IF; m := m - 1; {change} q := n > 4 AND m < 9 AND c.Q; END_PROGRAM"""
    joined = with_joined_counts(load_program(text, "p.st"))
    before = infer_ranges(load_program(text, "p.st")).memory["n"]
    assert joined is None or infer_ranges(joined).memory["n"] == before


def test_what_is_named_from_outside_keeps_its_values() -> None:
    text = """PROGRAM p
VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR VAR n : DINT; END_VAR
IF a THEN n := n + 1; END_IF; q := n > 4; END_PROGRAM"""
    assert with_joined_counts(load_program(text, "p.st"), {"n"}) is None
    joined = with_joined_counts(load_program(text, "p.st"))
    assert joined is not None
    assert infer_ranges(joined).memory["n"] == (-1, 5)
