"""Observers of what is asked in time: they count the units for which something has lasted.

Each reads a state of the run when that is left, like those of `observe`, and then the unit of
time, if the move is one by which it passes. What is counted begins, goes on and is broken; with
the last unit it has lasted for too long, or just long enough. One count is enough: of what is
allowed at most the earliest beginning is the first to last too long, and of what is demanded at
least the latest has most to come.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from interlock.kernel import expr as ex
from interlock.kernel.asking import Question
from interlock.kernel.expr import FALSE, TRUE, Expr, and_, eq, ite, not_, or_
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.query import Reach
from interlock.kernel.requirement import Pattern, Requirement, ScopeKind
from interlock.kernel.system import BOOL, Domain, Move, MoveKind, Role, System, Variable

_IDLE, _OPEN, _BEGUN = (ex.const(n) for n in range(3))
"""Out of the scope, in it, and in it with something that has lasted for no unit yet. Then one for
each unit, and behind those what is wrong if the scope comes to its end, and what is wrong so."""

_NEEDS_END = (ScopeKind.BEFORE, ScopeKind.BETWEEN)


@dataclass(frozen=True)
class _Lasting:
    """What is counted, as conditions on one state.

    Attributes
    ----------
    begins : Expr
    goes_on : Expr
        Whether what has begun goes on in this state.
    broken : Expr
        Whether this state is a violation while it goes on, or where it ends.
    begins_anew : bool
        Whether what begins while something goes on is counted from there.
    owes : bool
        Whether the end of the scope is a violation while it goes on.
    """

    begins: Expr
    goes_on: Expr
    broken: Expr = FALSE
    begins_anew: bool = False
    owes: bool = False


def is_in_time(requirement: Requirement) -> bool:
    """Whether the requirement has a bound in units of time."""
    return requirement.within is not None and requirement.counted is MoveKind.TIME


def observe_in_time(system: System, requirement: Requirement) -> Question:
    """Put what `is_in_time` as a query over `system`, extended by an observer.

    Raises
    ------
    ValueError
        For one that is not judged in every state, or in a scope that has no meaning for it.
    """
    row, kind = PATTERNS[requirement.pattern], requirement.scope.kind
    if requirement.after_scan or kind not in row.scopes:
        raise ValueError(f"'{requirement.pattern.value}' has no meaning in time like this")
    name = f"watch.{requirement.id}"
    before = f"{name}.before"
    observer = _Observer(requirement, ex.var(name), ex.var(before))
    found = [Variable(name, Domain(0, observer.n_units + 3), observer.first, Role.OBSERVER)]
    read = {name: observer.now}
    if observer.minds_beginning:
        found.append(Variable(before, BOOL, 0, Role.OBSERVER))
        read[before] = requirement.p
    passed = {**read, name: observer.later}

    def watched(move: Move) -> Move:
        seen = passed if move.kind is MoveKind.TIME else read
        return replace(move, updates={**move.updates, **seen})

    extended = system.extended(found, [watched(move) for move in system.moves])
    return Question(requirement, extended, (Reach(observer.is_bad),), ())


class _Observer:
    """The memory of an observer before a state was read, behind it, and a unit later."""

    def __init__(self, requirement: Requirement, memory: Expr, had_p: Expr) -> None:
        assert requirement.within is not None
        self._requirement = requirement
        self._kind = requirement.scope.kind
        self.n_units = requirement.within
        self._full = ex.const(2 + self.n_units)
        self._bad = ex.const(3 + self.n_units)
        self._needs_end = self._kind in _NEEDS_END
        self._is_least = PATTERNS[requirement.pattern].is_least
        self._what = _lasting(requirement, had_p)
        self.now = ite(eq(memory, self._bad), self._bad, self._scoped(memory))

    @property
    def minds_beginning(self) -> bool:
        """Whether P counts only where it was not so before."""
        return self._requirement.pattern in _BEGINNING

    @property
    def first(self) -> int:
        is_open = self._kind in (ScopeKind.GLOBALLY, ScopeKind.BEFORE)
        return (_OPEN if is_open else _IDLE).value

    @property
    def is_bad(self) -> Expr:
        return eq(self.now, self._bad)

    @property
    def later(self) -> Expr:
        """The memory behind the state and one unit of time."""
        last = ex.const(1 + self.n_units)
        end = _OPEN if self._is_least else self._wrong
        # The sum is taken of what is small enough, so that it never leaves the domain.
        one_more = ex.add(ex.minimum(self.now, last), ex.const(1))
        return ite(self._counts(self.now), ite(eq(self.now, last), end, one_more), self.now)

    @property
    def _wrong(self) -> Expr:
        """What becomes of it in a state that is wrong: in some scopes that needs their end."""
        return self._full if self._needs_end else self._bad

    def _counts(self, memory: Expr) -> Expr:
        return and_(ex.le(_BEGUN, memory), ex.lt(memory, self._full))

    def _scoped(self, m: Expr) -> Expr:
        q, r = self._requirement.scope.opens, self._requirement.scope.closes
        is_open = ex.lt(_IDLE, m)
        inside = self._inside(m)
        owed = [self._counts(m)] if self._what.owes else []
        ended = ite(or_(eq(m, self._full), *owed), self._bad, _IDLE)
        match self._kind:
            case ScopeKind.GLOBALLY:
                return inside
            case ScopeKind.BEFORE:
                return ite(is_open, ite(r, ended, inside), _IDLE)
            case ScopeKind.AFTER:
                return ite(or_(is_open, q), inside, _IDLE)
            case _:
                return ite(r, ended, ite(or_(is_open, q), inside, _IDLE))

    def _inside(self, m: Expr) -> Expr:
        """The memory behind a state of the scope."""
        what, counts = self._what, self._counts(m)
        begun = ite(what.broken, self._wrong, _BEGUN)
        going_on = ite(what.broken, self._wrong, ite(what.goes_on, m, _OPEN))
        if what.begins_anew:
            going_on = ite(what.begins, begun, going_on)
        fresh = ite(what.begins, begun, _OPEN)
        return ite(eq(m, self._full), m, ite(counts, going_on, fresh))


_BEGINNING = (Pattern.AT_LEAST, Pattern.NOT_YET)


def _lasting(requirement: Requirement, had_p: Expr) -> _Lasting:
    p, s = requirement.p, requirement.s
    match requirement.pattern:
        case Pattern.LEADS_TO:
            return _Lasting(and_(p, not_(s)), not_(s), owes=True)
        case Pattern.AT_MOST:
            return _Lasting(p, p)
        case Pattern.RECURS:
            return _Lasting(not_(p), not_(p))
        case Pattern.AT_LEAST:
            return _Lasting(and_(p, not_(had_p)), p, not_(p))
        case Pattern.STAYS:
            return _Lasting(p, TRUE, not_(s), begins_anew=True)
        case Pattern.NOT_YET:
            return _Lasting(and_(p, not_(had_p)), TRUE, s, begins_anew=True)
        case pattern:
            raise ValueError(f"'{pattern.value}' has no bound in time")
