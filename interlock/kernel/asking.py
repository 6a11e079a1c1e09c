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

from interlock.kernel.expr import FALSE, TRUE, Expr, and_, const, eq, not_, or_, var
from interlock.kernel.query import (
    Answer,
    Count,
    Leg,
    Legs,
    MostScans,
    Occurs,
    Query,
    Reach,
    Stay,
    Trap,
)
from interlock.kernel.requirement import Pattern, Requirement, ScopeKind
from interlock.kernel.system import PHASE, System


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
    measures : tuple of MostScans
        For a response within a bound: `scans_taken` tells from the answer how long it took.
    """

    requirement: Requirement
    system: System
    violations: tuple[Query, ...]
    premises: tuple[Count | Occurs, ...]
    measures: tuple[MostScans, ...] = ()


def ask(system: System, requirement: Requirement) -> Question:
    """Put `requirement` as queries over `system`.

    Raises
    ------
    ValueError
        For 'can always still' in a scope other than globally, which has no meaning here.
    """
    asked = _Asked(requirement)
    return Question(
        requirement,
        system,
        tuple(asked.violations()),
        tuple(asked.premises()),
        tuple(asked.measures()),
    )


def ask_all(system: System, requirements: Iterable[Requirement]) -> list[Question]:
    """Put several requirements to one system, in their order."""
    return [ask(system, requirement) for requirement in requirements]


def scans_taken(answer: Answer) -> int | None:
    """The most scans that passed before a response, from the answer to a question's measure."""
    return max((value for (value,) in answer.values), default=None)


ANYWHERE = Leg()


