"""Which values of a wide input a program can tell apart, where it is scaled to REAL."""

from __future__ import annotations

import re

import numpy as np

from interlock.st.load import load_program
from interlock.st.types import EnumType

_SCALED = """TYPE Line : STRUCT low : INT := 5530; high : INT := 27648; END_STRUCT; END_TYPE
PROGRAM p VAR_INPUT raw : INT; END_VAR VAR_OUTPUT q : BOOL; END_VAR
VAR line : Line; bar : REAL; END_VAR
bar := (INT_TO_REAL(raw) - INT_TO_REAL(line.low))
       / (INT_TO_REAL(line.high) - INT_TO_REAL(line.low)) * 250.0;
q := bar > 180.0;
END_PROGRAM"""


def test_a_scaling_with_initial_values_that_nothing_writes_is_one_of_constants() -> None:
    program = load_program(_SCALED, "p.st")
    assert not program.left_out
    (raw,) = program.inputs
    assert isinstance(raw.type, EnumType)
    assert len(raw.type.labels) == 2


_LIMIT = """PROGRAM p VAR_INPUT x : REAL; a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR
VAR limit : REAL; END_VAR
limit := SEL(a, 1.0, 2.0);
q := x > limit;
END_PROGRAM"""


def test_a_limit_that_each_scan_sets_first_is_never_what_it_began_with() -> None:
    (x, _) = load_program(_LIMIT, "p.st").inputs
    assert isinstance(x.type, EnumType)
    assert len(x.type.labels) == 3  # up to 1.0, up to 2.0, above; nothing at 0.0


_BLOCK = """FUNCTION_BLOCK Gauge
VAR_INPUT raw : INT; least : REAL := 0.0; most : REAL := 100.0; END_VAR
VAR_OUTPUT bar : REAL; high : BOOL; END_VAR
bar := INT_TO_REAL(raw) * (most - least) / 27648.0 + least;
high := bar > 95.0 OR high AND bar > 94.0;
END_FUNCTION_BLOCK
PROGRAM p VAR_INPUT w : INT; a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR
VAR g : Gauge; END_VAR
{} q := g.high;
END_PROGRAM"""


def test_an_input_that_a_block_hands_on_in_each_scan_is_scaled_in_it() -> None:
    program = load_program(_BLOCK.format("g(raw := w);"), "p.st")
    assert not program.left_out
    w = program.inputs[0]
    assert isinstance(w.type, EnumType)
    # As numpy computes it in binary32: 25989 gives 93.999565, 25990 94.00318, 26266 95.00145.
    starts = [int(re.findall(r"-?\d+", label)[0]) for label in w.type.labels[1:]]
    assert starts == [_first_above(94.0), _first_above(95.0)] == [25990, 26266]


def _first_above(limit: float) -> int:
    """The least whole number that the block's formula takes above a limit, in binary32."""
    one, span, least = np.float32(27648.0), np.float32(100.0), np.float32(0.0)
    numbers = range(-32768, 32768)
    return next(n for n in numbers if np.float32(n) * span / one + least > np.float32(limit))


def test_an_input_that_a_block_is_not_given_in_each_scan_is_remembered() -> None:
    # What it was given in an earlier scan is another number than the input's.
    program = load_program(_BLOCK.format("IF a THEN g(raw := w); ELSE g(); END_IF"), "p.st")
    (w,) = [v for v in program.inputs if v.name == "w"]
    assert str(w.type) == "INT"
    assert [one.input for one in program.any_values] == ["w.any", "g.raw.any"]
