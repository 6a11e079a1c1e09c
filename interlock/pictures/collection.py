"""All pictures of a model: which there are, what they need, and how they are made."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interlock.independent_judge.judge import Replayed
from interlock.independent_judge.moments import moments_of
from interlock.independent_judge.player import Player
from interlock.independent_judge.run_file import RunFile, replay_file
from interlock.judgement.effect_cells import judged_matrix
from interlock.judgement.finding import Finding, Verification
from interlock.judgement.verify import verify
from interlock.kernel.query import Engine, Limits, ProgressSink, Query
from interlock.kernel.requirement import Outcome
from interlock.model.build import FAULT_FREE, SCAN, Built, RunClass, build
from interlock.model.model import Model
from interlock.pictures.conversions import draw_conversions
from interlock.pictures.effect_matrix import draw_effect_matrix
from interlock.pictures.frames import draw_sheet, frames_of_conversions, frames_of_run
from interlock.pictures.machines import draw_machines
from interlock.pictures.matrix import draw_matrix
from interlock.pictures.memory import draw_memory
from interlock.pictures.permissives import draw_permissives
from interlock.pictures.picture import Picture, assumption_notes
from interlock.pictures.program import DrawnProgram, deciding_of_run
from interlock.pictures.sequence import draw_sequence
from interlock.pictures.shown.conversions import Conversions, ConversionStudy
from interlock.pictures.shown.influence import Influence, InfluenceStudy
from interlock.pictures.shown.memory import MemoryStudy, Remembered
from interlock.pictures.side_view import SideView
from interlock.pictures.signal_list import draw_signals
from interlock.pictures.supplies import draw_supplies
from interlock.pictures.timing import draw_timing

KINDS = {
    "machines": "the state diagram of each machine of the plant",
    "conversions": "the map of reachable configurations and conversions",
    "permissives": "which signals permit which motion, for each machine that is driven",
    "matrix": "the cause-and-effect matrix, also as a CSV table",
    "memory": "the state diagram of what each block of the program remembers, or of each "
    "variable of several values, where it has few states",
    "demands": "the model's own matrix of causes and effects, each cell judged, also as XLSX",
    "signals": "the list of inputs and outputs, as XLSX and CSV",
    "networks": "what of the program is drawn: ladder, blocks and charts, after the first scan; "
    "and with runs the networks that decided the last scan of each",
    "supplies": "what each supply of power feeds, for models that declare some",
    "side-view": "the side view at the start and in each configuration of the conversions",
    "runs": "a sequence chart of the run that violates a requirement, for each violated one",
    "steps": "the side view of each step of such a run",
    "timing": "the timing diagram of such a run, with the program's lines that decided",
}
# What needs an exploration, of the two sorts.
_OF_MAPS = ("conversions", "side-view")
_OF_INFLUENCE = ("matrix", "permissives")
_OF_RUNS = ("runs", "steps", "timing")
OF_SAVED_RUNS = ("steps", "timing")
UNTIMED = ("conversions", "permissives", "matrix", "memory", "demands", "side-view")
"""What is explored for as if no time passed, and so not drawn of a model with time."""


@dataclass(frozen=True)
class Drawn:
    """The pictures, the verification where runs were asked for, and what has no diagram.

    What the program remembers is left out where it has too many states to be drawn.
    """

    pictures: tuple[Picture, ...]
    verification: Verification | None
    left_out: tuple[str, ...] = ()

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
    every: bool = False,
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
    every : bool
        Whether timing diagrams show what never changes, too.
    """
    pictures: list[Picture] = []
    if "machines" in kinds:
        pictures += draw_machines(model)
    has_demands = "demands" in kinds and model.matrix is not None
    has_influence = has_demands or not set(_OF_INFLUENCE).isdisjoint(kinds)
    maps = Maps(None, None)
    has_map = not set(_OF_MAPS).isdisjoint(kinds)
    if has_influence or has_map or "memory" in kinds:
        built = build(model, run_class)
        wanted = (has_map, has_influence, "memory" in kinds)
        maps = explore_maps(built, engine, *wanted, limits=limits, progress=progress)
        pictures += _of_maps(built, maps, kinds)
    if "signals" in kinds:
        pictures.append(draw_signals(model))
    if "supplies" in kinds:
        pictures += draw_supplies(model)
    if "networks" in kinds:
        pictures += draw_program(model)
    if "side-view" in kinds:
        pictures.append(_at_the_start(model))
    verification = None
    if has_demands or not set(_OF_RUNS).isdisjoint(kinds):
        verification = verify(model, engine, run_class, limits=limits, progress=progress)
        judged = judged_matrix(verification) if has_demands else None
        if judged is not None:
            pictures.append(draw_effect_matrix(judged, model, maps.influence))
        for finding in verification.findings:
            if finding.run is not None:
                pictures += draw_run(model, finding, kinds, every)
                if "networks" in kinds:
                    pictures += draw_deciding(model, finding)
    return Drawn(tuple(pictures), verification, maps.memory_left_out)


