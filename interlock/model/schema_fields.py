"""What single values of a model file may be."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    StringConstraints,
    WithJsonSchema,
)
from pydantic_core import PydanticCustomError

from interlock.model.fault_kinds import BY_VALUE

Name = Annotated[
    str,
    StringConstraints(pattern=r"^[A-Za-z_][A-Za-z0-9_]*$", max_length=60),
    Field(description="An identifier: letters, digits and _, not starting with a digit."),
]
# The parts of what the program declares have names of their own: inputs[2].firm, table[1,-2].
# Written so that Python, the checker of shapes and editors read one pattern alike; which of the
# characters beyond ASCII are letters the program decides that must declare the name.
_WORD = "[A-Za-z_\u00aa-\ufffd][A-Za-z0-9_\u00aa-\ufffd]*"
PROGRAM_NAME = rf"^{_WORD}(\.{_WORD}|\[-?[0-9]+(,-?[0-9]+)*\])*$"
UnitName = Annotated[
    str,
    StringConstraints(pattern=rf"^{_WORD}$", max_length=60),
    Field(description="A PROGRAM or FUNCTION_BLOCK of the program."),
]
ProgramName = Annotated[
    str,
    StringConstraints(pattern=PROGRAM_NAME, max_length=200),
    Field(description="A variable of the program, or a part of one: inputs[2].firm."),
]
# Editors read a bare TRUE as a boolean and a bare 1 as a number; here both stay texts.
Expression = Annotated[
    str,
    StringConstraints(min_length=1, max_length=4000),
    WithJsonSchema(
        {
            "type": ["string", "boolean", "integer"],
            "description": "A Structured Text expression (IEC 61131-3).",
        }
    ),
]
_STUCK = tuple(BY_VALUE)
Stuck = Annotated[
    Literal[_STUCK],  # type: ignore[valid-type]
    WithJsonSchema({"enum": [*_STUCK, True, False]}),
]
Words = Annotated[str, StringConstraints(max_length=2000)]
Seconds = Annotated[float, Field(ge=0, le=86_400, allow_inf_nan=False)]
Milliseconds = Annotated[float, Field(ge=0, le=3_600_000, allow_inf_nan=False)]
TIME_PATTERN = r"^[0-9]+(\.[0-9]+)? *(ms|s)$"
Time = Annotated[
    str,
    StringConstraints(max_length=40),
    WithJsonSchema({"type": "string", "pattern": TIME_PATTERN}),
]
Within = Annotated[
    str,
    StringConstraints(max_length=40),
    WithJsonSchema(
        {
            "type": "string",
            "pattern": r"^[0-9]+(\.[0-9]+)? *(scans?|ms|s)$",
            "description": "'3 scans', '500 ms' or '1.5 s'; rounded so that more is asked.",
        }
    ),
]

_JUDGED = r"^(every state|after scan( of [A-Za-z_][A-Za-z0-9_]*)?)$"


def _judged(value: str) -> str:
    if re.fullmatch(_JUDGED, value) is None:
        expected = {"expected": "'every state' or 'after scan'"}
        raise PydanticCustomError("literal_error", "expected {expected}", expected)
    return value


Judged = Annotated[
    str,
    StringConstraints(max_length=80),
    AfterValidator(_judged),
    WithJsonSchema({"anyOf": [{"enum": ["every state", "after scan"]}, {"pattern": _JUDGED}]}),
    Field(description="After each scan, of several controllers also 'after scan of NAME'."),
]

MAX_AGE = 16
"""So many scans old a signal can be: each makes the system larger."""
Age = Annotated[
    str,
    StringConstraints(max_length=40),
    WithJsonSchema(
        {
            "type": "string",
            "pattern": r"^([0-9]|1[0-6]) +scans?$",
            "description": "'2 scans': a scan reads a value of since the last scan but one. "
            "'0 scans': it reads what another controller gives, as their scans never overlap.",
        }
    ),
]
BY_DELAY = "delay"
"""An age of so many scans as the delay of the sensor may last."""
SensorAge = Annotated[
    str,
    StringConstraints(max_length=40),
    WithJsonSchema(
        {
            "type": "string",
            "pattern": rf"^(([0-9]|1[0-6]) +scans?|{BY_DELAY})$",
            "description": "As of a bus; 'delay': as many scans as 'delay_ms' may last, such as "
            "those of an input filter.",
        }
    ),
]


def _as_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


_NAME = {"type": "string", "pattern": "^[A-Za-z_][A-Za-z0-9_]*$"}
Names = Annotated[
    list[Name],
    BeforeValidator(_as_list),
    WithJsonSchema({"anyOf": [_NAME, {"type": "array", "items": _NAME}]}),
]
