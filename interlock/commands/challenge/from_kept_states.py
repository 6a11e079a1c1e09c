"""One defect, tried from what the original reaches: does a requirement notice it?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from functools import cached_property

from interlock.commands.challenge.equivalence import where_moves_differ
from interlock.commands.challenge.kept_original import (
    MOST_KEPT,
    KeptOriginal,
    NeedsFullSearchError,
    RequirementBundle,
    observed_by,
    over_variables_of,
)
from interlock.commands.challenge.rerun import rerun, way_still_leads
from interlock.engines import make
from interlock.kernel import expr as ex
from interlock.kernel.asking import Question
from interlock.kernel.evaluate import State
from interlock.kernel.expr import FALSE, Expr, and_, eq, var
from interlock.kernel.kept import (
    CONDITIONS_AT_ONCE,
    GOALS_AT_ONCE,
    Beside,
    Changed,
    FromPowerUp,
    Kept,
)
from interlock.kernel.observe import observe, observe_all
from interlock.kernel.query import Limits, Query, Reach, Stay, Trap
from interlock.kernel.requirement import Requirement
from interlock.kernel.system import Stepper, System
from interlock.kernel.witness import Witness
from interlock.model.build import Built

# How many states that the original does not reach are looked at for one defect.
MOST_NEW = 20_000_000
# Many violations show within so many states from power-up, and these runs are the shortest.
FIRST_LOOK = 100_000
# So many runs to violations of a requirement are tried out beside the kept states.
_ATTEMPTS = 3


@dataclass(frozen=True)
class Caught:
    """A violation: the question of the changed model that it answers, and the run."""

    question: Question
    witness: Witness
    n_states: int
    is_shortest: bool


@dataclass(frozen=True)
class Unnoticed:
    """No requirement minds; `n_states` were looked at."""

    n_states: int


def search_from_kept_states(kept: KeptOriginal, changed: Built) -> Caught | Unnoticed:
    """Whether a requirement notices a changed model.

    Parameters
    ----------
    kept : KeptOriginal
    changed : Built
        In the same run class.

    Raises
    ------
    NeedsFullSearchError
        Where that has to be found out the slow way.
    """
    system = over_variables_of(kept.original.system, changed.system)
    key = changes_of(kept.original, changed, system)
    if key not in kept.found:
        kept.found[key] = _Search(kept, changed, system).result()
    found = kept.found[key]
    assert isinstance(found, Caught | Unnoticed)
    return found


def changes_of(original: Built, changed: Built, system: System) -> object:
    """What a changed model changes, given over the original's variables.

    Several mistakes in one text often come to the same.
    """
    own = {id(move) for move in original.system.moves}
    moves = [m for m in system.moves if id(m) not in own]
    return (
        tuple((m.name, m.guard, m.fair, tuple(m.updates.items())) for m in moves),
        tuple(move.name for move in system.moves),
        tuple(changed.requirements.values()),
    )


class _CaughtError(Exception):
    """A violation that the changed model really shows."""

    def __init__(self, question: Question, witness: Witness, is_shortest: bool) -> None:
        super().__init__(question.requirement.id)
        self.question, self.witness, self.is_shortest = question, witness, is_shortest


class _Case:
    """A changed system and what is asked of it, compiled for the kept states.

    Attributes
    ----------
    reach : list of (Requirement, Reach)
        Their targets are the conditions ``bad``.
    traps : list of (Requirement, Trap)
        Their goals are the conditions of `goal`.
    goals : dict of str to list of (Requirement, Trap)
        The traps by the name of their conditions.
    stays : dict of str to (Requirement, Stay)
        By the name of their conditions.

    Raises
    ------
    NeedsFullSearchError
        Where there are too many requirements for this way.
    """

    def __init__(
        self,
        bundle: RequirementBundle,
        system: System,
        differs: Expr,
        questions: Sequence[Question],
        limits: Limits,
    ) -> None:
        self.bundle = bundle
        self.reach: list[tuple[Requirement, Reach]] = []
        self.traps: list[tuple[Requirement, Trap]] = []
        self.stays: dict[str, tuple[Requirement, Stay]] = {}
        for question in questions:
            for query in question.violations:
                self._add(question.requirement, query)
        if len(self.reach) > CONDITIONS_AT_ONCE:
            raise NeedsFullSearchError(f"more than {CONDITIONS_AT_ONCE} requirements at once")
        conditions: dict[str, list[Expr]] = {"bad": [q.target for _, q in self.reach]}
        self.goals = {
            f"goals{start}": self.traps[start : start + GOALS_AT_ONCE]
            for start in range(0, len(self.traps), GOALS_AT_ONCE)
        }
        for name, some in self.goals.items():
            conditions[name] = [trap.goal for _, trap in some]
        for name, (_, stay) in self.stays.items():
            conditions[name] = [stay.stay, and_(stay.start, stay.stay)]
        states = bundle.kept_states
        if self.traps and states.aim is not None:
            conditions["back"] = [_is_state(system, states.state(states.aim)), differs]
        self.system, self.differs = system, differs
        self._states, self._conditions, self._limits = states, conditions, limits

    @cached_property
    def compiled(self) -> Changed:
        """The system and its conditions, compiled when they are first needed."""
        return self._states.changed(self.system, self.differs, self._conditions, self._limits)

    def _add(self, requirement: Requirement, query: Query) -> None:
        match query:
            case Reach():
                self.reach.append((requirement, query))
            case Trap():
                self.traps.append((requirement, query))
            case Stay():
                self.stays[f"stay{len(self.stays)}"] = (requirement, query)
            case _:
                raise AssertionError("no violation is asked for like that")

    def goal(self, number: int) -> tuple[str, int]:
        """The conditions with the goal of a trap, and its place among them."""
        within = number % GOALS_AT_ONCE
        return f"goals{number - within}", within

    def beside(self) -> AbstractContextManager[Beside]:
        """What lies beside the kept states, within the limits."""
        most, given = MOST_NEW, self._limits.max_states
        if given is not None:
            most = max(0, min(most, given - self._states.n_states))
        return self.compiled.beside(most)


class _Search:
    """Whether a changed model violates a requirement: a first look, then beside the kept states."""

    def __init__(self, kept: KeptOriginal, changed: Built, system: System) -> None:
        self.kept, self.changed = kept, changed
        self.system = system
        self.n_states = 0
        # What lies beside the kept states does not tell of these: once for each run to a
        # violation that the changed model did not make.
        self.doubtful: list[Requirement] = []
        self._plain_stepper: Stepper | None = None

    def result(self) -> Caught | Unnoticed:
        catching = {r.id for bundle in self.kept.bundles for r in bundle.requirements}
        # What the changed program alone is judged by: that it stays within its ranges.
        new = [
            requirement
            for id_, requirement in self.changed.requirements.items()
            if id_ not in self.kept.original.requirements and id_ not in catching
        ]
        try:
            self._judge(self._case(bundle, new) for bundle in self.kept.bundles)
        except _CaughtError as found:
            return Caught(found.question, found.witness, self.n_states, found.is_shortest)
        return Unnoticed(self.n_states)

    def _case(self, bundle: RequirementBundle, new: list[Requirement]) -> _Case | None:
        """A bundle's requirements, and `new` ones with the first; None where nothing differs."""
        # A changed program may have no arithmetic left that could fail, and then keeps this.
        asked = self.changed.requirements
        requirements = [asked[r.id] for r in bundle.requirements if r.id in asked]
        if bundle is self.kept.bundles[0]:
            requirements += new
        if not requirements:
            return None
        questions, system = bundle.of(self.system, requirements)
        differs = where_moves_differ(bundle.system, system)
        targets = [expr for question in questions for expr in observed_by(question)]
        if not set(ex.variables_of(targets)) <= bundle.system.index.keys():
            raise NeedsFullSearchError("a requirement looks at more than in the original")
        if differs is FALSE and targets == bundle.targets:
            return None
        return _Case(bundle, system, differs, questions, self.kept.limits)

    def _judge(self, cases: Iterable[_Case | None]) -> None:
        """A first look with every bundle, since most violations show near; then all of it."""
        left = []
        for case in cases:
            if case is None:
                continue
            self.doubtful.clear()
            if self._is_settled(case, case.compiled.from_power_up(FIRST_LOOK)):
                if self.doubtful:
                    self._settle()
            elif all(self._still_leads(case)):
                left.append(case)
            else:
                # What takes the original's way away is mostly caught for that.
                self._judge_beside(case)
        for case in left:
            self._judge_beside(case)

    def _judge_beside(self, case: _Case) -> None:
        self.doubtful.clear()
        with case.beside() as beside:
            self._follow(beside, case)
            self._judge_ways(beside, case)
            self._judge_stays(beside, case)
            self._judge_back(beside, case)
        if self.doubtful:
            self._settle()

    def _is_settled(self, case: _Case, space: FromPowerUp) -> bool:
        """Judge what is explored from power-up; whether that was everything."""
        self.n_states = max(self.n_states, space.n_states)
        runs = [
            (case.reach[bit][0], space.witness_to(number)) for bit, number in space.found("bad")
        ]
        for name, (requirement, _) in case.stays.items():
            answer = space.stays(name)
            if answer.witness is not None:
                runs.append((requirement, answer.witness))
        if space.complete:
            runs += self._trapped(case, space)
        for requirement, witness in sorted(runs, key=lambda run: len(run[1])):
            self._try(requirement, witness, is_shortest=True)
        return space.complete

    def _trapped(self, case: _Case, space: FromPowerUp) -> list[tuple[Requirement, Witness]]:
        runs = []
        for name, some in case.goals.items():
            answers = space.traps(name, [trap for _, trap in some])
            for (requirement, _), answer in zip(some, answers, strict=True):
                if answer.witness is not None:
                    runs.append((requirement, answer.witness))
                elif answer.found is None:
                    self.doubtful.append(requirement)
        return runs

    # Beside the kept states

    def _follow(self, beside: Beside, case: _Case) -> None:
        """Judge what the changed model reaches, wave by wave."""
        for requirement, query in case.reach:
            if query.target not in case.bundle.targets:
                # It is not what it was, so the original says nothing of it.
                self._judge_kept(case.bundle.kept_states, requirement, query)
        for wave in beside.waves("bad"):
            self.n_states = max(self.n_states, beside.n_states)
            for bit, number in sorted(wave, key=lambda pair: pair[1]):
                requirement = case.reach[bit][0]
                if self.doubtful.count(requirement) < _ATTEMPTS:
                    self._try(requirement, beside.witness_to(number))
        if not beside.is_closed:
            raise NeedsFullSearchError(f"more than {beside.n_states:,} states")

    def _try(self, requirement: Requirement, witness: Witness, is_shortest: bool = False) -> None:
        """Make a run on the changed model; only what it really does counts."""
        question = observe(self.changed.system, requirement)
        if question.system is self.changed.system:
            self._plain_stepper = self._plain_stepper or Stepper(question.system)
            stepper = self._plain_stepper
        else:
            stepper = Stepper(question.system)
        own = rerun(question, stepper, witness)
        if own is None:
            self.doubtful.append(requirement)
        else:
            raise _CaughtError(question, own, is_shortest)

    def _judge_kept(self, states: Kept, requirement: Requirement, query: Reach) -> None:
        (found,) = states.first([query.target])
        if found is not None:
            self._try(requirement, states.witness_to(found[1]))

    def _judge_stays(self, beside: Beside, case: _Case) -> None:
        states = case.bundle.kept_states
        # A loop of the original's states and steps alone is one of the original, which has none.
        met = states.first([and_(case.differs, stay.stay) for _, stay in case.stays.values()])
        for (name, (requirement, _)), seen in zip(case.stays.items(), met, strict=True):
            if seen is None and not beside.count_new(name):
                continue
            answer = beside.stays(name)
            if answer.found and answer.witness is not None:
                self._try(requirement, answer.witness)

    def _judge_ways(self, beside: Beside, case: _Case) -> None:
        """Is there still a way from the aim to each goal?"""
        states = case.bundle.kept_states
        if not case.traps:
            return
        aim = states.aim
        if aim is None:
            self.doubtful += [requirement for requirement, _ in case.traps]
            return
        pairs = zip(case.traps, self._still_leads(case), strict=True)
        for bit, ((requirement, _), leads) in enumerate(pairs):
            if not leads and not beside.can_go(aim, *case.goal(bit)):
                self._try(requirement, states.witness_to(aim))

    def _still_leads(self, case: _Case) -> Iterator[bool]:
        """For each trap whether the original's way from the aim to the goal can still be gone."""
        states = case.bundle.kept_states
        stepper = Stepper(case.system) if case.traps else None
        for _, trap in case.traps:
            way = case.bundle.way(trap.goal)
            if stepper is None or states.aim is None or way is None:
                yield False
            else:
                yield way_still_leads(stepper, states.state(states.aim), way, trap.goal)

    def _judge_back(self, beside: Beside, case: _Case) -> None:
        """Is there still a way back to the aim from everywhere?"""
        if not case.traps or case.bundle.kept_states.aim is None:
            return
        lost = beside.never_back("back").find(1)
        if lost < 0:
            return
        for bit, (requirement, _) in enumerate(case.traps):
            if not beside.can_go(lost, *case.goal(bit)):
                self._try(requirement, beside.witness_to(lost))
        self.doubtful += [requirement for requirement, _ in case.traps]

    # From power-up

    def _settle(self) -> None:
        """Judge the doubtful requirements by everything that the changed model reaches."""
        ids = dict.fromkeys(requirement.id for requirement in self.doubtful)
        wanted = [self.changed.requirements[id_] for id_ in ids]
        questions = observe_all(self.changed.system, wanted)
        system = questions[-1].system.narrowed(
            [expr for question in questions for expr in observed_by(question)]
        )
        asked = [(question, query) for question in questions for query in question.violations]
        most = min(self.kept.limits.max_states or MOST_KEPT, MOST_KEPT)
        limits = replace(self.kept.limits, max_states=most)
        explored = make("enumerate").explore(system, [query for _, query in asked], limits)
        self.n_states = max(self.n_states, explored.n_states)
        found = [
            (question.requirement, answer.witness)
            for (question, _), answer in zip(asked, explored.answers, strict=True)
            if answer.witness is not None
        ]
        for requirement, witness in sorted(found, key=lambda pair: len(pair[1])):
            self._try(requirement, witness, is_shortest=True)
        if found or explored.limit is not None:
            raise NeedsFullSearchError(f"limit hit: {explored.limit}")


def _is_state(system: System, state: State) -> Expr:
    values = zip(system.variables, state, strict=True)
    return and_(*(eq(var(variable.name), ex.const(value)) for variable, value in values))
