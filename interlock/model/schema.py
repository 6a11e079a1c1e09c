"""The shape of a model file, and its JSON Schema for editors.

Only the shape is judged here; names and expressions are judged in ``interlock.model.load``.
Expressions are Structured Text and stay texts at this point.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints

Name = Annotated[
    str,
    StringConstraints(pattern=r"^[A-Za-z_][A-Za-z0-9_]*$", max_length=60),
    Field(description="An identifier: letters, digits and _, not starting with a digit."),
]
Expression = Annotated[
    str,
    StringConstraints(min_length=1, max_length=4000),
    Field(description="A Structured Text expression (IEC 61131-3)."),
]
Words = Annotated[str, StringConstraints(max_length=2000)]


def _as_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


Names = Annotated[list[Name], BeforeValidator(_as_list)]


class _Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class MoveShape(_Shape):
    """One move of a machine: from a state to another, when its guard holds."""

    from_: Names = Field(alias="from", description="A state, or a list of states.")
    to: Name
    when: Expression | None = Field(None, description="Guard over plant, controls and outputs.")
    by: Literal["plant", "operator", "driver", "human"] | None = Field(
        None, description="Who makes the move; 'human' is a declared human error."
    )
    also: dict[Name, Expression] = Field(
        default_factory=dict, description="Other machines that change in the same instant."
    )
    name: Words | None = None
    says: Words | None = None


class MachineShape(_Shape):
    """A component of the plant: named states and the moves between them."""

    says: Words = ""
    states: list[Name] = Field(min_length=1, max_length=64)
    initial: Name | None = Field(None, description="The first state where absent.")
    by: Literal["plant", "operator", "driver"] = "plant"
    moves: list[MoveShape] = Field(default_factory=list)


class ControlShape(_Shape):
    """What an operator sets freely: a button, or a lever or key with named positions."""

    says: Words = ""
    positions: list[Name] | None = Field(None, min_length=2, max_length=64)
    initial: Name | None = None
    by: Literal["operator", "driver"] = "operator"
    when: Expression | None = Field(None, description="Where it can be set at all.")
    released: Name | None = Field(
        None, description="The position a spring returns it to; shown as 'released'."
    )


class SensorShape(_Shape):
    """A signal: what it reads of the plant truth while it works."""

    says: Words = ""
    reads: Expression
    pair: Name | None = Field(None, description="The other channel of an antivalent or like pair.")


class OutputShape(_Shape):
    """How an output of the controller is shown."""

    says: Words = ""
    lamp: Literal["red", "yellow", "green", "blue", "white"] | None = None
    sounds: bool = False


class HazardShape(_Shape):
    """A hazardous situation, with the risk graph's parameters of ISO 13849-1."""

    says: Words
    severity: Literal["S1", "S2"] | None = None
    exposure: Literal["F1", "F2"] | None = None
    avoidance: Literal["P1", "P2"] | None = None


class ScopeShape(_Shape):
    """Over which part of a run a requirement is judged."""

    before: Expression | None = None
    after: Expression | None = None
    between: Expression | None = None
    and_: Expression | None = Field(None, alias="and")
    from_: Expression | None = Field(None, alias="from")
    until: Expression | None = None


class RequirementShape(_Shape):
    """One requirement: exactly one pattern, and what it applies to."""

    says: Words
    never: Expression | None = None
    always: Expression | None = None
    exists: Expression | None = None
    whenever: Expression | None = None
    leads_to: Expression | None = None
    event: Expression | None = None
    only_after: Expression | None = None
    can_still: Expression | None = None
    when: Expression | None = Field(
        None, description="Condition under which 'never' or 'always' applies."
    )
    scope: ScopeShape | None = None
    judged: Literal["every state", "after scan"] = "every state"
    about: Literal["truth", "signals"] = Field(
        "truth", description="'signals' lets the requirement name sensors, which may lie."
    )
    survives: int = Field(0, ge=0, le=9, description="Component faults it must survive.")
    hazards: Names = Field(default_factory=list)


class FaultShape(_Shape):
    """A component fault. Its name is a BOOL that guards and sensors may read."""

    says: Words
    sensor: Name | None = None
    output: Name | None = None
    stuck: Literal["TRUE", "FALSE", "frozen"] | None = None
    rate: float | None = Field(None, ge=0, description="Failures per hour.")
    source: Words | None = Field(None, description="Where the rate comes from.")


class RunShape(_Shape):
    """How the controller runs."""

    moves_per_scan: int = Field(1, ge=1, le=8)
    scan_ms: int = Field(100, ge=1, le=60_000)
    timers: Literal["free", "counted"] = "free"
    edges: Literal["first edition", "second edition"] = "second edition"


class ModelShape(_Shape):
    """A model of a vehicle (or any plant) and its interlock."""

    title: Words
    says: Words = ""
    controller: Words = Field(description="File of the Structured Text program, beside the model.")
    run: RunShape = RunShape()
    assumptions: list[Words] = Field(default_factory=list)
    cautions: list[Words] = Field(default_factory=list)
    plant: dict[Name, MachineShape] = Field(min_length=1)
    controls: dict[Name, ControlShape] = Field(default_factory=dict)
    sensors: dict[Name, SensorShape] = Field(default_factory=dict)
    outputs: dict[Name, OutputShape] = Field(default_factory=dict)
    terms: dict[Name, Expression] = Field(default_factory=dict)
    unsafe: Expression | None = Field(
        None, description="Plant states that the map of conversions marks as unsafe."
    )
    map: Names = Field(default_factory=list, description="Machines that the map is collapsed to.")
    hazards: dict[Name, HazardShape] = Field(default_factory=dict)
    requirements: dict[Name, RequirementShape] = Field(min_length=1)
    faults: dict[Name, FaultShape] = Field(default_factory=dict)


def json_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of a model file."""
    schema = ModelShape.model_json_schema(by_alias=True)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
