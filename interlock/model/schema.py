"""The shape of a model file, and its JSON Schema for editors.

Names and expressions are judged in ``interlock.model.load``; expressions stay texts at this point.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Annotated, Any, Literal, get_args, get_origin

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    create_model,
)

from interlock.model.between import BY_DEFAULT, BetweenText
from interlock.model.fault_kinds import Site, kinds_at
from interlock.model.matrix_signs import MEANINGS
from interlock.model.patterns import PATTERNS
from interlock.model.schema_fields import (
    Expression,
    Judged,
    Name,
    Names,
    ProgramName,
    Seconds,
    Stuck,
    UnitName,
    Within,
    Words,
)
from interlock.model.schema_quantities import QuantityShape
from interlock.model.schema_time import TimeShape
from interlock.model.schema_wired import BusShape, ControllerShape, OutputShape, SensorShape


class _Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class MoveShape(_Shape):
    """One move of a machine: from a state to another, when its guard holds."""

    from_: Names = Field(alias="from", min_length=1, description="A state, or a list of states.")
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
    seconds: list[Seconds] | None = Field(
        None, min_length=2, max_length=2, description="Least and greatest duration of the move."
    )
    source: Words | None = Field(None, description="Where the duration comes from.")
    assumed: bool = Field(False, description="The duration is assumed; shown where it is used.")
    interrupted: Literal["starts again", "goes on"] | None = Field(
        None,
        description="With time, whether what it was under way is lost where something stops it "
        "(so if absent), or kept while its machine stays where it is.",
    )
    may: bool = Field(False, description="It may happen, by itself, and need not.")


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
    bounces: bool = Field(
        False, description="It may be set any number of times before a scan sees it."
    )


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


def _bounds() -> dict[str, tuple[str, str]]:
    """Each key that takes a bound, with the patterns that it goes with and what it is to them."""
    found: dict[str, tuple[str, str]] = {}
    for key in dict.fromkeys(row.bound for row in PATTERNS.values() if row.bound):
        with_ = " or ".join(f"'{row.key}'" for row in PATTERNS.values() if row.bound == key)
        found[key] = with_, _TIMES[key]
    return found


_TIMES = {
    "within": "the most scans, or the time, until it comes.",
    "at_least": "the least time for which it stays true.",
    "at_most": "the longest time for which it is true without a break.",
    "every": "the longest time for which it is not true.",
    "for": "the time for which this is demanded.",
}

if TYPE_CHECKING:

    class _Sentence(_Shape):
        says: Words
else:
    _Sentence = create_model(
        "_Sentence",
        __base__=_Shape,
        says=(Words, ...),
        **{
            key: (Expression | None, Field(None, description=row.says))
            for row in PATTERNS.values()
            for key in row.keys
        },
        **{
            key: (Within | None, Field(None, description=f"With {with_}: {says}"))
            for key, (with_, says) in _bounds().items()
        },
    )


class RequirementShape(_Sentence):
    """One requirement: exactly one pattern, and what it applies to."""

    when: Expression | None = Field(
        None, description="Condition under which 'never' or 'always' applies."
    )
    scope: ScopeShape | None = None
    judged: Judged = "every state"
    about: Literal["truth", "signals"] = Field(
        "truth", description="'signals' lets the requirement name sensors, which may lie."
    )
    survives: int = Field(0, ge=0, le=9, description="Component faults it must survive.")
    hazards: Names = Field(default_factory=list)


class _HoldingShape(_Shape):
    says: Words
    sensor: ProgramName | None = Field(None, description="A signal that is stuck; with 'stuck'.")
    output: ProgramName | None = Field(None, description="An output that is stuck; with 'stuck'.")
    stuck: Stuck | None = None
    sensors: dict[ProgramName, Stuck] = Field(
        default_factory=dict, description="Signals lost together, each with how it is stuck."
    )
    outputs: dict[ProgramName, Stuck] = Field(default_factory=dict)


def _keys_of_kinds() -> dict[str, Any]:
    """The keys of the kinds of fault that sit at machines and at the controller."""
    found: dict[str, Any] = {}
    for kind in kinds_at(Site.MACHINE):
        found[kind.key] = (Name | None, Field(None, description=kind.key_says))
        if kind.only_in is not None:
            states: Any = Field(default_factory=list, description=kind.only_in_says)
            found[kind.only_in] = (Names, states)
    for kind in kinds_at(Site.CONTROLLER):
        found[kind.key] = (bool, Field(False, description=kind.key_says))
    return found


_DoingShape: Any = create_model("_DoingShape", __base__=_HoldingShape, **_keys_of_kinds())


class FaultShape(_DoingShape):
    """A component fault, or one event that takes several components together.

    Its name is a BOOL, TRUE once it has struck, that terms, guards and sensors may read; what it
    does may also be given here.
    """

    controllers: Names = Field(default_factory=list, description="Which of several restart.")
    intermittent: bool = Field(False, description="It may clear by itself, and strike again.")
    common_cause: bool = Field(False, description="One cause that defeats several channels.")
    rate: float | None = Field(None, ge=0, allow_inf_nan=False, description="Failures per hour.")
    probability: float | None = Field(
        None, ge=0, le=1, description="Per conversion, where no rate is given."
    )
    exposure_h: float | None = Field(
        None,
        gt=0,
        allow_inf_nan=False,
        description="Hours for which it may stay hidden: proof test or mission.",
    )
    source: Words | None = Field(None, description="Where the figure comes from.")
    assumed: bool = Field(False, description="The figure is assumed; shown wherever it is used.")
    injectable: bool | None = Field(
        None,
        description="Whether it can be brought about in a yard, for the commissioning sheet; where "
        "not given, faults of inputs, open outputs and the supply can.",
    )
    excluded: Words | None = Field(
        None, description="Reason why this fault is excluded (ISO 13849-2); it never strikes."
    )


class PowerShape(_Shape):
    """A supply that can be taken away, such as a plugged lead."""

    says: Words = ""
    while_: Expression = Field(alias="while", description="While this holds, it feeds.")


ByValue = Annotated[
    dict[Words, Words],
    Field(min_length=1, description="For each value of the expression; ELSE for all others."),
]
Shift = Annotated[
    list[Annotated[float, Field(ge=-10_000, le=10_000, allow_inf_nan=False)]],
    Field(min_length=2, max_length=2, description="To the right and downward, in user units."),
]


class PartShape(_Shape):
    """What the state of the model does to one element of the drawing."""

    shown: Expression | None = Field(None, description="Where it is drawn at all.")
    moved: dict[Expression, dict[Words, Shift]] = Field(
        default_factory=dict, description="How far each value of an expression moves it; they add."
    )
    value: Expression | None = Field(None, description="Its text is this expression's value.")
    text: dict[Expression, ByValue] = Field(
        default_factory=dict, max_length=1, description="Its text for each value of an expression."
    )
    look: dict[Expression, ByValue] = Field(
        default_factory=dict, description="A class of the drawing's style sheet for each value."
    )


Window = Annotated[
    list[Annotated[float, Field(ge=-10_000, le=10_000, allow_inf_nan=False)]],
    Field(
        min_length=4,
        max_length=4,
        description="What small pictures show of the drawing: left, top, width and height.",
    ),
]


class SideViewShape(_Shape):
    """A drawing beside the model file and what the state does to its elements."""

    drawing: Words = Field(description="An SVG file, such as mimic.svg.")
    window: Window | None = None
    parts: dict[Words, PartShape] = Field(
        default_factory=dict, description="By the id of the element."
    )
    words: dict[Expression, ByValue] = Field(
        default_factory=dict, description="The state in sentences, for who cannot see it."
    )


class RevisedSideViewShape(_Shape):
    """What a revision changes of a side view: entries replace, null removes."""

    drawing: Words | None = None
    window: Window | None = None
    parts: dict[Words, PartShape | None] = Field(default_factory=dict)
    words: dict[Expression, ByValue | None] = Field(default_factory=dict)


class RunShape(_Shape):
    """How the controller runs."""

    between_scans: BetweenText = Field(
        BY_DEFAULT,
        description="What plant and people may do between two scans; 'each once' lets every "
        "machine and every control move once, in any order. Every result names it.",
    )
    scan_ms: int = Field(
        100, ge=1, le=60_000, description="Period of the scan; counted timers and bounds need it."
    )
    time: TimeShape | None = Field(None, description="Where given, durations decide.")
    timers: Literal["free", "counted"] = "free"
    edges: Literal["first edition", "second edition"] = "second edition"
    overflow: Literal["wrap", "saturate"] = Field(
        "wrap",
        description="What becomes of an integer too large for its type; a finding either way.",
    )


class ExpectedShape(_Shape):
    """What a revision is known to do to the requirements; tests and lessons read it."""

    violated: Names = Field(default_factory=list, description="Without any fault.")
    vacuous: Names = Field(default_factory=list)
    under: dict[Name, Names] = Field(
        default_factory=dict, description="By fault: what is violated where that one may strike."
    )


class EffectMatrixShape(_Shape):
    """A matrix of causes and effects beside the model file: each of its signs is a requirement."""

    file: Words = Field(description="A CSV file or XLSX workbook, such as matrix.csv.")
    sheet: Words | None = Field(None, description="The sheet of a workbook with several.")
    legend: dict[Words, Literal[MEANINGS]] = Field(  # type: ignore[valid-type]
        default_factory=dict, description="What each sign means; X and 1 mean 'on'."
    )


class ModelShape(_Shape):
    """A model of a vehicle (or any plant) and its interlock."""

    model_config = ConfigDict(
        json_schema_extra={"oneOf": [{"required": ["controller"]}, {"required": ["controllers"]}]}
    )

    title: Words
    revises: Words | None = Field(
        None,
        description="Folder of the model that this one revises, relative to this one. Entries "
        "given here replace those of the same name, null removes one, all others are inherited.",
    )
    changes: list[Words] = Field(
        default_factory=list, description="What a revision changes, in words."
    )
    expected: ExpectedShape = ExpectedShape()
    says: Words = ""
    controller: Words | list[Words] | None = Field(
        None,
        description="The program in Structured Text: a file beside the model, or a folder, or a "
        "list of files and folders of a project.",
    )
    controllers: dict[Name, ControllerShape] = Field(
        default_factory=dict, description="In place of 'controller': several, by their names."
    )
    root: UnitName | None = Field(
        None,
        description="The PROGRAM or FUNCTION_BLOCK of the project that is executed in each scan; "
        "needed where there are several.",
    )
    run: RunShape = RunShape()
    assumptions: list[Words] = Field(default_factory=list)
    cautions: list[Words] = Field(default_factory=list)
    plant: dict[Name, MachineShape] = Field(default_factory=dict)
    controls: dict[Name, ControlShape] = Field(default_factory=dict)
    quantities: dict[Name, QuantityShape] = Field(
        default_factory=dict, description="What rises and falls: pressures, positions."
    )
    sensors: dict[ProgramName, SensorShape] = Field(default_factory=dict)
    buses: dict[Name, BusShape] = Field(
        default_factory=dict, description="What brings several signals late to the program."
    )
    outputs: dict[ProgramName, OutputShape] = Field(default_factory=dict)
    terms: dict[Name, Expression] = Field(default_factory=dict)
    unsafe: Expression | None = Field(
        None, description="Plant states that the map of conversions marks as unsafe."
    )
    map: Names = Field(default_factory=list, description="Machines that the map is collapsed to.")
    side_view: SideViewShape | None = None
    power: dict[Name, PowerShape] = Field(
        default_factory=dict, description="Supplies; 'draw' works out what acts on each alone."
    )
    hazards: dict[Name, HazardShape] = Field(default_factory=dict)
    matrix: EffectMatrixShape | None = Field(
        None, description="A matrix of causes and effects; its signs are requirements."
    )
    requirements: dict[Name, RequirementShape] = Field(default_factory=dict, min_length=1)
    faults: dict[Name, FaultShape] = Field(default_factory=dict)


@cache
def revision_shape() -> type[BaseModel]:
    """The shape of a revision: every field of a model, optional, and each entry removable."""
    fields: dict[str, Any] = {}
    for name, field in ModelShape.model_fields.items():
        kind: Any = field.annotation if name != "side_view" else RevisedSideViewShape
        if get_origin(kind) is dict:
            key, entry = get_args(kind)
            kind = dict[key, entry | None]  # type: ignore[valid-type]
        for limit in field.metadata:
            kind = Annotated[kind, limit]
        fields[name] = (kind | None, Field(None, description=field.description))
    fields["revises"] = (Words, Field(description=ModelShape.model_fields["revises"].description))
    shape: type[BaseModel] = create_model(
        "RevisionShape",
        __base__=_Shape,
        __doc__="A revision of another model: only what differs from it.",
        **fields,
    )
    return shape
