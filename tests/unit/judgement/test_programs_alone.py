"""Programs without a plant that were judged wrongly once, or could not be replayed as written."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.model.build import ARITHMETIC
from interlock.model.load import load


def violated(folder: Path, program: str, never: str = "q", run: str = "{}") -> set[str]:
    """The requirements that a program violates: R1, that `never` is, and its arithmetic."""
    (folder / "main.st").write_text(program)
    (folder / "model.yaml").write_text(
        f"title: A program alone\ncontroller: main.st\nrun: {run}\nrequirements:\n"
        f"  R1: {{says: 'what is asked', never: '{never}', judged: after scan}}\n"
    )
    found = verify(load(folder), catalogue()["enumerate"]()).findings
    return {f.requirement.id for f in found if f.verdict.outcome.name == "VIOLATED"}


def program(inputs: str, body: str, inside: str = "", before: str = "") -> str:
    """A program with an output `q`."""
    return (
        f"{before}\nPROGRAM p VAR_INPUT {inputs} END_VAR VAR_OUTPUT q : BOOL; END_VAR\n"
        f"VAR {inside} spare : BOOL; END_VAR\n{body}\nEND_PROGRAM\n"
    )


@pytest.mark.parametrize("value", ["x", "x * 2.0", "ABS(x)"])
def test_a_real_input_converted_to_a_truth_value_may_be_true(tmp_path: Path, value: str) -> None:
    assert violated(tmp_path, program("x : REAL;", f"q := REAL_TO_BOOL({value});")) == {"R1"}


def test_a_number_without_its_sign_may_be_zero(tmp_path: Path) -> None:
    assert violated(tmp_path, program("x : REAL;", "q := ABS(3.0 - x) = 0.0;")) == {"R1"}


def test_a_root_of_a_negative_input_is_a_flaw(tmp_path: Path) -> None:
    text = program("x : REAL;", "q := SQRT(x) > 3.0;")
    assert violated(tmp_path, text) == {"R1", ARITHMETIC}


def test_an_input_that_is_too_large_at_both_ends_is_a_flaw(tmp_path: Path) -> None:
    text = program("x : REAL;", "q := LIMIT(-1.0, x * 1.0E32, 1.0) > 2.0;")
    assert violated(tmp_path, text) == {ARITHMETIC}


@pytest.mark.parametrize("value", ["x", "5.0 + y"])
def test_crossed_limits_of_reals_give_the_upper_one(tmp_path: Path, value: str) -> None:
    # IEC 61131-3: LIMIT(MN, IN, MX) is MIN(MAX(IN, MN), MX), from memory.
    text = program("x : REAL;", f"q := LIMIT(5.0, {value}, 1.0) = 1.0;", "y : REAL;")
    assert violated(tmp_path, text) == {"R1"}


_BLOCK = """FUNCTION_BLOCK Last
VAR_INPUT a : REAL; END_VAR VAR_OUTPUT b : REAL; END_VAR VAR c : REAL; END_VAR
b := c; c := a;
END_FUNCTION_BLOCK
"""


@pytest.mark.parametrize(
    "text",
    [
        program("x : ARRAY [0..1] OF REAL;", "q := x[0] > 5.0 AND x[1] < 1.0;"),
        program("x : REAL;", "f(a := x); q := f.b > 4.0 AND x < 3.9;", "f : Last;", _BLOCK),
        program(
            "n : INT;",
            "f(a := INT_TO_REAL(n)); q := f.c > 7000.0 AND n < 9000;",
            "f : Last;",
            _BLOCK,
        ),
    ],
)
def test_a_run_over_real_inputs_is_replayed_as_written(tmp_path: Path, text: str) -> None:
    assert violated(tmp_path, text) == {"R1"}
