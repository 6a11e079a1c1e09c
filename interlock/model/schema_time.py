"""The shape of what a model file says of time."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, WithJsonSchema

from interlock.model.schema_fields import TIME_PATTERN, Time

EXACT = "exact"
"""In place of a unit: the greatest that divides all durations."""
Unit = Annotated[
    str,
    StringConstraints(max_length=40),
    WithJsonSchema({"type": "string", "pattern": rf"{TIME_PATTERN}|^{EXACT}$"}),
]


class TimeShape(BaseModel):
    """Time, counted in units, so that durations decide what may happen when."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    unit: Unit = Field(
        description="What time is counted in, such as '100 ms'; 'exact' for the greatest unit that "
        "divides all durations, so that nothing is rounded."
    )
    scan: list[Time] | None = Field(
        None,
        min_length=2,
        max_length=2,
        description="Least and greatest time from scan to scan; exactly 'scan_ms' if not given.",
    )
    delays: Literal["counted", "added"] = Field(
        "counted",
        description="Whether delays of signals and outputs are counted in units, so that each may "
        "be late on its own, or are added to the bounds of responses and decide nothing else.",
    )
