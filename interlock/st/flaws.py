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


def no_such_value(enum: str) -> str:
    """A number given to a variable that none of the values of its enumeration has."""
    return f"no value of {enum} has this number"


def outside_real(target: str, base: str) -> str:
    """A number assigned to a REAL that is too large for it."""
    return f"'{target}' is assigned a value too large for {base}"


def no_such_index(first: int, last: int) -> str:
    """An index of an array, or of MUX, that no element has."""
    return f"the index is outside {first}..{last}"


def none_at(function: str, type_: object, first: int, last: int) -> str:
    """Where nothing is found by an index, of what `typed.Call` calls ``CHOICE`` or ``VALUE``."""
    return no_such_value(str(type_)) if function == "VALUE" else no_such_index(first, last)
