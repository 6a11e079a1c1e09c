"""What a system of the evidence was asked, worked out from the model alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from interlock.kernel.evaluate import State, evaluate
from interlock.kernel.observe import ask, ask_together
from interlock.kernel.query import Query
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
    questions = ask_together(built.system, wanted)
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
    question = ask(built.system, built.requirements[requirement], keeping_settled=True)
    for number, (premise, run) in enumerate(zip(question.premises, runs, strict=False), 1):
        end = state_after(question.system, run)
        if not evaluate(premise.where, question.system.named(end)):
            raise ValueError(f"run {number} does not lead to its premise")
    return len(runs) >= len(question.premises)


def state_after(system: System, moves: Sequence[str], start: State | None = None) -> State:
    """The state that `moves` lead to, from the initial state unless another is given.

    Raises
    ------
    ValueError
        Naming the first move that is not possible.
    """
    stepper = Stepper(system)
    state = system.initial if start is None else start
    known = {move.name: move for move in system.moves}
    for number, name in enumerate(moves, 1):
        if name not in known or known[name] not in stepper.enabled(state):
            raise ValueError(f"move {number}, '{name}', is not possible")
        state = stepper.after(state, known[name])
    return state
