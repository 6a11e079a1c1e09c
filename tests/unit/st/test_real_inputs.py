"""Which values of a wide input a program can tell apart, where it is scaled to REAL."""

from __future__ import annotations

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
