"""The table of requirement patterns: how each is searched for, and what its predicates are to it.

One row is one pattern. Its words, its keys in a model file and its published formula stand in
`interlock.model.patterns`, by the same key; a meta test holds the two together, and nobody else
tells patterns apart.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from interlock.kernel.expr import FALSE, TRUE, Expr, and_, not_, or_
from interlock.kernel.query import FewestScans, Leg, Legs, MostScans, Query, Reach, Stay, Trap
from interlock.kernel.requirement import Pattern, Requirement, ScopeKind
from interlock.kernel.system import MoveKind

ANYWHERE = Leg()
EVERY_SCOPE = frozenset(ScopeKind)
ENDLESS = frozenset({ScopeKind.GLOBALLY, ScopeKind.AFTER, ScopeKind.AFTER_UNTIL})
"""The scopes that count whether or not their end ever comes."""

Measure = MostScans | FewestScans


class Asked:
    """A requirement's conditions as far as its states are judged, and the legs to its scope.

    Parameters
    ----------
    requirement : Requirement
    """

    def __init__(self, requirement: Requirement) -> None:
        self.within, self.counted = requirement.within, requirement.counted
        self.kind = requirement.scope.kind
        self.p, self.s = requirement.p, requirement.s
        self.q = requirement.scope.opens
        self.judged = requirement.judged
        has_end = self.kind in (ScopeKind.BEFORE, ScopeKind.BETWEEN, ScopeKind.AFTER_UNTIL)
        self.r = requirement.scope.closes if has_end else FALSE
        self.needs_end = self.kind in (ScopeKind.BEFORE, ScopeKind.BETWEEN)

    def at(self, *conditions: Expr) -> Expr:
        """A judged state with all of these."""
        return and_(self.judged, *conditions)

    def without(self, *conditions: Expr) -> Expr:
        """Not a judged state with any of these, nor with the end of the scope."""
        return or_(not_(self.judged), not_(or_(self.r, *conditions)))

    def scope(self, enter: Expr = TRUE, avoided: Expr = FALSE, only_first: bool = False) -> Legs:
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
        inside = self.without(avoided)
        if self.kind in (ScopeKind.GLOBALLY, ScopeKind.BEFORE):
            return (Leg(inside),)
        first = ANYWHERE
        if only_first and self.kind is ScopeKind.AFTER:
            first = Leg(or_(not_(self.judged), not_(self.q)))
        return (first, Leg(inside, self.at(self.q, not_(self.r), enter)))

    def pending(self, scans: int = 0) -> Legs:
        """The legs behind a P in the scope without an S since."""
        start = self.at(self.p, not_(self.s), not_(self.r))
        before = (ANYWHERE,) if self.kind is ScopeKind.GLOBALLY else self.scope()
        return (*before, Leg(self.without(self.s), start, scans, self.counted))

    def throughout(self, what: Expr) -> Legs:
        """The legs through which `what` holds in the scope until all units have passed."""
        assert self.within is not None
        before = (ANYWHERE,) if self.kind is ScopeKind.GLOBALLY else self.scope()
        start = self.at(what, not_(self.r))
        return (*before, Leg(self.without(not_(what)), start, self.within, self.counted))

    def soon_after(self, most: int) -> Legs:
        """The legs behind a P in the scope, in which at most so many units pass."""
        before = (ANYWHERE,) if self.kind is ScopeKind.GLOBALLY else self.scope()
        start = self.at(self.p, not_(self.r))
        return (*before, Leg(self.without(), start, most, self.counted, is_short=True))

    def soon_after_beginning(self, going_on: Expr, most: int) -> Iterator[Legs]:
        """The legs from where P begins in the scope, in which at most so many units pass.

        P begins where it is true and was not so before, or at power-up: in a state that opens the
        scope, or in a later one of it. What lies in the leg has `going_on` but for its last state.
        """
        opens = TRUE if self.kind is ScopeKind.GLOBALLY else and_(self.q, not_(self.r))
        inside = self.without(not_(going_on))

        def last(enter: Expr) -> Leg:
            return Leg(inside, self.at(self.p, enter), most, self.counted, is_short=True)

        absent = Leg(not_(self.p), not_(self.p))
        yield (last(opens),)
        yield (ANYWHERE, absent, last(opens))
        if self.kind is not ScopeKind.GLOBALLY:
            absent = Leg(self.without(self.p), self.at(not_(self.p), not_(self.r)))
            yield (*self.scope(), absent, last(not_(self.r)))

    def ended(self, legs: Legs, bad: Expr) -> Iterator[Query]:
        """A state with `bad` behind the legs, and the end of the scope where it needs one."""
        if self.needs_end:
            yield Reach(self.at(self.r), (*legs, Leg(self.without(), bad)))
        else:
            yield Reach(bad, legs)


def _absent(asked: Asked) -> Iterator[Query]:
    return _forbidden(asked, asked.p, TRUE)


def _universal(asked: Asked) -> Iterator[Query]:
    return _forbidden(asked, not_(asked.p), TRUE)


def _preceded(asked: Asked) -> Iterator[Query]:
    return _forbidden(asked, asked.p, not_(asked.s))


def _forbidden(asked: Asked, what: Expr, free: Expr) -> Iterator[Query]:
    """`what` in the scope, in a state that is `free` and came to by states that were."""
    bad = asked.at(what, free, not_(asked.r))
    if asked.kind is ScopeKind.GLOBALLY and free is TRUE:
        yield Reach(bad)
        return
    legs = asked.scope(free, not_(free), only_first=free is not TRUE)
    yield from asked.ended(legs, bad)


def _existing(asked: Asked) -> Iterator[Query]:
    """The end of the scope, or none ever, without P."""
    legs = asked.scope(not_(asked.p), asked.p, only_first=True)
    if asked.r is not FALSE:
        yield Reach(asked.at(asked.r), legs)
    if not asked.needs_end:
        yield Stay(TRUE, asked.without(asked.p), legs)


def _answered(asked: Asked) -> Iterator[Query]:
    """P, and then the end of the scope, or none ever or in so many scans, without S."""
    if asked.within is not None:
        yield from _in_time(asked, asked.within)
        return
    waiting = asked.without(asked.s)
    if asked.kind is ScopeKind.GLOBALLY:
        yield Stay(asked.at(asked.p, not_(asked.s)), waiting)
        return
    legs = asked.pending()
    if asked.r is not FALSE:
        yield Reach(asked.at(asked.r), legs)
    if not asked.needs_end:
        yield Stay(TRUE, waiting, legs)


def _in_time(asked: Asked, within: int) -> Iterator[Query]:
    """The end of the scope after P without S, or no S although all scans are made."""
    if asked.r is not FALSE:
        yield Reach(asked.at(asked.r), asked.pending())
    # Time that passes makes nothing true: what is so behind the last unit was so before it.
    late = TRUE if asked.counted is MoveKind.TIME else asked.at(not_(asked.s), not_(asked.r))
    yield from asked.ended(asked.pending(within), late)


def _answer_measured(asked: Asked) -> Iterator[Measure]:
    """How many scans, or units of time, a response takes."""
    if asked.within is not None:
        yield MostScans(asked.at(asked.s, not_(asked.r)), asked.pending(asked.within))


def _too_long(asked: Asked) -> Iterator[Query]:
    """P for all units and more."""
    yield from asked.ended(asked.throughout(asked.p), TRUE)


def _too_seldom(asked: Asked) -> Iterator[Query]:
    """No P for all units and more."""
    yield from asked.ended(asked.throughout(not_(asked.p)), TRUE)


def _length_measured(what: Callable[[Asked], Expr]) -> Callable[[Asked], Iterator[Measure]]:
    def measures(asked: Asked) -> Iterator[Measure]:
        # What is too long in a scope that never ends does not count, and is not told apart here.
        if not asked.needs_end:
            yield MostScans(TRUE, asked.throughout(what(asked)))

    return measures


def _too_short(asked: Asked) -> Iterator[Query]:
    """No P any more, where it began before fewer than all units."""
    for legs in asked.soon_after_beginning(asked.p, _units(asked) - 1):
        yield Reach(asked.at(not_(asked.p), not_(asked.r)), legs)


def _shortness_measured(asked: Asked) -> Iterator[Measure]:
    for legs in asked.soon_after_beginning(asked.p, MEASURED * _units(asked)):
        yield FewestScans(asked.at(not_(asked.p), not_(asked.r)), legs)


def _too_early(asked: Asked) -> Iterator[Query]:
    """S, where P began before fewer than all units."""
    for legs in asked.soon_after_beginning(TRUE, _units(asked) - 1):
        yield Reach(asked.at(asked.s, not_(asked.r)), legs)


def _earliness_measured(asked: Asked) -> Iterator[Measure]:
    for legs in asked.soon_after_beginning(TRUE, MEASURED * _units(asked)):
        yield FewestScans(asked.at(asked.s, not_(asked.r)), legs)


def _not_kept_up(asked: Asked) -> Iterator[Query]:
    """No S, where P was true before fewer than all units."""
    yield from asked.ended(
        asked.soon_after(_units(asked) - 1), asked.at(not_(asked.s), not_(asked.r))
    )


def _keeping_up_measured(asked: Asked) -> Iterator[Measure]:
    if not asked.needs_end:
        legs = asked.soon_after(MEASURED * _units(asked))
        yield FewestScans(asked.at(not_(asked.s), not_(asked.r)), legs)


MEASURED = 2
"""What is demanded at least is measured up to so many times of it."""


def _units(asked: Asked) -> int:
    assert asked.within is not None
    return asked.within


def _unmeasured(_asked: Asked) -> Iterator[Measure]:
    return iter(())


def _never_lost(asked: Asked) -> Iterator[Query]:
    yield Trap(asked.at(asked.p))


@dataclass(frozen=True)
class PatternRow:
    """One pattern, as far as whoever explores or judges has to know it.

    Attributes
    ----------
    violations : callable
        The queries of which one is found exactly if the requirement is violated.
    wants_p : bool
        Whether P is what it asks for; else P is forbidden, or what makes it ask for something.
    has_s : bool
        Whether there is a second predicate, which is what it asks for where P holds.
    scopes : frozenset of ScopeKind
        Those that have a meaning for it.
    has_when : bool
        Whether a condition may say where it applies.
    has_bound : bool
        Whether it may have a bound in scans or in time.
    is_timed : bool
        Whether it must have one, in time.
    is_least : bool
        Whether the bound is the least that is demanded, not the most that is allowed.
    asks_where_p : bool
        Whether P is its premise, unless others are named.
    harms : callable or None
        What is not as it should be where it is violated, of P and S, if the other facts do not say.
    measures : callable
        The questions that tell how much of its bound is ever taken.
    is_of_runs : bool
        Whether single runs keep or violate it; else it speaks of all ways on from a state.
    is_of_states : bool
        Whether a state is what violates it, so that fewer moves can only help.
    """

    violations: Callable[[Asked], Iterator[Query]]
    wants_p: bool
    has_s: bool = False
    scopes: frozenset[ScopeKind] = EVERY_SCOPE
    has_when: bool = False
    has_bound: bool = False
    is_timed: bool = False
    is_least: bool = False
    asks_where_p: bool = False
    harms: Callable[[Expr, Expr], Expr] | None = None
    measures: Callable[[Asked], Iterator[Measure]] = _unmeasured
    is_of_runs: bool = True
    is_of_states: bool = False

    def harm(self, p: Expr, s: Expr) -> Expr:
        """What is not as it should be where the requirement is violated, scope and past aside."""
        if self.harms is not None:
            return self.harms(p, s)
        unkept = not_(p) if self.wants_p else p
        return and_(unkept, not_(s)) if self.has_s else unkept

    def is_measured(self, scope: ScopeKind) -> bool:
        """Whether it is known in this scope how much of a bound is ever taken."""
        return not self.is_timed or scope in ENDLESS

    def where(self, when: Expr, p: Expr) -> Expr:
        """P of a requirement that applies only `when`."""
        return or_(not_(when), p) if self.wants_p else and_(when, p)


PATTERNS: Mapping[Pattern, PatternRow] = MappingProxyType(
    {
        Pattern.NEVER: PatternRow(_absent, wants_p=False, has_when=True, is_of_states=True),
        Pattern.ALWAYS: PatternRow(_universal, wants_p=True, has_when=True, is_of_states=True),
        Pattern.EXISTS: PatternRow(_existing, wants_p=True),
        Pattern.LEADS_TO: PatternRow(
            _answered,
            wants_p=False,
            has_s=True,
            has_bound=True,
            asks_where_p=True,
            measures=_answer_measured,
        ),
        Pattern.ONLY_AFTER: PatternRow(
            _preceded, wants_p=False, has_s=True, asks_where_p=True, is_of_states=True
        ),
        Pattern.CAN_STILL: PatternRow(
            _never_lost, wants_p=True, scopes=frozenset({ScopeKind.GLOBALLY}), is_of_runs=False
        ),
        Pattern.AT_LEAST: PatternRow(
            _too_short,
            wants_p=True,
            scopes=ENDLESS,
            has_bound=True,
            is_timed=True,
            is_least=True,
            asks_where_p=True,
            measures=_shortness_measured,
        ),
        Pattern.AT_MOST: PatternRow(
            _too_long,
            wants_p=False,
            has_bound=True,
            is_timed=True,
            asks_where_p=True,
            measures=_length_measured(lambda asked: asked.p),
        ),
        Pattern.RECURS: PatternRow(
            _too_seldom,
            wants_p=True,
            has_bound=True,
            is_timed=True,
            measures=_length_measured(lambda asked: not_(asked.p)),
        ),
        Pattern.STAYS: PatternRow(
            _not_kept_up,
            wants_p=False,
            has_s=True,
            has_bound=True,
            is_timed=True,
            is_least=True,
            asks_where_p=True,
            harms=lambda _p, s: not_(s),
            measures=_keeping_up_measured,
        ),
        Pattern.NOT_YET: PatternRow(
            _too_early,
            wants_p=False,
            has_s=True,
            scopes=ENDLESS,
            has_bound=True,
            is_timed=True,
            is_least=True,
            asks_where_p=True,
            harms=lambda _p, s: s,
            measures=_earliness_measured,
        ),
    }
)
