"""What can happen next in a state, and what a state violates; computed once for each state."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from interlock.kernel import expr as ex
from interlock.kernel.asking import Question, ask
from interlock.kernel.evaluate import State, python_function
from interlock.kernel.expr import FALSE, Expr
from interlock.kernel.observe import observe_all
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.query import Query, Reach, Stay, Trap
from interlock.kernel.system import MOVED, PHASE, MoveKind, Stepper, System
from interlock.model.build import Built
from interlock.model.model import Formula
from interlock.model.turns import turns_of

# What happens without anybody doing anything.
UNATTENDED = (MoveKind.PLANT, MoveKind.TIMER, MoveKind.BUS, MoveKind.SCAN, MoveKind.TIME)


@dataclass(frozen=True)
class Breach:
    """A way to violate a requirement: a state, or staying somewhere for ever."""

    question: Question
    query: Reach | Stay


@dataclass
class _Known:
    """What is known of one state."""

    unattended: tuple[tuple[int, State], ...]
    owed: frozenset[int]
    ready: frozenset[int]
    verdicts: tuple[int, ...]


class World:
    """The moves of a built model with the observers of its requirements.

    Parameters
    ----------
    built : Built
        With human errors, where deviations may use them.
    """

    def __init__(self, built: Built) -> None:
        self.built = built
        # A way that stays open is no matter of one run, but of where a run comes to.
        asked = list(built.requirements.values())
        staying = [ask(built.system, r) for r in asked if not PATTERNS[r.pattern].is_of_runs]
        self.lasting: list[tuple[Question, Expr]] = [
            (question, query.goal)
            for question in staying
            for query in question.violations
            if isinstance(query, Trap)
        ]
        questions = observe_all(built.system, [r for r in asked if PATTERNS[r.pattern].is_of_runs])
        self.system: System = questions[-1].system if questions else built.system
        self.breaches = [
            Breach(question, query)
            for question in questions
            for query in question.violations
            if isinstance(query, Reach | Stay)
        ]
        self.moves = self.system.moves
        self.numbers = {move.name: n for n, move in enumerate(self.moves)}
        self.stepper = Stepper(self.system)
        self.phase = self.system.index[PHASE]
        turns, index = turns_of(built.model), self.system.index
        self.due = turns.due
        taking = {m.name: m.machine for m in built.model.moves if built.model.takes_turn(m)}
        machines = [taking.get(move.name, "") for move in self.moves]
        self._takes_turn = [machine != "" for machine in machines]
        self._counts = [
            (index[MOVED + machine], turns.most[machine]) if machine in turns.most else None
            for machine in machines
        ]
        self._people = [n for n, m in enumerate(self.moves) if m.kind not in UNATTENDED]
        self._plant = [n for n, m in enumerate(self.moves) if m.kind in UNATTENDED]
        self._conditions = python_function(self._roots(), self.system.index)
        self._known: dict[State, _Known] = {}
        self._tests: dict[Formula, Callable[[State], tuple[int, ...]]] = {}

    def _roots(self) -> list[Expr]:
        """Guards and debts of what happens by itself, readiness of people, breaches."""
        guards = [self.moves[n].guard for n in self._plant]
        owed = [self.moves[n].fair for n in self._plant]
        fair = [FALSE if condition is None else condition for condition in owed]
        # A person who waits for the scan is ready all the same.
        calm = dict.fromkeys(self.system.turns, ex.const(0))
        ready = ex.substitute([self.moves[n].guard for n in self._people], calm)
        return [*guards, *fair, *ready, *(p for b in self.breaches for p in _parts(b.query))]

    def known(self, state: State) -> _Known:
        """What can happen in `state`."""
        found = self._known.get(state)
        if found is None:
            found = self._look(state)
            self._known[state] = found
        return found

    def _look(self, state: State) -> _Known:
        values = iter(self._conditions(state))
        unattended = tuple(
            (number, self.stepper.after(state, self.moves[number]))
            for number in self._plant
            if next(values)
        )
        owed = frozenset(number for number in self._plant if next(values))
        ready = frozenset(number for number in self._people if next(values))
        return _Known(unattended, owed, ready, tuple(values))

    def has_turn(self, state: State, number: int) -> bool:
        """Whether a move may come before the next scan, its own condition apart."""
        if not self._takes_turn[number]:
            return True
        count = self._counts[number]
        is_left = count is None or state[count[0]] < count[1]
        return is_left and state[self.phase] != self.due

    def after(self, state: State, number: int) -> State:
        """The state that a person's move leads to."""
        return self.stepper.after(state, self.moves[number])

    def holds(self, formula: Formula, state: State) -> bool:
        """Whether a formula over the truth holds in `state`."""
        test = self._tests.get(formula)
        if test is None:
            test = python_function([self.built.lower(formula)], self.system.index)
            self._tests[formula] = test
        return bool(test(state)[0])

    def broken(self, state: State) -> list[str]:
        """Ids of the requirements that a run violates by coming to `state`."""
        verdicts = iter(self.known(state).verdicts)
        found = []
        for breach in self.breaches:
            holds = next(verdicts)
            if isinstance(breach.query, Stay):
                next(verdicts)
            elif holds:
                found.append(breach.question.requirement.id)
        return found

    def begun_in(self, state: State) -> State:
        """The state of the model, as if a run began in it."""
        return (*state, *self.system.initial[len(state) :])

    def bare(self, state: State) -> State:
        """The state of the model itself, without the observers."""
        return state[: len(self.built.system.variables)]

    def play(self, moves: Sequence[str], state: State | None = None) -> list[State]:
        """The states after each of `moves`, from the initial state or from `state`."""
        states = [self.system.initial if state is None else state]
        for name in moves:
            states.append(self.stepper.after(states[-1], self.system.move(name)))
        return states


def _parts(query: Query) -> tuple[Expr, ...]:
    """The conditions that tell whether a state plays a part in a breach."""
    if isinstance(query, Stay):
        return query.stay, ex.and_(query.start, query.stay)
    assert isinstance(query, Reach)
    return (query.target,)
