"""Requirements as questions to an engine.

A requirement with a scope, a bound or a past is a search along legs (`Leg`): what has to be gone
through before its violation. A violation is looked for wherever it may begin, so nothing of the
run before has to be kept in mind, and states are neither added nor told apart:

* 'P only after S, from Q until R' is violated exactly if from a judged state with Q, neither R
  nor S, a run gets through states that are not judged or have neither R nor S to a judged one
  with P, without R and S.
* 'Never P, between Q and R': from Q to P without R, and from there to R.
* 'After Q' counts from the first Q; only for what has to happen there, or first, does that make a
  difference, and then the first leg keeps away from Q.
* A response within N scans is late in a leg with N scans behind a P, without S.

The formulas are those of the ICSE 1999 paper with these decisions, which the published versions
leave open or get wrong:

* Where Q and R hold together, no scope opens (the formulas say ``Q AND NOT R``).
* 'Between' and 'after-until' open anew at every state with Q, so an existence or a precedence
  that was satisfied earlier in the same stretch is asked for again.
* 'After Q' counts from the first Q, for every pattern.
* A response within N scans comes before or in the state that the Nth scan after P leads to; the
  earliest P without a response counts. What takes no scan takes no time.

`tests/agree` compares every question with a direct evaluation of the formula on random runs, and
with the observers of `observe`, which read along a run what it makes of a requirement.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from interlock.kernel.expr import Expr, and_, not_, or_
from interlock.kernel.patterns import PATTERNS, Asked, Measure
from interlock.kernel.query import Answer, Count, Occurs, Query, Reach, Stay, Trap
from interlock.kernel.requirement import Requirement, ScopeKind
from interlock.kernel.system import System


@dataclass(frozen=True)
class Question:
    """A requirement put to an engine.

    Attributes
    ----------
    system : System
        The system; with an observer for the requirement where that is asked with one.
    violations : tuple of Query
        The requirement is violated if any of these is found.
    premises : tuple of Count and Occurs
        Each asks for one part of the premise, anywhere or in the scope, or for what opens or
        closes that; where one of them never occurs, the requirement was never put to the test.
    measures : tuple of MostScans and FewestScans
        For what has a bound: `scans_taken` tells from the answers how much of it was ever taken.
    """

    requirement: Requirement
    system: System
    violations: tuple[Query, ...]
    premises: tuple[Count | Occurs, ...]
    measures: tuple[Measure, ...] = ()


def ask(system: System, requirement: Requirement) -> Question:
    """Put `requirement` as queries over `system`.

    Raises
    ------
    ValueError
        For a scope that has no meaning for the pattern.
    """
    row = PATTERNS[requirement.pattern]
    if requirement.scope.kind not in row.scopes:
        raise ValueError(f"'{requirement.pattern.value}' has no meaning in this scope")
    asked = Asked(requirement)
    return Question(
        requirement,
        system,
        tuple(row.violations(asked)),
        tuple(_premises(asked, requirement)),
        tuple(row.measures(asked)),
    )


def ask_all(system: System, requirements: Iterable[Requirement]) -> list[Question]:
    """Put several requirements to one system, in their order."""
    return [ask(system, requirement) for requirement in requirements]


def barring(query: Query, lasting: Expr) -> Query:
    """A violation, on runs alone that to their end have no state with `lasting`.

    That must be something that never ends, whatever is done on any way on: a fault that has struck,
    for instance. So it is enough that the end of a run has nothing of it.
    """
    never = not_(lasting)
    match query:
        case Reach(target, along):
            return Reach(and_(target, never), along)
        case Stay(start, stay, along):
            return Stay(start, and_(stay, never), along)
        case Trap(goal):
            return Trap(or_(goal, lasting))
        case _:
            raise TypeError(f"{type(query).__name__} is never found")


def scans_taken(requirement: Requirement, answers: Iterable[Answer]) -> int | None:
    """The most scans or units of time that passed, or the fewest, from the answers to measures."""
    found = [value for answer in answers for (value,) in answer.values]
    extreme = min if PATTERNS[requirement.pattern].is_least else max
    return extreme(found, default=None)


def _premises(asked: Asked, requirement: Requirement) -> Iterator[Count | Occurs]:
    """What must occur somewhere for the requirement to have been tested at all.

    Its premises, else P where that has one by itself, inside the scope; and the states that open
    and close that.
    """
    parts = list(requirement.premises)
    if not parts and PATTERNS[requirement.pattern].asks_where_p:
        parts = [requirement.p]
    q, r = requirement.scope.opens, requirement.scope.closes
    counts = [Count(asked.at(part)) for part in parts]
    match asked.kind:
        case ScopeKind.BEFORE:
            counts.append(Count(asked.at(r)))
        case ScopeKind.AFTER:
            counts.append(Count(asked.at(q)))
        case ScopeKind.AFTER_UNTIL | ScopeKind.BETWEEN:
            counts.append(Count(asked.at(q, not_(r))))
        case _:
            pass
    yield from counts or [Count(asked.judged)]
    if asked.kind is ScopeKind.GLOBALLY:
        return
    legs = asked.scope()
    yield from (Occurs(asked.at(part, not_(asked.r)), legs) for part in parts)
    if asked.kind is ScopeKind.BETWEEN:
        yield Occurs(asked.at(r), legs)