@dataclass(frozen=True)
class Maps:
    """What one exploration tells: conversions, what switches the outputs, what is remembered."""

    conversions: Conversions | None
    influence: Influence | None
    memory: tuple[Remembered, ...] = ()
    memory_left_out: tuple[str, ...] = ()


def explore_maps(
    built: Built,
    engine: Engine,
    conversions: bool = True,
    influence: bool = True,
    memory: bool = False,
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
) -> Maps:
    """Explore a system once for all that is drawn of what is reachable.

    Parameters
    ----------
    built : Built
    engine : Engine
    conversions, influence, memory : bool
        Which of the parts of `Maps` are wanted.
    limits : Limits
        What they cut short is said in the results.
    progress : callable, optional
    """
    of_map = ConversionStudy(built) if conversions else None
    of_outputs = InfluenceStudy(built) if influence else None
    of_memory = MemoryStudy(built) if memory else None
    asked: list[Query] = [] if of_map is None else list(of_map.queries)
    n_of_map = len(asked)
    asked += [] if of_outputs is None else of_outputs.queries
    n_of_both = len(asked)
    asked += [] if of_memory is None else of_memory.queries
    explored = engine.explore(built.system, asked, limits, progress)
    answers, limit = explored.answers, explored.limit
    return Maps(
        None if of_map is None else of_map.result(answers[:n_of_map], limit, engine, limits),
        None if of_outputs is None else of_outputs.result(answers[n_of_map:n_of_both]),
        () if of_memory is None else of_memory.result(answers[n_of_both:]),
        () if of_memory is None else tuple(of_memory.left_out),
    )


def _of_maps(built: Built, maps: Maps, kinds: Sequence[str]) -> Iterator[Picture]:
    """The pictures that one exploration gives."""
    if maps.conversions is not None and "conversions" in kinds:
        yield draw_conversions(built, maps.conversions)
    if maps.influence is not None:
        if "permissives" in kinds:
            yield from draw_permissives(built, maps.influence)
        if "matrix" in kinds:
            yield draw_matrix(built, maps.influence)
    yield from draw_memory(built, maps.memory)
    if maps.conversions is not None and "side-view" in kinds and maps.conversions.runs:
        yield _of_conversions(built, maps.conversions)


def draw_run(
    model: Model, finding: Finding, kinds: Sequence[str] = _OF_RUNS, every: bool = False
) -> Iterator[Picture]:
    """The pictures of a run that violates a requirement.

    Parameters
    ----------
    model : Model
    finding : Finding
        With a replayed run.
    kinds : sequence of str
        Which of ``"runs"``, ``"steps"`` and ``"timing"``.
    every : bool
        Whether the timing diagram shows what never changes, too.
    """
    assert finding.run is not None
    requirement = finding.requirement
    title = f"{requirement.id} violated: {requirement.says}"
    if "runs" in kinds:
        yield draw_sequence(model, finding)
    notes = [
        f"A shortest run of {len(finding.run.happenings)} steps, replayed on the model.",
        *assumption_notes(model),
    ]
    id_ = requirement.id
    yield from _views(model, finding.run, _Told(id_, title, notes, id_), kinds, every)


