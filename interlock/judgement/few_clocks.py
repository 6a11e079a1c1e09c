"""Requirements of a model in time, each judged with as few of its clocks as it needs.

With every clock a large model has more states than can be explored. Most of what it claims holds
however long things take, and is asked of a system without any clock (`interlock.model.freed`);
what speaks of time is asked with the clocks of the scan, of the program's timers, and of the
machines that it names, and of what these wait for. What is violated so may be violated only since
some duration was left free. So it is asked again, each time with the clocks of what is waited for
in turn, until it holds; in the end with all of them. A violation is one where its run can be made
in time.

What holds of more runs than there are holds. That something can still be reached is no such thing,
and is not asked here. That the premise of a requirement occurs is told of more runs than there are,
which every result names.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from interlock.base.errors import InternalError
from interlock.judgement.answers import explore, verdicts_of
from interlock.judgement.engines import AutomaticEngine
from interlock.kernel.asking import Question, ask
from interlock.kernel.expr import TRUE, variables_of
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.query import (
    Answer,
    Count,
    Exploration,
    Limits,
    MostScans,
    Occurs,
    ProgressSink,
    Query,
    Reach,
)
from interlock.kernel.requirement import Outcome, Requirement, Verdict
from interlock.kernel.system import MoveKind, Stepper, System
from interlock.kernel.witness import Step, Witness, check_run
from interlock.model.build import Built
from interlock.model.freed import Freed, clocks_of, freed
from interlock.model.reaction import ReactionTimes

# A run that goes round for ever is followed so often until it comes to where it was.
_MOST_ROUNDS = 200


@dataclass(frozen=True)
class Judged:
    """What became of a requirement with some clocks.

    Attributes
    ----------
    question : Question
    verdict : Verdict
        Where it is violated, with a run in time.
    kept : tuple of str or None
        The moves whose times were counted, in order; None where all were.
    """

    question: Question
    verdict: Verdict
    kept: tuple[str, ...] | None


@dataclass(frozen=True)
class Found:
    """What few clocks tell.

    Attributes
    ----------
    judged : dict of str to Judged
        By requirement; those that were not asked are missing.
    explored : Exploration
        The first exploration, which had the fewest clocks.
    beside : tuple of Answer
        To the queries asked beside, of that exploration: what it never finds is never there, what
        it finds may need a duration that was left free.
    """

    judged: dict[str, Judged]
    explored: Exploration | None
    beside: tuple[Answer, ...]


def judge_with_few_clocks(
    built: Built,
    wanted: Iterable[Requirement],
    limits: Limits,
    progress: ProgressSink | None,
    beside: Sequence[Query],
) -> Found:
    """Judge those of the requirements that speak of every run.

    Parameters
    ----------
    built : Built
        Of a model that `can_be_freed`.
    wanted : iterable of Requirement
    limits : Limits
        For each exploration.
    progress : callable, optional
    beside : sequence of Count
        More questions, of states alone.
    """
    clocks = clocks_of(built.system)
    waiting: dict[frozenset[str], list[_Asked]] = {}
    for requirement in wanted:
        if PATTERNS[requirement.pattern].is_of_runs:
            rings, wants_run = _rings(built, requirement), not _speaks_of_time(requirement)
            _wait(waiting, _Asked(requirement, rings, wants_run))
    judged: dict[str, Judged] = {}
    first: Exploration | None = None
    engine, timed = AutomaticEngine(has_few_clocks=True), ReactionTimes(built.model)
    while waiting:
        kept = min(waiting, key=lambda names: (len(names), sorted(names)))
        asked = waiting.pop(kept)
        some = freed(built.model, built.system, kept)
        more = [_seen(some, query) for query in beside] if first is None else []
        questions = [one.put_to(some.system) for one in asked]
        explored = explore(engine, some.system, questions, limits, progress, more)
        first = first or explored
        verdicts = verdicts_of(questions, explored)
        for one in asked:
            question, verdict = verdicts[one.requirement.id]
            if verdict.outcome is Outcome.VIOLATED:
                run = None if verdict.witness is None else followed(built, kept, verdict.witness)
                if run is None:
                    _wait(waiting, one.again())
                    continue
                question, verdict = (
                    ask(built.system, one.requirement),
                    replace(verdict, witness=run),
                )
            # With what lies outside the program it may be too late for want of a clock, too.
            reaction = timed.of(one.requirement.id, verdict)
            if kept != clocks and reaction is not None and reaction.exceeds:
                _wait(waiting, one.again())
                continue
            counted = None if kept == clocks else tuple(sorted(kept))
            judged[one.requirement.id] = Judged(question, verdict, counted)
    answers = () if first is None else first.answers[len(first.answers) - len(beside) :]
    return Found(judged, first, tuple(answers))


def _seen(some: Freed, query: Query) -> Query:
    assert isinstance(query, Count)
    return replace(query, where=some.seen(query.where))


@dataclass(frozen=True)
class _Asked:
    """A requirement, and the clocks that it is to be asked with, fewest first.

    `wants_run` tells whether a violation is asked for with its run. One that takes its time is
    long, and looked for only once all clocks are kept and it is known to be there.
    """

    requirement: Requirement
    rings: tuple[frozenset[str], ...]
    wants_run: bool

    def put_to(self, system: System) -> Question:
        """The question."""
        question = ask(system, self.requirement)
        if self.wants_run:
            return question
        found, measures = question.violations, question.measures
        if _is_measured(found, measures):
            return replace(question, violations=measures, measures=())
        return replace(question, violations=tuple(map(_whether, found)))

    def again(self) -> _Asked:
        """The same with more clocks; with all of them each run is one in time."""
        if len(self.rings) == 1:
            assert not self.wants_run
            return replace(self, wants_run=True)
        return replace(self, rings=self.rings[1:])


def _wait(waiting: dict[frozenset[str], list[_Asked]], asked: _Asked) -> None:
    waiting.setdefault(asked.rings[0], []).append(asked)


def _is_measured(violations: Sequence[Query], measures: Sequence[Query]) -> bool:
    """Whether what is measured tells by itself if there is a violation."""
    match violations, measures:
        case [Reach(target, along)], [MostScans(where, same)]:
            return target is where is TRUE and along == same
    return False


def _whether(query: Query) -> Query:
    """The query without the run; what goes on for ever is found with it."""
    if not isinstance(query, Reach):
        return query
    return Occurs(query.target, query.along) if query.along else Count(query.target)


def _speaks_of_time(requirement: Requirement) -> bool:
    return requirement.within is not None and requirement.counted is MoveKind.TIME


def _rings(built: Built, requirement: Requirement) -> tuple[frozenset[str], ...]:
    """The clocks that a requirement is asked with, fewer at first, all in the end.

    First those of the machines that it names and of what these wait for, of the program's timers
    and of the scan, none where it counts no time; then those of what waits in its turn, and so on.
    """
    clocks, machines = clocks_of(built.system), set(built.model.machines)
    kinds = (MoveKind.SCAN, MoveKind.TIMER)
    kept = frozenset(m.name for m in built.system.moves if m.kind in kinds) & clocks
    found = [] if _speaks_of_time(requirement) else [frozenset[str]()]
    named = machines.intersection(variables_of([requirement.judged, *requirement.predicates]))
    own, is_grown = _clocks_of(built, named) & clocks, True
    while is_grown:
        guards = [built.system.move(name).guard for name in sorted(own)]
        named |= machines.intersection(variables_of(guards))
        more = _clocks_of(built, named) & clocks
        is_grown = more != own
        own = more
        found.append(kept | own)
    return tuple(dict.fromkeys([*found, clocks]))


def _clocks_of(built: Built, machines: Collection[str]) -> set[str]:
    return {move.name for move in built.model.moves if move.machine in machines}


def followed(built: Built, kept: Collection[str], witness: Witness) -> Witness | None:
    """The run of a system with the clocks of `kept` alone as one in time; None where it is none."""
    return _Followed(built, kept).follow(witness)


class _Followed:
    """Follows runs of a freed system in time."""

    def __init__(self, built: Built, kept: Collection[str]) -> None:
        self._system = built.system
        self._stepper = Stepper(built.system)
        self._may_be_none = not clocks_of(built.system) <= set(kept)

    def follow(self, witness: Witness) -> Witness | None:
        """The same run in time; None where a clock that was not kept rules it out."""
        state, steps = self._system.initial, list[Step]()
        names = [step.move for step in witness.steps]
        stem = len(names) if witness.loop_start is None else witness.loop_start
        for name in names[:stem]:
            if not self._can(state, name):
                return None
            state = self._made(state, name, steps)
        if witness.loop_start is None:
            return Witness(self._system.initial, tuple(steps))
        seen: dict[tuple[int, ...], int] = {}
        for _ in range(_MOST_ROUNDS):
            if state in seen:
                run = Witness(self._system.initial, tuple(steps), seen[state])
                return run if self._is_fair(run) else None
            seen[state] = len(steps)
            for name in names[stem:]:
                if not self._can(state, name):
                    return None
                state = self._made(state, name, steps)
        # Its clocks may come to where they were later still, or may not; more of them tell.
        if not self._may_be_none:
            raise InternalError("a run goes round in time and never comes to where it was")
        return None

    def _made(self, state: tuple[int, ...], name: str, steps: list[Step]) -> tuple[int, ...]:
        after = self._stepper.after(state, self._system.move(name))
        steps.append(Step(name, after))
        return after

    def _can(self, state: tuple[int, ...], name: str) -> bool:
        """Whether the move may be made in time."""
        if self._system.move(name) in self._stepper.enabled(state):
            return True
        if not self._may_be_none:
            raise InternalError(f"'{name}' is not possible in time, although all clocks were kept")
        return False

    def _is_fair(self, run: Witness) -> bool:
        """Whether nothing is owed on it: the passing of time may be, where none passes."""
        try:
            check_run(self._system, run)
        except ValueError:
            if not self._may_be_none:
                raise
            return False
        return True