class _Asked:
    """The conditions of a requirement, as far as its states are judged."""

    def __init__(self, requirement: Requirement) -> None:
        self._of = requirement
        self._kind = requirement.scope.kind
        self._judged = eq(var(PHASE), const(0)) if requirement.after_scan else TRUE
        has_end = self._kind in (ScopeKind.BEFORE, ScopeKind.BETWEEN, ScopeKind.AFTER_UNTIL)
        self._r = requirement.scope.closes if has_end else FALSE
        self._needs_end = self._kind in (ScopeKind.BEFORE, ScopeKind.BETWEEN)
        self._p = requirement.p
        if requirement.pattern is Pattern.ALWAYS:
            self._p = not_(requirement.p)

    def _at(self, *conditions: Expr) -> Expr:
        """A judged state with all of these."""
        return and_(self._judged, *conditions)

    def _without(self, *conditions: Expr) -> Expr:
        """Not a judged state with any of these, nor with the end of the scope."""
        return or_(not_(self._judged), not_(or_(self._r, *conditions)))

    def _scope(self, enter: Expr = TRUE, avoided: Expr = FALSE, only_first: bool = False) -> Legs:
        """The legs up to the scope and in it.

        Parameters
        ----------
        enter : Expr
            What holds where the scope opens.
        avoided : Expr
            What does not hold in any judged state of the scope that the run goes on from.
        only_first : bool
            Whether 'after Q' counts from the first Q alone.
        """
        inside = self._without(avoided)
        if self._kind in (ScopeKind.GLOBALLY, ScopeKind.BEFORE):
            return (Leg(inside),)
        q = self._of.scope.opens
        first = ANYWHERE
        if only_first and self._kind is ScopeKind.AFTER:
            first = Leg(or_(not_(self._judged), not_(q)))
        return (first, Leg(inside, self._at(q, not_(self._r), enter)))

    def violations(self) -> Iterator[Query]:
        """What of the requirement's is found exactly if it is violated."""
        match self._of.pattern:
            case Pattern.NEVER | Pattern.ALWAYS:
                yield from self._forbidden(TRUE)
            case Pattern.ONLY_AFTER:
                yield from self._forbidden(not_(self._of.s))
            case Pattern.EXISTS:
                yield from self._missing()
            case Pattern.LEADS_TO if self._of.within is not None:
                yield from self._late(self._of.within)
            case Pattern.LEADS_TO:
                yield from self._unanswered()
            case _ if self._kind is ScopeKind.GLOBALLY:
                yield Trap(self._at(self._p))
            case _:
                raise ValueError("'can always still' is judged globally; no scope has a meaning")

    def _forbidden(self, free: Expr) -> Iterator[Query]:
        """P in the scope, in a state that is `free` and came to by states that were."""
        bad = self._at(self._p, free, not_(self._r))
        if self._kind is ScopeKind.GLOBALLY and free is TRUE:
            yield Reach(bad)
            return
        legs = self._scope(free, not_(free), only_first=free is not TRUE)
        yield from self._ended(legs, bad)

    def _ended(self, legs: Legs, bad: Expr) -> Iterator[Query]:
        """A state with `bad` behind the legs, and the end of the scope where it needs one."""
        if self._needs_end:
            yield Reach(self._at(self._r), (*legs, Leg(self._without(), bad)))
        else:
            yield Reach(bad, legs)

    def _missing(self) -> Iterator[Query]:
        """The end of the scope, or none ever, without P."""
        legs = self._scope(not_(self._p), self._p, only_first=True)
        if self._r is not FALSE:
            yield Reach(self._at(self._r), legs)
        if not self._needs_end:
            yield Stay(TRUE, self._without(self._p), legs)

    def _pending(self, scans: int = 0) -> Legs:
        """The legs behind a P in the scope without an S since."""
        s = self._of.s
        start = self._at(self._p, not_(s), not_(self._r))
        before = (ANYWHERE,) if self._kind is ScopeKind.GLOBALLY else self._scope()
        return (*before, Leg(self._without(s), start, scans))

    def _unanswered(self) -> Iterator[Query]:
        """P, and then the end of the scope, or none ever, without S."""
        if self._kind is ScopeKind.GLOBALLY:
            waiting = self._without(self._of.s)
            yield Stay(self._at(self._p, not_(self._of.s)), waiting)
            return
        legs = self._pending()
        if self._r is not FALSE:
            yield Reach(self._at(self._r), legs)
        if not self._needs_end:
            yield Stay(TRUE, self._without(self._of.s), legs)

    def _late(self, within: int) -> Iterator[Query]:
        """The end of the scope after P without S, or no S although all scans are made."""
        if self._r is not FALSE:
            yield Reach(self._at(self._r), self._pending())
        yield from self._ended(self._pending(within), self._at(not_(self._of.s), not_(self._r)))

    def measures(self) -> Iterator[MostScans]:
        """How many scans a response takes."""
        if self._of.within is not None:
            yield MostScans(self._at(self._of.s, not_(self._r)), self._pending(self._of.within))

    def premises(self) -> Iterator[Count | Occurs]:
        """What must occur somewhere for the requirement to have been tested at all.

        Its premises, else P of 'leads to' and 'only after', inside the scope; and the states that
        open and close that.
        """
        parts = list(self._of.premises)
        if not parts and self._of.pattern in (Pattern.LEADS_TO, Pattern.ONLY_AFTER):
            parts = [self._of.p]
        q, r = self._of.scope.opens, self._of.scope.closes
        counts = [Count(self._at(part)) for part in parts]
        match self._kind:
            case ScopeKind.BEFORE:
                counts.append(Count(self._at(r)))
            case ScopeKind.AFTER:
                counts.append(Count(self._at(q)))
            case ScopeKind.AFTER_UNTIL | ScopeKind.BETWEEN:
                counts.append(Count(self._at(q, not_(r))))
            case _:
                pass
        yield from counts or [Count(self._judged)]
        if self._kind is ScopeKind.GLOBALLY:
            return
        legs = self._scope()
        yield from (Occurs(self._at(part, not_(self._r)), legs) for part in parts)
        if self._kind is ScopeKind.BETWEEN:
            yield Occurs(self._at(r), legs)
