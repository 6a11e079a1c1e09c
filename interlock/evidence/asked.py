"""What a system of the evidence was asked, worked out from the model alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from interlock.kernel.asking import ask
from interlock.kernel.evaluate import State, evaluate
from interlock.kernel.observe import observe_all
from interlock.kernel.query import Count, Leg, Occurs, Query
from interlock.kernel.system import Stepper, System
from interlock.model.build import Built


@dataclass(frozen=True)
class Asked:
    """A system with the observers of some requirements, and the queries they put to it.

    Attributes
    ----------
    system : System
    queries : mapping of str to Query
        By ``<requirement>.<number>``, counted from 1.
    """

    system: System
    queries: Mapping[str, Query]

    def of(self, requirement: str) -> dict[str, Query]:
        """The queries of one requirement."""
        return {n: q for n, q in self.queries.items() if requirement_of(n) == requirement}


def requirement_of(query: str) -> str:
    """The requirement that puts the query called `query`."""
    return query.rpartition(".")[0]


def asked(
    built: Built, requirements: Sequence[str], within: Mapping[str, int] | None = None
) -> Asked:
    """The system of `built` with the observers of `requirements`, in their order.

    Parameters
    ----------
    built : Built
    requirements : sequence of str
    within : mapping of str to int, optional
        By requirement: a bound in scans that is asked for in place of its own.
    """
    bounds = within or {}
    wanted = [built.requirements[id_] for id_ in requirements]
    wanted = [replace(r, within=bounds.get(r.id, r.within)) for r in wanted]
    questions = observe_all(built.system, wanted)
    return Asked(
        questions[-1].system if questions else built.system,
        {
            f"{question.requirement.id}.{n}": query
            for question in questions
            for n, query in enumerate(question.violations, 1)
        },
    )


def is_met(built: Built, requirement: str, runs: Sequence[Sequence[str]]) -> bool:
    """Whether there is a run to each part of a requirement's premise, inside its scope.

    Raises
    ------
    ValueError
        Where one is no run of the system, or leads elsewhere.
    """
    premises = ask(built.system, built.requirements[requirement]).premises
    for number, (premise, run) in enumerate(zip(premises, runs, strict=False), 1):
        if not _leads_to(built.system, run, premise):
            raise ValueError(f"run {number} does not lead to its premise")
    return len(runs) >= len(premises)


def _leads_to(system: System, run: Sequence[str], premise: Count | Occurs) -> bool:
    """Whether the last state of a run is one of those that `premise` asks for."""
    legs = premise.along if isinstance(premise, Occurs) else (Leg(),)
    assert not any(leg.scans for leg in legs), "no premise waits for scans"
    before: dict[str, int] = {}
    going: set[int] = set()
    for n_moves, state in enumerate(_states_along(system, run)):
        here = system.named(state)
        going = {number for number in going if evaluate(legs[number].inside, before)}
        for number, leg in enumerate(legs):
            begins = number - 1 in going if number else n_moves == 0
            if begins and evaluate(leg.enter, here):
                going.add(number)
        before = here
    return len(legs) - 1 in going and bool(evaluate(premise.where, before))


def state_after(system: System, moves: Sequence[str], start: State | None = None) -> State:
    """The state that `moves` lead to, from the initial state unless another is given.

    Raises
    ------
    ValueError
        Naming the first move that is not possible.
    """
    *_, last = _states_along(system, moves, start)
    return last


def _states_along(
    system: System, moves: Sequence[str], start: State | None = None
) -> Iterator[State]:
    stepper = Stepper(system)
    state = system.initial if start is None else start
    known = {move.name: move for move in system.moves}
    yield state
    for number, name in enumerate(moves, 1):
        if name not in known or known[name] not in stepper.enabled(state):
            raise ValueError(f"move {number}, '{name}', is not possible")
        state = stepper.after(state, known[name])
        yield state
