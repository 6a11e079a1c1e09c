"""The shape of what a model file says of time."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from interlock.model.schema_fields import Time


class TimeShape(BaseModel):
    """Time, counted in units, so that durations decide what may happen when."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    unit: Time = Field(description="What time is counted in, such as '100 ms'.")
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
