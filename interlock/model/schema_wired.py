"""The shapes of what is wired to a controller: its signals, its outputs, and of several itself."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from interlock.model.schema_fields import (
    Age,
    Expression,
    Milliseconds,
    Name,
    ProgramName,
    SensorAge,
    Time,
    Words,
)
from interlock.model.schema_quantities import ScaledShape


class _Wired(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    address: Words | None = Field(None, description="Its address, such as %IX0.3 or %QX1.0.")
    terminal: Words | None = Field(None, description="Module and channel, or terminal.")
    delay_ms: Milliseconds | None = Field(
        None,
        description="Greatest delay: input filter, or from an output to its effect; with "
        "'run: time' it decides what can happen.",
    )
    delay_source: Words | None = Field(None, description="Where the delay comes from.")
    delay_assumed: bool = Field(False, description="The delay is assumed.")


class SensorShape(_Wired):
    """A signal, called like an input of the program: what it reads of the plant truth while it
    works. An input without one, or one that reads nothing yet, is free.
    """

    says: Words = ""
    reads: Expression | None = Field(None, description="What it reads; free where not given.")
    pair: ProgramName | None = Field(
        None, description="The other channel of an antivalent or like pair."
    )
    scaled: ScaledShape | None = Field(
        None, description="Where it reads a quantity: the number that the program gets of it."
    )
    age: SensorAge | None = Field(
        None, description="How old a value the program may see of it, each scan anew."
    )


class BusShape(BaseModel):
    """A way by which signals come late to the program, each on its own."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    age: Age
    sensors: list[ProgramName] = Field(min_length=1)
    lost: Name | None = Field(
        None, description="A fault, declared or not: no message comes, and its signals freeze."
    )
    valid: ProgramName | None = Field(
        None, description="An input that is FALSE once that is so, as late as the bus."
    )


class ControllerShape(BaseModel):
    """One of several controllers, which scan in any order, none for ever without a turn."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    program: Words | list[Words] = Field(description="As 'controller' of a model with one.")
    root: Name | None = Field(None, description="As 'root' of a model with one controller.")
    scan_ms: int | None = Field(None, ge=1, le=60_000, description="Period of its scan.")
    scan: list[Time] | None = Field(
        None,
        min_length=2,
        max_length=2,
        description="With time: least and greatest time from one of its scans to the next; exactly "
        "'scan_ms' if not given.",
    )
    scans_while: Expression | None = Field(
        None, description="Where it scans at all; while it does not, its outputs stay as they are."
    )


class OutputShape(_Wired):
    """How an output of the controller is shown."""

    says: Words = ""
    lamp: Literal["red", "yellow", "green", "blue", "white"] | None = None
    sounds: bool = False
    announces: bool | None = Field(
        default=None,
        description="Whether it tells of something abnormal while it is on; where not given, "
        "red, yellow and blue lamps and what sounds do.",
    )
