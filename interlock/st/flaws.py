"""What is said of the defects that a scan may have, by the interpreter and by the lowering."""

from __future__ import annotations

from interlock.st.types import LIMITS

DIVISION = "division by zero"
NOT_FINITE = "the result is no finite number"


def misfit(base: str) -> str:
    """A result that its type does not hold."""
    lo, hi = LIMITS[base]
    return f"the result does not fit {base} ({lo}..{hi})"


def outside(target: str, lo: int, hi: int) -> str:
    """A value assigned to a variable that does not take it."""
    return f"'{target}' is assigned a value outside {lo}..{hi}"


def outside_real(target: str, base: str) -> str:
    """A number assigned to a REAL that is too large for it."""
    return f"'{target}' is assigned a value too large for {base}"


def no_such_index(first: int, last: int) -> str:
    """An index of an array, or of MUX, that no element has."""
    return f"the index is outside {first}..{last}"
