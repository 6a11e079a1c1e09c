"""The shape of a rating file: which keys it may hold, and what a value of each looks like."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
)
from pydantic_core import PydanticCustomError

from interlock.base.errors import Mistake, nearest
from interlock.model.yaml import Document, Path


def _truth(value: object) -> object:
    known = {"true": True, "false": False}
    return known.get(value.casefold(), value) if isinstance(value, str) else value


def _meant(value: float) -> float:
    # Wide of anything that is meant, and narrow enough for products of a few figures.
    if not 1e-9 <= value <= 1e15:
        raise PydanticCustomError("out_of_bounds", "input should be from 1e-9 to 1e15")
    return value


Truth = Annotated[bool, BeforeValidator(_truth)]
Fraction = Annotated[float, Field(ge=0, le=1)]
Points = Annotated[float, Field(ge=0, le=100)]
Positive = Annotated[float, Field(gt=0), AfterValidator(_meant)]
Hours = Annotated[float, Field(gt=0, le=1e7)]
RepairHours = Annotated[float, Field(ge=0, le=1e7)]
Rate = Annotated[float, Field(gt=0, le=1)]
Count = Annotated[int, Field(ge=1, le=1000)]
Letter = Literal["a", "b", "c", "d", "e"]


class Shape(BaseModel):
    """What all shapes share: no key beside the known ones."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class CyclesShape(Shape):
    """Operations in a year, from days a year, hours a day and seconds a cycle."""

    days: Annotated[float, Field(gt=0, le=366)]
    hours: Annotated[float, Field(gt=0, le=24)]
    cycle_s: Positive


class PartShape(Shape):
    """A part of a channel: its MTTFd in years, or B10d in cycles with cycles in a year."""

    says: str
    mttfd: Positive | None = None
    b10d: Positive | None = None
    per_year: str | None = None
    count: Count = 1
    dc: Fraction = 0.0
    source: str = ""
    assumed: Truth = False


class BandsShape(Shape):
    """What the simplified procedure asks for, in place of channels."""

    mttfd: Literal["low", "medium", "high"]
    dc: Literal["none", "low", "medium", "high"] = "none"


class TestShape(Shape):
    """The test equipment of category 2; `tests` and `demands` are usages."""

    tests: str
    demands: str
    parts: list[PartShape] = Field(min_length=1)


class InSeriesShape(Shape):
    """A subsystem in series that is known by its level only."""

    says: str
    level: Letter
    count: Count = 1
    source: str = ""
    assumed: Truth = False


class SubsystemShape(Shape):
    """What IEC 62061 asks for beside the parts."""

    architecture: Literal["A", "B", "C", "D"]
    beta: Fraction | None = None
    points: Points | None = None
    proof_test_h: Hours = 8760.0
    diagnosis_h: Hours = 24.0


class VotedShape(Shape):
    """Like channels that vote, by IEC 61508-6."""

    voting: Literal["1oo1", "1oo2", "1oo3", "2oo2", "2oo3"]
    demand: Literal["low", "high"] = "high"
    rate_per_h: Rate
    dc: Fraction = 0.0
    beta: Fraction | None = None
    beta_d: Fraction | None = None
    proof_test_h: Hours
    mttr_h: RepairHours = 8.0
    mrt_h: RepairHours = 8.0
    source: str = ""
    assumed: Truth = False


class FunctionShape(Shape):
    """A safety function and what is claimed for it."""

    says: str
    requirements: list[str] = Field(default_factory=list)
    hazard: str | None = None
    risk: list[str] | None = None
    sil_risk: list[str] | None = None
    category: Literal["B", "1", "2", "3", "4"] | None = None
    level: Letter | None = None
    sil: Annotated[int, Field(ge=1, le=3)] | None = None
    ccf: Points | None = None
    channels: list[list[PartShape]] | None = Field(default=None, min_length=1, max_length=2)
    simplified: BandsShape | None = None
    test: TestShape | None = None
    series: list[InSeriesShape] = Field(default_factory=list)
    iec62061: SubsystemShape | None = None
    iec61508: VotedShape | None = None


