"""Scalars of Structured Text against numpy's integers and floats, and against IEC 61131-3."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import product

import numpy as np
import pytest

from interlock.base.errors import InputError
from interlock.kernel.evaluate import evaluate
from interlock.st.check import check_program
from interlock.st.interpret import Controller
from interlock.st.layout import Settings, Timers, lay_out
from interlock.st.lower import lower_program
from interlock.st.parser import parse_program
from interlock.st.typed import Program

_NUMPY = {
    "SINT": np.int8,
    "INT": np.int16,
    "DINT": np.int32,
    "USINT": np.uint8,
    "UINT": np.uint16,
    "UDINT": np.uint32,
    "BYTE": np.uint8,
    "WORD": np.uint16,
    "DWORD": np.uint32,
}
_OPERATORS: dict[str, Callable[[int, int], int]] = {
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "*": lambda a, b: a * b,
    "/": lambda a, b: int(math.copysign(abs(a) // abs(b), a * b)) if b else 0,
    "MOD": lambda a, b: int(math.fmod(a, b)) if b else 0,
}


def _program(declared: str, body: str) -> Program:
    return check_program(parse_program(f"PROGRAM p\n{declared}\n{body}\nEND_PROGRAM", "p.st"))


def _both(program: Program, overflow: str = "wrap") -> Callable[..., tuple[int, int]]:
    """One scan from the start: output r and how many flaws, where both readings agree."""
    chosen = Settings(overflow=overflow)
    lowered = lower_program(program, chosen)
    start = {v.name: v.initial for v in lowered.variables}

    def run(**inputs: int) -> tuple[int, int]:
        result = Controller(program, chosen).scan(inputs)
        env = start | {f"input.{name}": value for name, value in inputs.items()}
        told = [flaw for flaw in lowered.flaws if evaluate(flaw.when, env)]
        assert evaluate(lowered.updates["r"], env) == result.outputs["r"]
        assert {str(d) for d in result.defects} == {f"{f.place}: {f.says}" for f in told}
        return result.outputs["r"], len(told)

    return run


def _near_limits(base: str) -> list[int]:
    info = np.iinfo(_NUMPY[base])
    values = {info.min, info.min + 1, info.max - 1, info.max, 0, 1, 2, 7, 100, info.max // 2 + 1}
    return sorted(values | {v for v in (-1, -2, -7) if v >= info.min})


def _wrapped(value: int, base: str) -> int:
    return int(np.array([value % (1 << 64)], dtype=np.uint64).astype(_NUMPY[base])[0])


@pytest.mark.parametrize("base", ["SINT", "INT", "DINT", "USINT", "UINT"])
@pytest.mark.parametrize("op", _OPERATORS)
def test_integers_wrap_as_numpy_does(base: str, op: str) -> None:
    declared = f"VAR_INPUT a, b : {base}; END_VAR VAR_OUTPUT r : {base}; END_VAR"
    run = _both(_program(declared, f"r := a {op} b;"))
    info = np.iinfo(_NUMPY[base])
    for a, b in product(_near_limits(base), repeat=2):
        exact = _OPERATORS[op](a, b)
        flawed = not info.min <= exact <= info.max or (op == "/" and b == 0)
        assert run(a=a, b=b) == (_wrapped(exact, base), flawed), (a, b)


@pytest.mark.parametrize("target", _NUMPY)
@pytest.mark.parametrize("source", ["SINT", "UINT", "DINT", "WORD"])
def test_conversions_keep_the_low_bits_as_numpy_does(source: str, target: str) -> None:
    declared = f"VAR_INPUT a : {source}; END_VAR VAR_OUTPUT r : {target}; END_VAR"
    run = _both(_program(declared, f"r := {source}_TO_{target}(a);"))
    info = np.iinfo(_NUMPY[target])
    is_bits = {source, target} & {"BYTE", "WORD", "DWORD"}
    for a in _near_limits(source):
        fits = bool(is_bits) or info.min <= a <= info.max or source == target
        assert run(a=a) == (_wrapped(a, target), not fits), a


@pytest.mark.parametrize("base", ["BYTE", "WORD", "DWORD"])
def test_bit_strings_are_as_numpy_has_them(base: str) -> None:
    kind = _NUMPY[base]
    width = np.iinfo(kind).bits
    declared = f"VAR_INPUT a, b : {base}; n : INT (-2..40); END_VAR VAR_OUTPUT r : {base}; END_VAR"
    made: dict[str, Callable[[int, int, int], int]] = {
        "a AND b": lambda a, b, _n: int(np.bitwise_and(kind(a), kind(b))),
        "a OR b": lambda a, b, _n: int(np.bitwise_or(kind(a), kind(b))),
        "a XOR b": lambda a, b, _n: int(np.bitwise_xor(kind(a), kind(b))),
        "NOT a": lambda a, _b, _n: int(np.bitwise_not(kind(a))),
        # numpy leaves shifts by the width and more open; IEC 61131-3 fills with zeros.
        "SHL(a, n)": lambda a, _b, n: _wrapped(a << max(n, 0), base) if n < width else 0,
        "SHR(a, n)": lambda a, _b, n: a >> max(n, 0),
        "ROL(a, n)": lambda a, _b, n: _turned(a, max(n, 0), width),
        "ROR(a, n)": lambda a, _b, n: _turned(a, -max(n, 0), width),
    }
    for text, expected in made.items():
        run = _both(_program(declared, f"r := {text};"))
        for a, b in product(_near_limits(base)[::3], repeat=2):
            for n in (-2, 0, 1, 5, width - 1, width, 40):
                assert run(a=a, b=b, n=n) == (expected(a, b, n), 0), (text, a, b, n)


def _turned(value: int, places: int, width: int) -> int:
    text = format(value, f"0{width}b")
    return int(text[places % width :] + text[: places % width], 2)


def test_saturation_stops_at_the_limits() -> None:
    declared = "VAR_INPUT a, b : SINT; END_VAR VAR_OUTPUT r : SINT; END_VAR"
    run = _both(_program(declared, "r := a + b;"), "saturate")
    for a, b in product(_near_limits("SINT"), repeat=2):
        assert run(a=a, b=b)[0] == min(max(a + b, -128), 127)


@pytest.mark.parametrize(("base", "kind"), [("REAL", np.float32), ("LREAL", np.float64)])
@pytest.mark.parametrize("op", ["+", "-", "*", "/"])
def test_real_numbers_are_rounded_as_numpy_does(base: str, kind: type, op: str) -> None:
    # Source: IEEE 754 binary32 and binary64. The result is scaled to be seen as a whole number.
    declared = (
        "VAR_INPUT a, b : INT (-9..9); END_VAR VAR_OUTPUT r : DINT; END_VAR "
        f"VAR x : {base}; END_VAR"
    )
    body = f"x := (TO_{base}(a) * 0.1) {op} (TO_{base}(b) / 3.0); r := TO_DINT(x * 1000000.0);"
    run = _both(_program(declared, body))
    for a, b in product((-9, -4, -1, 1, 2, 3, 7, 9), repeat=2):
        left, right = kind(a) * kind(0.1), kind(b) / kind(3.0)
        x = {"+": left + right, "-": left - right, "*": left * right, "/": left / right}[op]
        assert run(a=a, b=b)[0] == int(np.rint(x * kind(1000000.0))), (a, b)


def test_real_to_integer_rounds_to_even_and_truncates_towards_zero() -> None:
    # Source: IEC 61131-3, conversion functions (from memory): nearest, ties to even; TRUNC cuts.
    declared = "VAR_INPUT a : INT (-9..9); END_VAR VAR_OUTPUT r : INT; END_VAR"
    nearest = _both(_program(declared, "r := REAL_TO_INT(INT_TO_REAL(a) / 2.0);"))
    cut = _both(_program(declared, "r := DINT_TO_INT(TRUNC(INT_TO_REAL(a) / 2.0));"))
    for a in range(-9, 10):
        assert nearest(a=a) == (int(np.rint(a / 2)), 0)
        assert cut(a=a) == (int(a / 2), 0)


def _calls(
    declared: str, body: str, rows: list[tuple[int, ...]], names: str
) -> Iterator[list[int]]:
    """The outputs after each scan, with inputs `names` as `rows` have them."""
    program = _program(declared, body)
    chosen = Settings(Timers.COUNTED, scan_ms=100)
    controller = Controller(program, chosen)
    for row in rows:
        yield list(controller.scan(dict(zip(names, row, strict=True))).outputs.values())


def _columns(*digits: str) -> list[tuple[int, ...]]:
    return [tuple(int(digit) for digit in row) for row in zip(*digits, strict=True)]


@pytest.mark.parametrize(
    ("block", "expected"), [("TON", "0000110"), ("TOF", "0111111"), ("TP", "0111000")]
)
def test_a_preset_time_that_varies_runs_as_the_timing_diagrams_say(
    block: str, expected: str
) -> None:
    # Source: IEC 61131-3, timing diagrams: calls every 100 ms, PT 300 ms, here a variable.
    declared = (
        "VAR_INPUT i : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR "
        f"VAR t : {block}; pt : TIME := T#100ms; END_VAR"
    )
    body = "pt := T#100ms * 3; t(IN := i, PT := pt); q := t.Q;"
    found = list(_calls(declared, body, _columns("0111110"), "i"))
    assert "".join(str(row[0]) for row in found) == expected


def test_counters_count_as_the_standard_says() -> None:
    # Source: IEC 61131-3. CTU: PV 2, CU 0101101, R 0000010 gives (Q, CV) 00 01 01 12 12 00 01; CTD:
    # LD is dominant, Q := CV <= 0; CTUD: both edges in one call change nothing.
    up = "VAR_INPUT c, r : BOOL; END_VAR VAR_OUTPUT q : BOOL; v : INT; END_VAR VAR k : CTU; END_VAR"
    body = "k(CU := c, R := r, PV := 2); q := k.Q; v := k.CV;"
    rows = _calls(up, body, _columns("0101101", "0000010"), "cr")
    assert list(rows) == [[0, 0], [0, 1], [0, 1], [1, 2], [1, 2], [0, 0], [0, 1]]
    down = up.replace("CTU", "CTD")
    body = "k(CD := c, LD := r, PV := 2); q := k.Q; v := k.CV;"
    rows = _calls(down, body, _columns("0010101", "1100000"), "cr")
    assert list(rows) == [[0, 2], [0, 2], [0, 1], [0, 1], [1, 0], [1, 0], [1, -1]]
    both = "VAR_INPUT u, d : BOOL; END_VAR VAR_OUTPUT v : INT; END_VAR VAR k : CTUD; END_VAR"
    body = "k(CU := u, CD := d, R := FALSE, LD := FALSE, PV := 2); v := k.CV;"
    rows = _calls(both, body, _columns("0101010", "0001001"), "ud")
    assert [row[0] for row in rows] == [0, 1, 1, 1, 1, 2, 1]


def test_what_memory_can_hold_is_inferred_from_the_whole_program() -> None:
    declared = "VAR_INPUT up : BOOL; END_VAR VAR n, m : INT; w : WORD; t : TIME; END_VAR"
    body = (
        "IF up AND n < 7 THEN n := n + 1; ELSIF n > 0 AND NOT up THEN n := n - 1; END_IF;"
        "CASE m OF 0: m := 10; 10: m := 20; ELSE m := 0; END_CASE;"
        "w := w OR 16#5; IF t < T#5s THEN t := t + T#100ms; ELSE t := T#0s; END_IF;"
    )
    layout = lay_out(_program(declared, body), Settings())
    found = {v.name: (v.domain.lo, v.domain.hi) for v in layout.variables}
    assert found["plc.n"] == (0, 7)
    assert found["plc.m"] == (0, 20)
    assert found["plc.w"] == (0, 7)
    assert found["plc.t"][1] <= 5099


def test_a_bit_taken_from_a_negative_number_makes_it_less() -> None:
    # Two's complement: -2 without its bit 3 is -10.
    declared = "VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT r : INT; END_VAR VAR n : INT; END_VAR"
    run = _both(_program(declared, "n := -2; n.3 := a; r := n;"))
    assert [run(a=a)[0] for a in (0, 1)] == [-10, -2]


def test_numbers_beyond_what_the_engines_compute_with_are_refused_by_line() -> None:
    declared = "VAR_INPUT a, b : UDINT; END_VAR VAR_OUTPUT r : BOOL; END_VAR"
    with pytest.raises(InputError, match=r"p\.st:3:6: the result may be beyond 2\^62"):
        lay_out(_program(declared, "r := a * b > 5;"), Settings())


def test_a_real_with_too_many_values_is_refused_by_name() -> None:
    declared = "VAR_INPUT a : BOOL; END_VAR VAR x : REAL; END_VAR"
    with pytest.raises(InputError, match="'x' has more than 512 values"):
        lay_out(_program(declared, "x := x + 1.0;"), Settings())
