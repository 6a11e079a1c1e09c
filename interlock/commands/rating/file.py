"""Reading a rating file: safety functions with claimed figures, for arithmetic only.

A file's shape::

    title: …
    model: .                       # folder of a model, relative to the file; optional
    edition: '2015'                # of ISO 13849-1; or 2006, 2023
    usage:                         # operations in a year, by a name of one's own
      conversions: 880
      scans: 1.0e+8
      presses: {days: 220, hours: 16, cycle_s: 5}
    functions:
      SF1:
        says: …
        requirements: [R01, R02]   # of the model: what the function must keep
        hazard: H1                 # of the model, or risk: [S2, F2, P2]
        sil_risk: [Se3, Fr5, Pr3, Av3]   # IEC 62061, SIL assignment
        category: '3'
        level: d                   # claimed, as is sil: 2
        ccf: 70                    # points of 100
        channels:                  # one; two in categories 3 and 4
          - [{says: …, b10d: 2.0e+7, per_year: conversions, dc: 0.9, source: …}]
          - [{says: …, mttfd: 100, count: 2, dc: 0.9, assumed: true}]
        simplified: {mttfd: high, dc: medium}   # in place of channels, where only bands are known
        test:                      # category 2: what tests, how often, and how often it matters
          {tests: scans, demands: conversions, parts: [{says: …, mttfd: 60, assumed: true}]}
        series:                    # further subsystems, of which only the level is known
          - {says: …, level: d, count: 2, source: …}
        iec62061: {architecture: D, beta: 0.02, proof_test_h: 8760, diagnosis_h: 24}
                                   # or points: 70 of IEC 62061 in place of beta
        iec61508:                  # like channels that vote, by IEC 61508-6
          {voting: 1oo3, rate_per_h: 2.5e-6, dc: 0.9, beta: 0.1, beta_d: 0.05,
           proof_test_h: 8760, mttr_h: 8, mrt_h: 8, demand: high, source: …}

A function needs at least one of channels, simplified, series and iec61508.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path as FilePath
from typing import Literal

from pydantic import ValidationError

from interlock.base.errors import InputError, Mistake, nearest
from interlock.commands.rating.shape import (
    BandsShape,
    CyclesShape,
    FunctionShape,
    InSeriesShape,
    PartShape,
    RatingShape,
    SubsystemShape,
    TestShape,
    VotedShape,
    misfits,
    mistake_of,
)
from interlock.model.files import read_text
from interlock.model.yaml import Document, Path, read
from interlock.reliability.category import Claim, DeclaredTest
from interlock.reliability.channel import cycles_per_year
from interlock.reliability.figures import Number, exactly
from interlock.reliability.integrity_level import SIL_RISK
from interlock.reliability.performance_level import (
    Category,
    Coverage,
    MttfdBand,
    PerformanceLevel,
)
from interlock.reliability.subsystems import beta_of_points
from interlock.reliability.voting import VotedChannel


@dataclass(frozen=True)
class Part:
    """A part of a channel.

    Attributes
    ----------
    mttfd_years : float or None
        Given directly, or None with B10d.
    b10d_cycles : float or None
    n_per_year : Fraction or None
        Cycles in a year.
    dc : float
        Fraction, 0..1.
    """

    says: str
    count: int
    mttfd_years: float | None
    b10d_cycles: float | None
    n_per_year: Fraction | None
    dc: float
    source: str
    assumed: bool


@dataclass(frozen=True)
class Bands:
    """What a channel is known by where no figures are given."""

    mttfd: MttfdBand
    coverage: Coverage


@dataclass(frozen=True)
class TestEquipment:
    """What tests a category-2 channel, and the rates of tests and of demands, each in a year."""

    parts: tuple[Part, ...]
    tests_per_year: Fraction
    demands_per_year: Fraction


@dataclass(frozen=True)
class InSeries:
    """So many like subsystems in series, of which only the level is known."""

    says: str
    level: PerformanceLevel
    count: int
    source: str
    assumed: bool


@dataclass(frozen=True)
class Subsystem:
    """The further figures of an IEC 62061 subsystem; times in hours.

    Attributes
    ----------
    beta : float
        Common-cause fraction.
    beta_from : str
        'given', 'points' or 'by default'.
    """

    architecture: str
    beta: float
    beta_from: str
    proof_test_h: float
    diagnosis_h: float


@dataclass(frozen=True)
class Voted:
    """Like channels that vote; `demand` is 'low' or 'high'."""

    voting: str
    demand: Literal["low", "high"]
    channel: VotedChannel
    source: str
    assumed: bool


@dataclass(frozen=True)
class SafetyFunction:
    """A safety function with its claim.

    Attributes
    ----------
    risk : tuple of int or None
        Severity, frequency and avoidance, 1 or 2 each.
    sil_risk : tuple of int or None
        Se, Fr, Pr and Av of IEC 62061.
    sil : int or None
        Claimed.
    channels : tuple of tuple of Part
        Empty where the function is known otherwise.
    """

    id: str
    says: str
    requirements: tuple[str, ...]
    hazard: str | None
    risk: tuple[int, ...] | None
    sil_risk: tuple[int, ...] | None
    category: Category | None
    level: PerformanceLevel | None
    sil: int | None
    ccf_points: float | None
    channels: tuple[tuple[Part, ...], ...]
    bands: Bands | None
    test: TestEquipment | None
    series: tuple[InSeries, ...]
    subsystem: Subsystem | None
    voted: Voted | None

    def claim(
        self,
        dc_avg: Number | None = None,
        mttfd_years: Number | None = None,
        test: DeclaredTest | None = None,
    ) -> Claim:
        """The claim with figures that were worked out."""
        return Claim(self.category, self.level, dc_avg, mttfd_years, self.ccf_points, test)


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
        raise InputError([mistake_of(document, e) for e in error.errors()]) from None
    reader = _Reader(document, shape)
    functions = {id_: reader.function(id_, given) for id_, given in shape.functions.items()}
    if reader.mistakes:
        raise InputError(reader.mistakes)
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


class _Reader:
    """Builds safety functions from their shapes; collects what is wrong with them."""

    def __init__(self, document: Document, shape: RatingShape) -> None:
        self.document = document
        self.shape = shape
        self.mistakes: list[Mistake] = []

    def mistake(self, path: Path, says: str, key: bool = False) -> None:
        """Note a mistake at the value at `path`, or at its key."""
        place = self.document.key_place(path) if key else self.document.place(path)
        self.mistakes.append(Mistake(place, says))

    def function(self, id_: str, given: FunctionShape) -> SafetyFunction:
        path: Path = ("functions", id_)
        channels = tuple(
            tuple(self.part((*path, "channels", c, p), part) for p, part in enumerate(parts))
            for c, parts in enumerate(given.channels or ())
        )
        for at, says, key in misfits(id_, given):
            self.mistake((*path, *at), says, key)
        return SafetyFunction(
            id=id_,
            says=given.says,
            requirements=tuple(given.requirements),
            hazard=given.hazard,
            risk=self.risk((*path, "risk"), given.risk, dict.fromkeys("SFP", (1, 2))),
            sil_risk=self.risk((*path, "sil_risk"), given.sil_risk, SIL_RISK),
            category=None if given.category is None else Category(given.category),
            level=None if given.level is None else PerformanceLevel[given.level.upper()],
            sil=given.sil,
            ccf_points=given.ccf,
            channels=channels,
            bands=_bands(given.simplified),
            test=self.test((*path, "test"), given.test),
            series=tuple(
                self.in_series((*path, "series", n), one) for n, one in enumerate(given.series)
            ),
            subsystem=self.subsystem((*path, "iec62061"), given.iec62061),
            voted=self.voted((*path, "iec61508"), given.iec61508),
        )

    def part(self, path: Path, part: PartShape) -> Part:
        if (part.mttfd is None) == (part.b10d is None):
            self.mistake(path, f"'{part.says}': give either mttfd or b10d")
        if (part.b10d is None) != (part.per_year is None):
            self.mistake(path, f"'{part.says}': b10d and per_year go together")
        n_per_year = None
        if part.per_year is not None:
            n_per_year = self.usage((*path, "per_year"), part.per_year)
        self.origin(path, part.says, part)
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

    def usage(self, path: Path, name: str) -> Fraction | None:
        given = self.shape.usage.get(name)
        if given is None:
            said = f"'{name}' is not a usage{nearest(name, self.shape.usage)}"
            self.mistake(path, said)
            return None
        if isinstance(given, CyclesShape):
            return cycles_per_year(given.days, given.hours, given.cycle_s)
        return exactly(given)

    def origin(self, path: Path, says: str, given: PartShape | InSeriesShape | VotedShape) -> None:
        if not given.source and not given.assumed:
            self.mistake(path, f"'{says}': a figure needs its 'source', or 'assumed: true'")

    def risk(
        self, path: Path, given: list[str] | None, known: Mapping[str, tuple[int, ...]]
    ) -> tuple[int, ...] | None:
        if given is None:
            return None
        words = [{f"{name}{value}": value for value in values} for name, values in known.items()]
        if len(given) == len(words):
            found = [of.get(word) for of, word in zip(words, given, strict=True)]
            if None not in found:
                return tuple(value or 0 for value in found)
        expected = ", ".join(" or ".join(of) for of in words)
        said = f"{path[-1]}: expected [{expected}], found {', '.join(given)}"
        self.mistake(path, said)
        return None

    def test(self, path: Path, given: TestShape | None) -> TestEquipment | None:
        if given is None:
            return None
        tests = self.usage((*path, "tests"), given.tests)
        demands = self.usage((*path, "demands"), given.demands)
        parts = tuple(self.part((*path, "parts", n), one) for n, one in enumerate(given.parts))
        if tests is None or demands is None:
            return None
        return TestEquipment(parts, tests, demands)

    def in_series(self, path: Path, given: InSeriesShape) -> InSeries:
        self.origin(path, given.says, given)
        level = PerformanceLevel[given.level.upper()]
        return InSeries(given.says, level, given.count, given.source, given.assumed)

    def subsystem(self, path: Path, given: SubsystemShape | None) -> Subsystem | None:
        if given is None:
            return None
        if given.beta is not None and given.points is not None:
            self.mistake((*path, "points"), "give either beta or points", key=True)
        beta, beta_from = 0.02, "by default"
        if given.beta is not None:
            beta, beta_from = given.beta, "given"
        elif given.points is not None:
            beta, beta_from = beta_of_points(given.points), "points"
        return Subsystem(given.architecture, beta, beta_from, given.proof_test_h, given.diagnosis_h)

    def voted(self, path: Path, given: VotedShape | None) -> Voted | None:
        if given is None:
            return None
        self.origin(path, given.voting, given)
        alone = given.voting in ("1oo1", "2oo2")
        if given.beta is None and not alone:
            self.mistake(path, f"'beta' is missing; {given.voting} has a common cause")
        beta = given.beta or 0.0
        channel = VotedChannel(
            rate_per_h=given.rate_per_h,
            dc=given.dc,
            proof_test_h=given.proof_test_h,
            mttr_h=given.mttr_h,
            mrt_h=given.mrt_h,
            beta=beta,
            beta_d=beta if given.beta_d is None else given.beta_d,
        )
        return Voted(given.voting, given.demand, channel, given.source, given.assumed)


def _bands(given: BandsShape | None) -> Bands | None:
    if given is None:
        return None
    return Bands(MttfdBand[given.mttfd.upper()], Coverage[given.dc.upper()])
