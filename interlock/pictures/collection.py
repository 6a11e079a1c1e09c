"""All pictures of a model: which there are, what they need, and how they are made."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interlock.kernel.query import Engine, Limits, ProgressSink, Query
from interlock.kernel.requirement import Outcome
from interlock.model.build import FAULT_FREE, Built, RunClass, build
from interlock.model.model import Model
from interlock.pictures.conversions import draw_conversions
from interlock.pictures.machines import draw_machines
from interlock.pictures.matrix import draw_matrix
from interlock.pictures.permissives import draw_permissives
from interlock.pictures.picture import Picture
from interlock.pictures.sequence import draw_sequence
from interlock.studies.conversions import ConversionStudy
from interlock.studies.influence import InfluenceStudy
from interlock.studies.verify import Verification, verify

KINDS = {
    "machines": "the state diagram of each machine of the plant",
    "conversions": "the map of reachable configurations and conversions",
    "permissives": "which signals permit which motion, for each machine that is driven",
    "matrix": "the cause-and-effect matrix, also as a CSV table",
    "runs": "a sequence chart of the run that violates a requirement, for each violated one",
}


@dataclass(frozen=True)
class Drawn:
    """The pictures, and the verification where runs were asked for."""

    pictures: tuple[Picture, ...]
    verification: Verification | None

    @property
    def outcome(self) -> Outcome:
        """That of the verification; drawing alone finds nothing wrong."""
        return Outcome.HOLDS if self.verification is None else self.verification.outcome


def draw_model(
    model: Model,
    engine: Engine,
    kinds: Sequence[str] = tuple(KINDS),
    run_class: RunClass = FAULT_FREE,
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
) -> Drawn:
    """Draw a model.

    Parameters
    ----------
    model : Model
    engine : Engine
    kinds : sequence of str
        Which of `KINDS`.
    run_class : RunClass
    limits : Limits
        For each exploration; what they cut short is said in the picture.
    progress : callable, optional
    """
    pictures: list[Picture] = []
    if "machines" in kinds:
        pictures += draw_machines(model)
    if not {"conversions", "permissives", "matrix"}.isdisjoint(kinds):
        built = build(model, run_class)
        pictures += _explored(built, engine, kinds, limits, progress)
    verification = None
    if "runs" in kinds:
        verification = verify(model, engine, run_class, limits=limits, progress=progress)
        pictures += [draw_sequence(model, f) for f in verification.findings if f.run is not None]
    return Drawn(tuple(pictures), verification)


def _explored(
    built: Built,
    engine: Engine,
    kinds: Sequence[str],
    limits: Limits,
    progress: ProgressSink | None,
) -> Iterator[Picture]:
    """The pictures that one exploration gives."""
    has_map = "conversions" in kinds
    has_influence = "matrix" in kinds or "permissives" in kinds
    conversions = ConversionStudy(built) if has_map else None
    influence = InfluenceStudy(built) if has_influence else None
    of_map: list[Query] = [] if conversions is None else conversions.queries
    of_influence: list[Query] = [] if influence is None else [*influence.queries]
    explored = engine.explore(built.system, [*of_map, *of_influence], limits, progress)
    answers = explored.answers
    if conversions is not None:
        found = conversions.result(answers[: len(of_map)], explored.limit, engine, limits)
        yield draw_conversions(built, found)
    if influence is not None:
        result = influence.result(answers[len(of_map) :])
        if "permissives" in kinds:
            yield from draw_permissives(built, result)
        if "matrix" in kinds:
            yield draw_matrix(built, result)
