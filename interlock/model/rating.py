"""Reading a rating file: safety functions with claimed figures, for arithmetic only.

A file's shape::

    title: …
    model: .                       # folder of a model, relative to the file; optional
    usage: {conversions: 880, operations: 6160}   # operations in a year, by a name of one's own
    functions:
      SF1:
        says: …
        requirements: [R01, R02]   # of the model: what the function must keep
        hazard: H1                 # of the model, or risk: [S2, F2, P2]
        category: '3'
        level: d
        ccf: 70                    # points of 100
        channels:                  # one or two
          - [{says: …, b10d: 2.0e+7, per_year: conversions, dc: 0.9, source: …}]
          - [{says: …, mttfd: 100, dc: 0.9, assumed: true}]
        iec62061: {architecture: D, beta: 0.02, proof_test_h: 8760, diagnosis_h: 24}
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from interlock.base.errors import InputError, Mistake, MistakeList, nearest
from interlock.model.files import read_text
from interlock.model.yaml import Document, Path, read
from interlock.reliability.category import Claim
from interlock.reliability.performance_level import Category, PerformanceLevel


def _truth(value: object) -> object:
    known = {"true": True, "false": False}
    return known.get(value.casefold(), value) if isinstance(value, str) else value


Truth = Annotated[bool, BeforeValidator(_truth)]
Fraction = Annotated[float, Field(ge=0, le=1)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]


class _Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class PartShape(_Shape):
    """A part of a channel: its MTTFd in years, or B10d in cycles with cycles in a year."""

    says: str
    mttfd: Positive | None = None
    b10d: Positive | None = None
    per_year: str | None = None
    count: Annotated[int, Field(ge=1)] = 1
    dc: Fraction = 0.0
    source: str = ""
    assumed: Truth = False


class SubsystemShape(_Shape):
    """What IEC 62061 asks for beside the parts."""

    architecture: Literal["A", "B", "C", "D"]
    beta: Fraction = 0.02
    proof_test_h: Positive = 8760.0
    diagnosis_h: Positive = 24.0


class FunctionShape(_Shape):
    """A safety function and what is claimed for it."""

    says: str
    requirements: list[str] = Field(default_factory=list)
    hazard: str | None = None
    risk: list[str] | None = None
    category: Literal["B", "1", "2", "3", "4"]
    level: Literal["a", "b", "c", "d", "e"] | None = None
    ccf: Annotated[float, Field(ge=0, le=100)] | None = None
    channels: list[list[PartShape]] = Field(min_length=1, max_length=2)
    iec62061: SubsystemShape | None = None


class RatingShape(_Shape):
    """A rating file."""

    title: str
    model: str | None = None
    edition: Literal["2006", "2015", "2023"] = "2015"
    usage: dict[str, Positive] = Field(default_factory=dict)
    functions: dict[str, FunctionShape] = Field(min_length=1)
    assumptions: list[str] = Field(default_factory=list)


@dataclass(frozen=True)
class Part:
    """A part of a channel.

    Attributes
    ----------
    mttfd_years : float or None
        Given directly, or None with B10d.
    b10d_cycles, n_per_year : float or None
    dc : float
        Fraction, 0..1.
    """

    says: str
    count: int
    mttfd_years: float | None
    b10d_cycles: float | None
    n_per_year: float | None
    dc: float
    source: str
    assumed: bool


@dataclass(frozen=True)
class Subsystem:
    """The further figures of an IEC 62061 subsystem; times in hours."""

    architecture: str
    beta: float
    proof_test_h: float
    diagnosis_h: float


@dataclass(frozen=True)
class SafetyFunction:
    """A safety function with its claim.

    Attributes
    ----------
    risk : tuple of int or None
        Severity, frequency and avoidance, 1 or 2 each.
    """

    id: str
    says: str
    requirements: tuple[str, ...]
    hazard: str | None
    risk: tuple[int, int, int] | None
    category: Category
    level: PerformanceLevel | None
    ccf_points: float | None
    channels: tuple[tuple[Part, ...], ...]
    subsystem: Subsystem | None

    def claim(self, dc_avg: float | None = None, mttfd_years: float | None = None) -> Claim:
        """The claim with figures that were worked out."""
        return Claim(self.category, self.level, dc_avg, mttfd_years, self.ccf_points)


@dataclass(frozen=True)
class Rating:
    """A rating file, read.

    Attributes
    ----------
    model : Path or None
        Folder of the model whose fault exploration the claims are held against.
    edition : int
        Of ISO 13849-1.
    sources : mapping of str to str
        Text of the file by its name.
    """

    title: str
    file: FilePath
    model: FilePath | None
    edition: int
    functions: Mapping[str, SafetyFunction]
    assumptions: tuple[str, ...]
    document: Document
    sources: Mapping[str, str] = field(default_factory=dict, repr=False)


def load_rating(file: FilePath) -> Rating:
    """Read a rating file.

    Raises
    ------
    InputError
        With every mistake and its place.
    """
    text = read_text(file)
    document = read(text, str(file))
    try:
        shape = RatingShape.model_validate(document.value)
    except ValidationError as error:
        raise InputError([_mistake(document, e) for e in error.errors()]) from None
    mistakes = MistakeList()
    functions = {
        id_: _function(document, shape, id_, given, mistakes)
        for id_, given in shape.functions.items()
    }
    if mistakes:
        raise InputError(mistakes)
    return Rating(
        title=shape.title,
        file=file,
        model=None if shape.model is None else file.parent / shape.model,
        edition=int(shape.edition),
        functions=functions,
        assumptions=tuple(shape.assumptions),
        document=document,
        sources={str(file): text},
    )


def _mistake(document: Document, error: Any) -> Mistake:
    path: Path = tuple(error["loc"])
    message = str(error["msg"])
    if error["type"] == "extra_forbidden":
        known = _known_beside(path)
        return Mistake(
            document.key_place(path), f"'{path[-1]}' is not known{nearest(str(path[-1]), known)}"
        )
    if error["type"] == "missing":
        return Mistake(document.key_place(path[:-1]), f"'{path[-1]}' is missing")
    found = error.get("input")
    shown = f", found '{found}'" if isinstance(found, str) else ""
    name = path[-1] if path else "the file"
    return Mistake(document.place(path), f"{name}: {message[:1].lower()}{message[1:]}{shown}")


def _known_beside(path: Path) -> list[str]:
    shapes: dict[int, type[BaseModel]] = {1: RatingShape, 3: FunctionShape}
    shape = shapes.get(len(path), PartShape)
    if "iec62061" in path[:-1]:
        shape = SubsystemShape
    return list(shape.model_fields)


def _function(
    document: Document,
    shape: RatingShape,
    id_: str,
    given: FunctionShape,
    mistakes: list[Mistake],
) -> SafetyFunction:
    path: Path = ("functions", id_)
    channels = tuple(
        tuple(
            _part(document, shape, (*path, "channels", c, p), part, mistakes)
            for p, part in enumerate(parts)
        )
        for c, parts in enumerate(given.channels)
    )
    _check_channels(document, path, given, mistakes)
    sub = given.iec62061
    return SafetyFunction(
        id=id_,
        says=given.says,
        requirements=tuple(given.requirements),
        hazard=given.hazard,
        risk=_risk(document, path, given, mistakes),
        category=Category(given.category),
        level=None if given.level is None else PerformanceLevel[given.level.upper()],
        ccf_points=given.ccf,
        channels=channels,
        subsystem=None
        if sub is None
        else Subsystem(sub.architecture, sub.beta, sub.proof_test_h, sub.diagnosis_h),
    )


def _check_channels(
    document: Document, path: Path, given: FunctionShape, mistakes: list[Mistake]
) -> None:
    at = document.key_place((*path, "channels"))
    wanted = 2 if given.category in ("3", "4") else 1
    if given.category != "2" and len(given.channels) != wanted:
        said = f"category {given.category} has {wanted} channel{'s'[: wanted > 1]}"
        mistakes.append(Mistake(at, f"{said}; {len(given.channels)} given"))
    if any(not parts for parts in given.channels):
        mistakes.append(Mistake(at, "a channel needs at least one part"))
    further = given.iec62061
    if further is not None and further.architecture in "BD" and len(given.channels) != 2:
        place = document.place((*path, "iec62061", "architecture"))
        said = f"architecture {further.architecture} has two elements"
        mistakes.append(Mistake(place, f"{said}; {len(given.channels)} given"))


def _part(
    document: Document, shape: RatingShape, path: Path, part: PartShape, mistakes: list[Mistake]
) -> Part:
    place = document.place(path)
    if (part.mttfd is None) == (part.b10d is None):
        mistakes.append(Mistake(place, f"'{part.says}': give either mttfd or b10d"))
    if (part.b10d is None) != (part.per_year is None):
        mistakes.append(Mistake(place, f"'{part.says}': b10d and per_year go together"))
    n_per_year = None
    if part.per_year is not None:
        n_per_year = shape.usage.get(part.per_year)
        if n_per_year is None:
            said = f"'{part.per_year}' is not a usage{nearest(part.per_year, shape.usage)}"
            mistakes.append(Mistake(document.place((*path, "per_year")), said))
    if not part.source and not part.assumed:
        mistakes.append(
            Mistake(place, f"'{part.says}': a figure needs its 'source', or 'assumed: true'")
        )
    return Part(
        part.says,
        part.count,
        part.mttfd,
        part.b10d,
        n_per_year,
        part.dc,
        part.source,
        part.assumed,
    )


def _risk(
    document: Document, path: Path, given: FunctionShape, mistakes: list[Mistake]
) -> tuple[int, int, int] | None:
    if given.risk is None:
        return None
    words = {letter: {f"{letter}1": 1, f"{letter}2": 2} for letter in "SFP"}
    if len(given.risk) == 3:
        found = [words[letter].get(word) for letter, word in zip("SFP", given.risk, strict=True)]
        if None not in found:
            s, f, p = (value or 0 for value in found)
            return (s, f, p)
    said = f"risk: expected [S1 or S2, F1 or F2, P1 or P2], found {', '.join(given.risk)}"
    mistakes.append(Mistake(document.place((*path, "risk")), said))
    return None