def _usage_kind(value: Any) -> str:
    return _CYCLES if isinstance(value, dict) else _NUMBER


# Pydantic puts these into the way to a mistake; no key of a file can look like them.
_NUMBER, _CYCLES = "<number>", "<cycles>"
Usage = Annotated[
    Annotated[Positive, Tag(_NUMBER)] | Annotated[CyclesShape, Tag(_CYCLES)],
    Discriminator(_usage_kind),
]


class RatingShape(Shape):
    """A rating file."""

    title: str
    model: str | None = None
    edition: Literal["2006", "2015", "2023"] = "2015"
    usage: dict[str, Usage] = Field(default_factory=dict)
    functions: dict[str, FunctionShape] = Field(min_length=1)
    assumptions: list[str] = Field(default_factory=list)


_BELOW_A_FUNCTION: dict[str, type[Shape]] = {
    "channels": PartShape,
    "parts": PartShape,
    "simplified": BandsShape,
    "test": TestShape,
    "series": InSeriesShape,
    "iec62061": SubsystemShape,
    "iec61508": VotedShape,
}


def mistake_of(document: Document, error: Any) -> Mistake:
    """What Pydantic found, as a mistake with its place."""
    path: Path = tuple(part for part in error["loc"] if part not in (_NUMBER, _CYCLES))
    message = "expected a mapping" if error["type"] == "model_type" else str(error["msg"])
    if error["type"] == "extra_forbidden":
        known = _keys_beside(path)
        return Mistake(
            document.key_place(path), f"'{path[-1]}' is not known{nearest(str(path[-1]), known)}"
        )
    if error["type"] == "missing":
        return Mistake(document.key_place(path[:-1]), f"'{path[-1]}' is missing")
    found = error.get("input")
    shown = f", found '{found}'" if isinstance(found, str) else ""
    name = path[-1] if path else "the file"
    return Mistake(document.place(path), f"{name}: {message[:1].lower()}{message[1:]}{shown}")


def _keys_beside(path: Path) -> list[str]:
    if path[0] == "usage" and len(path) == 3:
        return list(CyclesShape.model_fields)
    around = [part for part in path[2:-1] if isinstance(part, str)]
    if around:
        return list(_BELOW_A_FUNCTION[around[-1]].model_fields)
    return list((RatingShape if len(path) == 1 else FunctionShape).model_fields)


def misfits(id_: str, given: FunctionShape) -> Iterator[tuple[Path, str, bool]]:
    """What does not go together in a function: where in it, what, and whether at the key."""
    if given.channels is None and given.simplified is None:
        if not given.series and given.iec61508 is None:
            known = "channels, simplified, series and iec61508"
            yield (), f"'{id_}': give at least one of {known}", True
    elif given.category is None:
        yield (), "'category' is missing", True
    if given.channels is not None and given.simplified is not None:
        yield ("simplified",), "give either channels or simplified", True
    if given.iec62061 is not None and given.channels is None:
        yield ("iec62061",), "iec62061 goes with channels", True
    if given.test is not None and given.category != "2":
        yield ("test",), "only category 2 has test equipment", True
    if given.channels is not None:
        yield from _misfits_of_channels(given, given.channels)


def _misfits_of_channels(
    given: FunctionShape, channels: list[list[PartShape]]
) -> Iterator[tuple[Path, str, bool]]:
    wanted = 2 if given.category in ("3", "4") else 1
    if given.category is not None and len(channels) != wanted:
        said = f"category {given.category} has {wanted} channel{'s'[: wanted > 1]}"
        where = "; what tests stands under 'test'" if given.category == "2" else ""
        yield ("channels",), f"{said}; {len(channels)} given{where}", True
    if any(not parts for parts in channels):
        yield ("channels",), "a channel needs at least one part", True
    further = given.iec62061
    if further is not None and further.architecture in "BD" and len(channels) != 2:
        said = f"architecture {further.architecture} has two elements; {len(channels)} given"
        yield ("iec62061", "architecture"), said, False
