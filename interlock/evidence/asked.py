"""What a system of the evidence was asked, worked out from the model alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from interlock.kernel.evaluate import State
from interlock.kernel.observe import observe_all
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


def asked(built: Built, requirements: Sequence[str]) -> Asked:
    """The system of `built` with the observers of `requirements`, in their order."""
    questions = observe_all(built.system, [built.requirements[id_] for id_ in requirements])
    return Asked(
        questions[-1].system if questions else built.system,
        {
            f"{question.requirement.id}.{n}": query
            for question in questions
            for n, query in enumerate(question.violations, 1)
        },
    )


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
