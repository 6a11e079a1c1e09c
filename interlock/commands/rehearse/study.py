"""The rehearsal: every procedure as written, and with human deviations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from interlock.base.errors import InternalError
from interlock.commands.rehearse.acts import Passage, all_let_go, as_written, script_of
from interlock.commands.rehearse.deviations import (
    Anchor,
    Deviation,
    anchor_of,
    deviations,
    pairs,
    performed,
)
from interlock.commands.rehearse.durations import plant_time
from interlock.commands.rehearse.recovery import Recovery, Way, calm
from interlock.commands.rehearse.results import (
    Class,
    DeviationResult,
    Rehearsal,
    Rehearsed,
    Stand,
    StepResult,
)
from interlock.commands.rehearse.steps import surely_ends
from interlock.commands.rehearse.successors import World
from interlock.commands.rehearse.walk import (
    BY_NOBODY,
    Rest,
    Violation,
    Walk,
    WalkLimitError,
    violations,
    walk,
)
from interlock.commands.rehearse.why import Situation
from interlock.engines import catalogue
from interlock.independent_judge.judge import Replayed, replay
from interlock.kernel.evaluate import State
from interlock.kernel.expr import and_
from interlock.kernel.query import Engine, Limits, Progress, ProgressSink, Reach
from interlock.kernel.system import MoveKind
from interlock.kernel.witness import Step, Witness
from interlock.model.build import RunClass, build
from interlock.model.declined import IN_TIME, Declined, decline
from interlock.model.model import Model
from interlock.model.procedures import Procedure, Procedures

MOST_NODES = 200_000
BEYOND = (*IN_TIME, Declined.DELAYED_OUTPUTS)
"""What a rehearsal cannot take."""
# From so many different states where a deviation comes to a stand the way back is looked for.
MOST_WAYS = 50


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

    Raises
    ------
    InputError
        For a model with anything of `BEYOND`.
    """

    def __init__(
        self,
        model: Model,
        procedures: Procedures,
        engine: Engine,
        limits: Limits = Limits(),
        progress: ProgressSink | None = None,
    ) -> None:
        decline("a rehearsal", model, *BEYOND)
        self.model = model
        self.procedures = procedures
        built = build(model, RunClass(human=True))
        self.world = World(built)
        # Of the same variables, though errors that nobody makes may have clocks among them.
        ordinary = tuple(m for m in built.system.moves if m.kind is not MoveKind.HUMAN)
        without = replace(built, run_class=RunClass(), system=built.system.with_moves(ordinary))
        self.recovery = Recovery(self.world, without, procedures, engine, limits)
        self._limits = limits
        self._progress = progress
        self._most_nodes = min(limits.max_states or MOST_NODES, MOST_NODES)

    def rehearse(
        self, only: Sequence[str] = (), with_pairs: bool = False, deviating: bool = True
    ) -> Rehearsal:
        """Rehearse the procedures with the given ids, or all of them.

        Without `deviating` each is rehearsed as written only.
        """
        wanted = [p for p in self.procedures.procedures.values() if not only or p.id in only]
        starts, limit = self._starts(wanted)
        found = []
        for procedure in wanted:
            start = starts[procedure.id]
            if start is None:
                found.append(Rehearsed(procedure, None, (), False, None, None, limit=limit))
                continue
            try:
                found.append(self._procedure(procedure, start, with_pairs, deviating))
            except WalkLimitError as reached:
                said = str(reached)
                found.append(Rehearsed(procedure, start, (), False, None, None, limit=said))
        return Rehearsal(self.model, self.procedures, tuple(found))

    def _starts(
        self, wanted: Sequence[Procedure]
    ) -> tuple[dict[str, tuple[str, ...] | None], str | None]:
        """A run to a calm state in which each procedure starts; the limit that was hit.

        A shortest one, but for runs that violate a requirement where any other leads there.
        """
        built = self.recovery.built
        queries = [Reach(and_(calm(built), built.lower(p.starts))) for p in wanted]
        found: dict[str, tuple[str, ...] | None] = dict.fromkeys(p.id for p in wanted)
        limit = None
        for system in (self.recovery.taught, self.recovery.full):
            missing = [n for n, p in enumerate(wanted) if found[p.id] is None]
            if not missing:
                break
            explored = self.recovery.explore(system, [queries[n] for n in missing])
            limit = explored.limit
            for n, answer in zip(missing, explored.answers, strict=True):
                if answer.witness is not None:
                    found[wanted[n].id] = tuple(s.move for s in answer.witness.steps)
        for n, procedure in enumerate(wanted):
            moves = found[procedure.id]
            if moves is not None and any(map(self.world.broken, self.world.play(moves))):
                try:
                    kept = self.recovery.start(queries[n].target)
                except WalkLimitError:
                    continue  # the one that is known will be told to violate something
                found[procedure.id] = kept or moves
        return found, limit

    def _procedure(
        self, procedure: Procedure, start: tuple[str, ...], with_pairs: bool, deviating: bool
    ) -> Rehearsed:
        state = self.world.play(start)[-1]
        passages = [as_written(step) for step in procedure.steps]
        usual = walk(self.world, script_of(passages), [state], self._most_nodes)
        found = usual.rests
        steps = self._steps(procedure, passages, usual, found)
        requirement, run = self._violated_by(start)
        if requirement is None:
            requirement, run = self._violated(usual, start)
        ends = bool(found) and all(self._good(usual, rest, procedure) for rest in found)
        rehearsed = Rehearsed(procedure, start, steps, ends, requirement, run)
        if not ends or not deviating:
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
        self, procedure: Procedure, passages: Sequence[Passage], usual: Walk, found: Sequence[Rest]
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
            ended = usual.arriving(end)
            plant, also = plant_time(self.model, usual, begin, end), self._also(ended)
            results.append(
                StepResult(passage.step, bool(ended), asked, len(bare), stand, plant, also)
            )
        return tuple(results)

    def _also(self, ended: Sequence[State]) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Where machines of the plant may be in `ended` otherwise than in the first of these."""
        found = []
        for name, machine in self.model.machines.items():
            place = self.world.system.index[name]
            others = sorted({state[place] for state in ended} - {s[place] for s in ended[:1]})
            if others and not machine.is_control:
                found.append((name, tuple(machine.states[n] for n in others)))
        return tuple(found)

    def _deviate(
        self, procedure: Procedure, chosen: tuple[Deviation, ...], start: tuple[str, ...], at: State
    ) -> DeviationResult:
        anchors = tuple(anchor_of(deviation.kind, procedure) for deviation in chosen)
        self._report(f"{procedure.id}: {chosen[0].says}")
        passages = performed(procedure, chosen)
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
        id_, run = self._violated(found, start)
        if id_ is not None:
            return DeviationResult(chosen, Class.VIOLATING, anchors, id_, run)
        bad = [rest for rest in found.rests if not self._good(found, rest, procedure)]
        if not bad:
            return DeviationResult(chosen, Class.HARMLESS, anchors)
        stand = self._stand(procedure, found, bad[0])
        states = list(dict.fromkeys(found.nodes[self._calmest(found, rest)][0] for rest in bad))
        ways = [self.recovery.way(state) for state in states[:MOST_WAYS]]
        cured = self._cured(procedure, chosen, found, bad, passages)
        outcome, way = _classified(ways, len(states), cured)
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
            ended = again.rests
            if violations(again) or not all(self._good(again, r, procedure) for r in ended):
                return False
            if any(self.recovery.lasting.lost(again.nodes[r.nodes[0]][0]) for r in ended):
                return False
        return True

    def _violated(self, found: Walk, start: tuple[str, ...]) -> tuple[str | None, Replayed | None]:
        """The first requirement that a walk violates, and the run, replayed on the model.

        What can still be done is lost for ever where it is lost at a rest: every way leads to one.
        """
        broken = violations(found)
        if broken:
            return broken[0].breach.question.requirement.id, self._replayed(found, broken[0], start)
        for rest in found.rests:
            number = self._calmest(found, rest)
            lost = self.recovery.lasting.lost(found.nodes[number][0])
            if lost is not None:
                _, moves = found.path(number)
                names = [*start, *(self.world.moves[n].name for n in moves)]
                states = [self.world.bare(state) for state in self.world.play(names)]
                steps = tuple(Step(n, s) for n, s in zip(names, states[1:], strict=True))
                run = replay(self.world.built, lost, Witness(states[0], steps))
                return lost.requirement.id, run
        return None, None

    def _violated_by(self, start: tuple[str, ...]) -> tuple[str | None, Replayed | None]:
        """What the run to the start of a procedure violates, and how far it is played for that."""
        states = self.world.play(start)
        for number, state in enumerate(states):
            for id_ in self.world.broken(state):
                steps = tuple(map(Step, start[:number], states[1 : number + 1]))
                question = next(
                    b.question for b in self.world.breaches if b.question.requirement.id == id_
                )
                return id_, replay(self.world.built, question, Witness(states[0], steps))
        return None, None

    def _calmest(self, found: Walk, rest: Rest) -> int:
        """The number of a node of a rest, after a scan where there is one."""
        phase = self.world.phase
        return min(rest.nodes, key=lambda n: (found.nodes[n][0][phase], found.nodes[n][0]))

    def _stand(self, procedure: Procedure, found: Walk, rest: Rest) -> Stand:
        state = self.world.bare(found.nodes[self._calmest(found, rest)][0])
        situation = Situation(self.model, self.world.built.system, state)
        if rest.act >= len(found.script.acts):
            return Stand(None, state, situation.why_not_done(procedure.ends))
        act = found.script.acts[rest.act]
        if act.done is not None:
            return Stand(act.step, state, situation.why_not_done(act.done))
        moves = [m for m in self.model.moves if m.name in act.moves]  # errors explain nothing
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


def _classified(ways: Sequence[Way], n_stands: int, cured: bool) -> tuple[Class, Way | None]:
    if any(way.found is False for way in ways):
        violating = (way for way in ways if way.violates is not None)
        return Class.STUCK, next(violating, None)
    if any(way.found is None for way in ways) or len(ways) < n_stands:
        return Class.UNDECIDED, None
    longest = max(ways, key=lambda way: (way.n_actions, len(way.moves)))
    return (Class.BLOCKED if cured else Class.RECOVERABLE), longest
