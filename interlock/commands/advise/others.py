"""What becomes of the requirements that a permissive is not made for: those that look at a run.

A permissive keeps 'never' and 'always' of single states by what it is. What depends on the past or
on what comes is judged afterwards, and where it is not kept it is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import islice

from interlock.commands.advise.freeing import ON, Freed
from interlock.kernel import expr as ex
from interlock.kernel.asking import ask_all
from interlock.kernel.expr import Expr, and_
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.query import Count, DeclinedError, Engine, Limits, Occurs, Query, Reach
from interlock.kernel.requirement import Requirement
from interlock.kernel.system import System
from interlock.model.build import ARITHMETIC, Built

# They are many, and every output asks for them anew.
MOST_STATES = 2_000_000


@dataclass(frozen=True)
class Others:
    """What becomes of them with a permissive.

    Attributes
    ----------
    kept : tuple of str
        What forbids is kept in whatever scans the output is switched on below its permissive;
        what asks for something to come is kept where it is on whenever the permissive lets it.
    not_kept : tuple of str
    undecided : tuple of str
        A limit was hit first.
    """

    kept: tuple[str, ...] = ()
    not_kept: tuple[str, ...] = ()
    undecided: tuple[str, ...] = ()


def judge_others(
    engine: Engine,
    free: Freed,
    permissive: Expr,
    inserted: Built,
    limits: Limits,
) -> Others:
    """Judge what the permissive was not made for.

    Parameters
    ----------
    engine : Engine
    free : Freed
        The model with the output at will.
    permissive : Expr
        Over its states.
    inserted : Built
        The model with the permissive as the line.
    limits : Limits
    """
    most = min(limits.max_states or MOST_STATES, MOST_STATES)
    nearest = replace(limits, max_states=most)
    moves = [
        replace(move, guard=and_(move.guard, permissive)) if move.name == ON else move
        for move in free.system.moves
    ]
    requirements = free.others
    # What must not come about does not where the output is used at will below its permissive.
    is_forbidding = {r.id: PATTERNS[r.pattern].is_of_states for r in requirements}
    forbidding = [
        _either_way(r, free.wish, permissive) for r in requirements if is_forbidding[r.id]
    ]
    others = [inserted.requirements[r.id] for r in requirements if not is_forbidding[r.id]]
    found: dict[str, bool | None] = {}
    for system, asked in ((free.system.with_moves(moves), forbidding), (inserted.system, others)):
        if asked:
            found |= _violated(engine, system, asked, nearest)
    by_answer: dict[bool | None, list[str]] = {False: [], True: [], None: []}
    for r in requirements:
        by_answer[found[r.id]].append(r.id)
    return Others(*(tuple(by_answer[answer]) for answer in (False, True, None)))


def _either_way(requirement: Requirement, wish: str, permissive: Expr) -> Requirement:
    """What the program never does wrong in a scan, whether that switches the output on or not."""
    if wish not in ex.variables_of([requirement.p]):
        return requirement
    assert requirement.id == ARITHMETIC, "only arithmetic is asked of a scan"
    off, on = (ex.substitute([requirement.p], {wish: ex.const(value)})[0] for value in (0, 1))
    return replace(requirement, p=and_(off, ex.implies(permissive, on)))


def _violated(
    engine: Engine, system: System, requirements: Sequence[Requirement], limits: Limits
) -> dict[str, bool | None]:
    """Whether each is violated; None where that is not known."""
    questions = ask_all(system, requirements)
    queries = [_without_run(query) for question in questions for query in question.violations]
    try:
        answers = iter(engine.explore(system, queries, limits).answers)
    except DeclinedError:
        return dict.fromkeys((r.id for r in requirements), None)
    found: dict[str, bool | None] = {}
    for question in questions:
        given = [bool(a.n_states) or a.found for a in islice(answers, len(question.violations))]
        found[question.requirement.id] = True if True in given else None if None in given else False
    return found


def _without_run(query: Query) -> Query:
    """The same question where no run is wanted: a shortest one may be most of the work."""
    match query:
        case Reach(target, ()):
            return Count(target)
        case Reach(target, along):
            return Occurs(target, along)
    return query