def draw_saved_run(
    model: Model,
    name: str,
    run: RunFile,
    kinds: Sequence[str] = OF_SAVED_RUNS,
    every: bool = False,
) -> Iterator[Picture]:
    """The pictures of a saved run, after it was replayed.

    Parameters
    ----------
    model : Model
    name : str
        Last part of the pictures' names.
    run : RunFile
    kinds : sequence of str
        Which of ``"steps"`` and ``"timing"``.
    every : bool
        As for `draw_run`.

    Raises
    ------
    InputError
        Where the model does not allow a move, or the run is not what it claims to be.
    """
    played = replay_file(model, run)
    known = [id_ for id_ in run.violates if id_ in model.statements]
    said = [f"{id_} violated: {model.statements[id_].says}" for id_ in known]
    title = run.says or "; ".join(said) or f"A run of {model.title}"
    notes = [f"A saved run of {len(run.moves)} steps, replayed on the model.", *played.notes]
    violated = known[0] if known else ""
    replayed = Replayed(played.happenings, played.loop_start)
    yield from _views(model, replayed, _Told(name, title, notes, violated), kinds, every)


@dataclass(frozen=True)
class _Told:
    """What is said of a run: its name, a title, notes, and the requirement that it violates."""

    name: str
    title: str
    notes: Sequence[str]
    violated: str


def _views(
    model: Model, run: Replayed, told: _Told, kinds: Sequence[str], every: bool
) -> Iterator[Picture]:
    what = f"run that violates {told.violated}" if told.violated else "run"
    if "steps" in kinds:
        frames = frames_of_run(model, run, "VIOLATED" if told.violated else "")
        sheet = draw_sheet(SideView(model), frames, told.title, told.notes)
        yield Picture(f"steps-{told.name}", f"{what}, seen", sheet, is_svg=True)
    if "timing" in kinds:
        diagram = draw_timing(model, run, told.title, told.violated, every)
        yield Picture(f"timing-{told.name}", f"{what}, timed", diagram, is_svg=True)


def draw_program(model: Model) -> Iterator[Picture]:
    """What of a program is drawn, with its values after the first scan."""
    drawn = DrawnProgram(model)
    if drawn:
        player = Player(model)
        player.play(SCAN)
        yield from drawn.pictures(player.reading().get)


def draw_deciding(model: Model, finding: Finding) -> Iterator[Picture]:
    """The networks that decided what the last scan of a run changed."""
    assert finding.run is not None
    id_ = finding.requirement.id
    for number, svg in enumerate(deciding_of_run(model, finding.run), 1):
        name = f"decided-{id_}-{number}"
        yield Picture(name, f"network that decided before {id_} is violated", svg, is_svg=True)


def _at_the_start(model: Model) -> Picture:
    last = moments_of(model, [SCAN])[-1]
    title = f"{model.title}, at power-up after the first scan"
    text = SideView(model).draw(last.seen, title=title)
    return Picture("side-view", "side view at the start", text, is_svg=True)


def _of_conversions(built: Built, found: Conversions) -> Picture:
    """The side views of the runs that the map shows, one after the other."""
    model = built.model
    goals = [f"{run.goal} ({built.requirements[run.goal].says})" for run in found.runs]
    notes = [
        f"The shortest runs of the model from power-up to the goal of {' and then '.join(goals)}.",
        f"One picture for each combination of {', '.join(model.map_machines)}, as it is left, and "
        "what people and plant did in it; the controller's scans are not told.",
        *assumption_notes(model),
    ]
    runs = [(f"goal of {run.goal}", run.moves) for run in found.runs]
    frames = frames_of_conversions(model, runs)
    sheet = draw_sheet(SideView(model), frames, f"{model.title}, step by step", notes)
    return Picture("side-views", "side view of each configuration", sheet, is_svg=True)
