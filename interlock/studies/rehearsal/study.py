"""The rehearsal: every procedure as written, and with human deviations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

from interlock.base.errors import InternalError
from interlock.engines import catalogue
from interlock.kernel.evaluate import State
from interlock.kernel.expr import and_
from interlock.kernel.query import Engine, Limits, Progress, ProgressSink, Reach
from interlock.kernel.requirement import Outcome
from interlock.kernel.witness import Step, Witness
from interlock.model.build import RunClass, build
from interlock.model.model import Model
from interlock.model.procedures import Procedure, Procedures, ProcedureStep
from interlock.replay.judge import Replayed, replay
from interlock.studies.rehearsal.acts import Passage, all_let_go, as_written, script_of
from interlock.studies.rehearsal.deviations import (
    Anchor,
    Deviation,
    anchor_of,
    deviations,
    pairs,
    performed,
)
from interlock.studies.rehearsal.recovery import Recovery, Way, calm
from interlock.studies.rehearsal.steps import surely_ends
from interlock.studies.rehearsal.walk import (
    BY_NOBODY,
    Rest,
    Violation,
    Walk,
    WalkLimitError,
    rests,
    violations,
    walk,
)
from interlock.studies.rehearsal.why import Reason, Situation
from interlock.studies.rehearsal.world import World

MOST_NODES = 200_000
# From so many different states where a deviation came to a stand the way back is looked for.
MOST_WAYS = 6


class Class(Enum):
    """What comes of a deviation, the worst first."""

    VIOLATING = "violating"
    STUCK = "stuck"
    RECOVERABLE = "recoverable"
    BLOCKED = "blocked"
    HARMLESS = "harmless"
    UNDECIDED = "undecided"


@dataclass(frozen=True)
class Stand:
    """Where the procedure does not go on.

    Attributes
    ----------
    step : str or None
        Id of the step; None where all steps were done and the end is not what it should be.
    state : State
        Of the model's system, after a scan.
    reason : Reason or None
        Why it does not go on.
    """

    step: str | None
    state: State
    reason: Reason | None


@dataclass(frozen=True)
class StepResult:
    """What is known of a step as written.

    Attributes
    ----------
    step : ProcedureStep
    executable : bool
        Some run comes to its end.
    inevitable : bool or None
        Every fair run does; None where a limit was hit.
    n_starts : int
        States in which it may begin under the procedure.
    stand : Stand or None
        Where it does not go on.
    """

    step: ProcedureStep
    executable: bool
    inevitable: bool | None
    n_starts: int
    stand: Stand | None


@dataclass(frozen=True)
class DeviationResult:
    """What comes of one deviation, or of two.

    Attributes
    ----------
    deviations : tuple of Deviation
    outcome : Class
    anchors : tuple of Anchor
        How likely each of them is, where a figure is known.
    requirement : str or None
        The violated requirement, with its replayed run.
    run : Replayed or None
    stand : Stand or None
        The first place where the procedure does not go on.
    way : Way or None
        The longest of the shortest ways back from where it does not go on.
    n_stands : int
        Different states in which it may stand.
    n_searched : int
        From how many of them the way back was looked for.
    limit : str or None
    """

    deviations: tuple[Deviation, ...]
    outcome: Class
    anchors: tuple[Anchor, ...]
    requirement: str | None = None
    run: Replayed | None = None
    stand: Stand | None = None
    way: Way | None = None
    n_stands: int = 0
    n_searched: int = 0
    limit: str | None = None


@dataclass(frozen=True)
class Rehearsed:
    """Everything about one procedure.

    Attributes
    ----------
    procedure : Procedure
    start : tuple of str or None
        Moves of a shortest run from the initial state to where it starts; None where no state to
        start from was found.
    steps : tuple of StepResult
    ends : bool
        Every run as written ends in the procedure's end condition.
    requirement : str or None
        Requirement that is violated though everything is done as written.
    singles, pairs : tuple of DeviationResult
    """

    procedure: Procedure
    start: tuple[str, ...] | None
    steps: tuple[StepResult, ...]
    ends: bool
    requirement: str | None
    run: Replayed | None
    singles: tuple[DeviationResult, ...] = ()
    pairs: tuple[DeviationResult, ...] = ()

    @property
    def outcome(self) -> Outcome:
        """Holds if every step surely ends and no single deviation violates a requirement."""
        violating = any(d.outcome is Class.VIOLATING for d in self.singles)
        steps = self.start is not None and all(s.inevitable is not False for s in self.steps)
        if violating or not steps or not self.ends or self.requirement is not None:
            return Outcome.VIOLATED
        undecided = any(d.outcome is Class.UNDECIDED for d in self.singles)
        if undecided or any(s.inevitable is None for s in self.steps):
            return Outcome.UNDECIDED
        return Outcome.HOLDS


@dataclass(frozen=True)
class Rehearsal:
    """A rehearsal of all procedures."""

    model: Model
    procedures: Procedures
    rehearsed: tuple[Rehearsed, ...]

    @property
    def outcome(self) -> Outcome:
        """Violated if anything is; else undecided if anything is; else holds."""
        outcomes = {rehearsed.outcome for rehearsed in self.rehearsed}
        order = (Outcome.VIOLATED, Outcome.UNDECIDED)
        return next((o for o in order if o in outcomes), Outcome.HOLDS)


class Rehearser:
    """Rehearses the procedures of a model.

    Parameters
    ----------
    model : Model
    procedures : Procedures
    engine : Engine
        Finds the states in which procedures start, and ways back.
    limits : Limits
    progress : callable, optional
    """

    def __init__(
        self,
        model: Model,
        procedures: Procedures,
        engine: Engine,
        limits: Limits = Limits(),
        progress: ProgressSink | None = None,
    ) -> None:
        self.model = model
        self.procedures = procedures
        self.world = World(build(model, RunClass(human=True)))
        self.recovery = Recovery(build(model), procedures, engine, limits)
        self._limits = limits
        self._progress = progress
        self._most_nodes = min(limits.max_states or MOST_NODES, MOST_NODES)

    def rehearse(self, only: Sequence[str] = (), with_pairs: bool = False) -> Rehearsal:
        """Rehearse the procedures with the given ids, or all of them."""
        wanted = [p for p in self.procedures.procedures.values() if not only or p.id in only]
        starts = self._starts(wanted)
        found = [self._procedure(p, starts[p.id], with_pairs) for p in wanted]
        return Rehearsal(self.model, self.procedures, tuple(found))

    def _starts(self, wanted: Sequence[Procedure]) -> dict[str, tuple[str, ...] | None]:
        """A shortest run to a calm state in which each procedure starts."""
        built = self.recovery.built
        queries = [Reach(and_(calm(built), built.lower(p.starts))) for p in wanted]
        found: dict[str, tuple[str, ...] | None] = dict.fromkeys(p.id for p in wanted)
        for system in (self.recovery.taught, self.recovery.full):
            missing = [n for n, p in enumerate(wanted) if found[p.id] is None]
            if not missing:
                break
            explored = self.recovery.explore(system, [queries[n] for n in missing])
            for n, answer in zip(missing, explored.answers, strict=True):
                if answer.witness is not None:
                    found[wanted[n].id] = tuple(s.move for s in answer.witness.steps)
        return found

    def _procedure(
        self, procedure: Procedure, start: tuple[str, ...] | None, with_pairs: bool
    ) -> Rehearsed:
        if start is None:
            return Rehearsed(procedure, None, (), False, None, None)
        state = self.world.play(start)[-1]
        passages = [as_written(step) for step in procedure.steps]
        usual = walk(self.world, script_of(passages), [state], self._most_nodes)
        found = rests(usual)
        steps = self._steps(procedure, passages, usual, found)
        broken = violations(usual)
        run = self._replayed(usual, broken[0], start) if broken else None
        requirement = broken[0].breach.question.requirement.id if broken else None
        ends = bool(found) and all(self._good(usual, rest, procedure) for rest in found)
        rehearsed = Rehearsed(procedure, start, steps, ends, requirement, run)
        if not ends:
            return rehearsed  # what is not possible as written cannot be deviated from
        singles = deviations(self.model, procedure)
        one = tuple(self._deviate(procedure, (d,), start, state) for d in singles)
        two: tuple[DeviationResult, ...] = ()
        if with_pairs:
            two = tuple(self._deviate(procedure, p, start, state) for p in pairs(singles))
        return replace(rehearsed, singles=one, pairs=two)

    def _good(self, found: Walk, rest: Rest, procedure: Procedure) -> bool:
        """Whether a rest is the end that the procedure is to have."""
        if rest.act < len(found.script.acts):
            return False
        return all(self.world.holds(procedure.ends, found.nodes[n][0]) for n in rest.nodes)

    def _steps(
        self, procedure: Procedure, passages: Sequence[Passage], usual: Walk, found: list[Rest]
    ) -> tuple[StepResult, ...]:
        script = usual.script
        results = []
        ends = [*script.starts[1:], len(script.acts)]
        for passage, begin, end in zip(passages, script.starts, ends, strict=True):
            starts = usual.arriving(begin)
            bare = list(dict.fromkeys(self.world.bare(s) for s in starts))
            engine = catalogue()["reference"]()
            built = self.recovery.built
            asked = surely_ends(built, passage.acts, bare, engine, self._limits) if bare else None
            here = [rest for rest in found if begin <= rest.act < end]
            if asked is not None and asked is not (not here):
                raise InternalError(
                    f"{procedure.id}, {passage.step.id}: the walk and the engine disagree about "
                    "whether the step surely ends"
                )
            stand = self._stand(procedure, usual, here[0]) if here else None
            executable = bool(usual.arriving(end))
            results.append(StepResult(passage.step, executable, asked, len(bare), stand))
        return tuple(results)

    def _deviate(
        self, procedure: Procedure, chosen: tuple[Deviation, ...], start: tuple[str, ...], at: State
    ) -> DeviationResult:
        anchors = tuple(anchor_of(deviation.kind, procedure) for deviation in chosen)
        self._report(f"{procedure.id}: {chosen[0].says}")
        passages, _ = performed(procedure, chosen)
        try:
            return self._judged(procedure, chosen, passages, start, at, anchors)
        except WalkLimitError as limit:
            return DeviationResult(chosen, Class.UNDECIDED, anchors, limit=str(limit))

    def _judged(
        self,
        procedure: Procedure,
        chosen: tuple[Deviation, ...],
        passages: list[Passage],
        start: tuple[str, ...],
        at: State,
        anchors: tuple[Anchor, ...],
    ) -> DeviationResult:
        found = walk(self.world, script_of(passages), [at], self._most_nodes)
        broken = violations(found)
        if broken:
            id_ = broken[0].breach.question.requirement.id
            run = self._replayed(found, broken[0], start)
            return DeviationResult(chosen, Class.VIOLATING, anchors, id_, run)
        bad = [rest for rest in rests(found) if not self._good(found, rest, procedure)]
        if not bad:
            return DeviationResult(chosen, Class.HARMLESS, anchors)
        stand = self._stand(procedure, found, bad[0])
        states = list(dict.fromkeys(self._calmest(found, rest) for rest in bad))
        ways = [self.recovery.way(state) for state in states[:MOST_WAYS]]
        cured = self._cured(procedure, chosen, found, bad, passages)
        outcome, way = _classified(ways, cured)
        searched = len(ways)
        limit = "the search for a way back" if outcome is Class.UNDECIDED else None
        return DeviationResult(
            chosen, outcome, anchors, None, None, stand, way, len(states), searched, limit
        )

    def _cured(
        self,
        procedure: Procedure,
        chosen: tuple[Deviation, ...],
        found: Walk,
        bad: Sequence[Rest],
        passages: Sequence[Passage],
    ) -> bool:
        """Whether doing the steps in question now, and going on, ends as it should."""
        steps = [s for d in chosen for s in procedure.steps[d.first : d.last + 1]]
        begins = found.script.starts
        for rest in bad:
            here = max((n for n, b in enumerate(begins) if b <= rest.act), default=0)
            onward = list(passages[here:]) if rest.act < len(found.script.acts) else []
            made_good = [as_written(step) for step in steps]
            made_good += [as_written(p.step) for p in onward]
            let_go = all_let_go(self.model, procedure.steps[0])
            states = [found.nodes[n][0] for n in rest.nodes]
            again = walk(self.world, script_of(made_good, let_go), states, self._most_nodes)
            ended = rests(again)
            if violations(again) or not all(self._good(again, r, procedure) for r in ended):
                return False
        return True

    def _calmest(self, found: Walk, rest: Rest) -> State:
        """A state of a rest, after a scan where there is one, without the observers."""
        states = [found.nodes[n][0] for n in rest.nodes]
        return self.world.bare(min(states, key=lambda s: (s[self.world.phase], s)))

    def _stand(self, procedure: Procedure, found: Walk, rest: Rest) -> Stand:
        state = self._calmest(found, rest)
        situation = Situation(self.model, self.world.built.system, state)
        if rest.act >= len(found.script.acts):
            return Stand(None, state, situation.why_not_done(procedure.ends))
        act = found.script.acts[rest.act]
        if act.done is not None:
            return Stand(act.step, state, situation.why_not_done(act.done))
        moves = [m for m in self.model.moves if m.name in act.moves]
        return Stand(act.step, state, situation.why_none_of(moves))

    def _replayed(self, found: Walk, violation: Violation, start: tuple[str, ...]) -> Replayed:
        """The run that violates, replayed on the model."""
        _, moves = found.path(violation.node)
        numbers = [*moves, *violation.onward, *(violation.loop or ())]
        names = [*start, *(self.world.moves[n].name for n in numbers if n != BY_NOBODY)]
        states = self.world.play(names)
        loop_start = None if violation.loop is None else len(names) - len(violation.loop)
        steps = tuple(Step(n, s) for n, s in zip(names, states[1:], strict=True))
        witness = Witness(states[0], steps, loop_start)
        return replay(self.world.built, violation.breach.question, witness)

    def _report(self, stage: str) -> None:
        if self._progress is not None:
            self._progress(Progress(stage, self.recovery.n_searched, 0, 0.0))


def _classified(ways: Sequence[Way], cured: bool) -> tuple[Class, Way | None]:
    if any(way.found is False for way in ways):
        return Class.STUCK, None
    if any(way.found is None for way in ways):
        return Class.UNDECIDED, None
    longest = max(ways, key=lambda way: (way.n_actions, len(way.moves)))
    return (Class.BLOCKED if cured else Class.RECOVERABLE), longest
