"""Observers: variables that read along a run what it makes of a requirement.

Who follows one run, or keeps an invariant as evidence, needs them; who explores does without
(`asking`), and `tests/agree` holds both to each other.

An observer reads each judged state of the run, the initial one included. It answers two
questions: is the run so far already a violation (`bad`), and would staying like this for ever be
one (`stay`, entered through `start`)?

A state is read when it is left; what the observer makes of the present one is an expression over
its memory and that state. So no move's update depends on what the move itself brings about,
which after a scan could be anything the program computes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from interlock.kernel import expr as ex
from interlock.kernel.asking import Question, ask
from interlock.kernel.evaluate import evaluate
from interlock.kernel.expr import FALSE, Expr, and_, eq, ite, not_, or_
from interlock.kernel.observe_time import is_in_time, observe_in_time
from interlock.kernel.query import Query, Reach, Stay
from interlock.kernel.requirement import Pattern, Requirement, ScopeKind
from interlock.kernel.system import (
    Domain,
    Move,
    Role,
    System,
    Variable,
    enumeration,
)


@dataclass(frozen=True)
class _Observer:
    """States of a monitor, the state it is in after reading a first state, and what it means.

    In a scope that opens at some state, it is idle (0) as long as that is not open.
    """

    domain: Domain
    read: Callable[[Expr], Expr]  # memory -> memory after reading a state
    start: Expr  # memory before any state was read
    bad: Callable[[Expr], Expr]
    stay: Callable[[Expr], Expr]
    scan: Callable[[Expr], Expr] = lambda memory: memory  # what a scan does to it


_IDLE, _OPEN, _SEEN, _BAD = (ex.const(n) for n in range(4))
_DOMAIN = enumeration("idle", "open", "seen", "violated")
# A monitor with a bound: idle, open, then the number of scans for which it has been waiting.
_DUE = 2
_NONE: Callable[[Expr], Expr] = lambda _m: FALSE  # noqa: E731


def _is_bad(memory: Expr) -> Expr:
    return eq(memory, _BAD)


def _cases(*cases: tuple[Expr, Expr], otherwise: Expr) -> Expr:
    result = otherwise
    for condition, value in reversed(cases):
        result = ite(condition, value, result)
    return result


def needs_observer(requirement: Requirement) -> bool:
    """Whether the requirement depends on the past of a run."""
    if requirement.scope.kind is not ScopeKind.GLOBALLY:
        return True
    return requirement.pattern in (Pattern.EXISTS, Pattern.ONLY_AFTER) or (
        requirement.within is not None
    )


def observe(system: System, requirement: Requirement) -> Question:
    """Put `requirement` as queries over `system`, extended by an observer where needed.

    Raises
    ------
    ValueError
        For 'can always still' in a scope other than globally, which has no meaning here, and as
        for `observe_in_time`.
    """
    if not needs_observer(requirement):
        return ask(system, requirement)
    if is_in_time(requirement):
        return observe_in_time(system, requirement)
    judged = requirement.judged
    observer = _observer(requirement)
    name = f"watch.{requirement.id}"
    memory = ex.var(name)
    now = ite(judged, observer.read(memory), memory)
    variable = Variable(name, observer.domain, evaluate(observer.start, {}), Role.OBSERVER)
    scanned = observer.scan(now)

    def watched(move: Move) -> Move:
        after = scanned if move.kind is requirement.counted else now
        return replace(move, updates={**move.updates, name: after})

    extended = system.extended([variable], [watched(move) for move in system.moves])
    bad, stay = observer.bad(now), observer.stay(now)
    queries: list[Query] = []
    if bad is not FALSE:
        queries.append(Reach(bad))
    if stay is not FALSE:
        queries.append(Stay(stay, stay))
    return Question(requirement, extended, tuple(queries), ())


def observe_all(system: System, requirements: Iterable[Requirement]) -> list[Question]:
    """Put several requirements to one system that carries all their observers.

    Returns
    -------
    list of Question
        In the order of the requirements, each with the whole system.
    """
    questions: list[Question] = []
    for requirement in requirements:
        questions.append(observe(system, requirement))
        system = questions[-1].system
    return [replace(question, system=system) for question in questions]


def _observer(requirement: Requirement) -> _Observer:
    p, s = requirement.p, requirement.s
    q, r = requirement.scope.opens, requirement.scope.closes
    kind = requirement.scope.kind
    opens = and_(q, not_(r))
    match requirement.pattern:
        case Pattern.NEVER:
            return _absence(kind, p, q, r, opens)
        case Pattern.ALWAYS:
            return _absence(kind, not_(p), q, r, opens)
        case Pattern.EXISTS:
            return _existence(kind, p, q, r, opens)
        case Pattern.ONLY_AFTER:
            return _precedence(kind, p, s, q, r, opens)
        case Pattern.LEADS_TO if requirement.within is not None:
            return _bounded_response(requirement, opens, requirement.within)
        case Pattern.LEADS_TO:
            return _response(kind, p, s, q, r, opens)
        case _:
            raise ValueError("'can always still' is judged globally; a scope has no meaning for it")


def _make(
    read: Callable[[Expr], Expr],
    start: Expr,
    stay: Callable[[Expr], Expr] = _NONE,
) -> _Observer:
    def latched(memory: Expr) -> Expr:
        return ite(_is_bad(memory), _BAD, read(memory))

    return _Observer(_DOMAIN, latched, start, _is_bad, stay)


def _absence(kind: ScopeKind, p: Expr, q: Expr, r: Expr, opens: Expr) -> _Observer:
    def read(m: Expr) -> Expr:
        is_open = eq(m, _OPEN)
        seen = eq(m, _SEEN)
        match kind:
            case ScopeKind.BEFORE:  # idle: the scope is over
                watching = _cases((r, _IDLE), (p, _SEEN), otherwise=_OPEN)
                return _cases((and_(seen, r), _BAD), (is_open, watching), otherwise=m)
            case ScopeKind.AFTER:
                return _cases((and_(or_(is_open, q), p), _BAD), (q, _OPEN), otherwise=m)
            case ScopeKind.BETWEEN:
                inside = _cases((p, _SEEN), otherwise=_OPEN)
                return _cases(
                    (seen, ite(r, _BAD, _SEEN)),
                    (r, _IDLE),
                    (or_(is_open, opens), inside),
                    otherwise=_IDLE,
                )
            case _:
                inside = _cases((p, _BAD), otherwise=_OPEN)
                return _cases((r, _IDLE), (or_(is_open, opens), inside), otherwise=_IDLE)

    return _make(read, _OPEN if kind is ScopeKind.BEFORE else _IDLE)


def _existence(kind: ScopeKind, p: Expr, q: Expr, r: Expr, opens: Expr) -> _Observer:
    def read(m: Expr) -> Expr:
        is_open = eq(m, _OPEN)
        match kind:
            case ScopeKind.GLOBALLY:
                return ite(p, _IDLE, m)
            case ScopeKind.BEFORE:
                return ite(is_open, _cases((r, _BAD), (p, _IDLE), otherwise=_OPEN), m)
            case ScopeKind.AFTER:  # seen: satisfied
                waiting = ite(p, _SEEN, _OPEN)
                return ite(or_(is_open, and_(eq(m, _IDLE), q)), waiting, m)
            case _:
                waiting = ite(p, _IDLE, _OPEN)
                return _cases(
                    (r, ite(is_open, _BAD, _IDLE)), (or_(is_open, opens), waiting), otherwise=m
                )

    early = kind in (ScopeKind.GLOBALLY, ScopeKind.BEFORE)
    endless = kind in (ScopeKind.GLOBALLY, ScopeKind.AFTER, ScopeKind.AFTER_UNTIL)
    return _make(read, _OPEN if early else _IDLE, (lambda m: eq(m, _OPEN)) if endless else _NONE)


def _precedence(kind: ScopeKind, p: Expr, s: Expr, q: Expr, r: Expr, opens: Expr) -> _Observer:
    def read(m: Expr) -> Expr:
        is_open = eq(m, _OPEN)
        seen = eq(m, _SEEN)
        match kind:
            case ScopeKind.GLOBALLY:  # idle: settled for good
                return ite(is_open, _cases((s, _IDLE), (p, _BAD), otherwise=_OPEN), m)
            case ScopeKind.BEFORE:
                waiting = _cases((or_(s, r), _IDLE), (p, _SEEN), otherwise=_OPEN)
                return _cases((and_(seen, r), _BAD), (is_open, waiting), otherwise=m)
            case ScopeKind.AFTER:  # seen: settled for good
                waiting = _cases((s, _SEEN), (p, _BAD), otherwise=_OPEN)
                return ite(or_(is_open, and_(eq(m, _IDLE), q)), waiting, m)
            case ScopeKind.BETWEEN:
                waiting = _cases((s, _IDLE), (p, _SEEN), otherwise=_OPEN)
                return _cases(
                    (seen, ite(r, _BAD, _SEEN)),
                    (r, _IDLE),
                    (or_(is_open, opens), waiting),
                    otherwise=m,
                )
            case _:
                waiting = _cases((s, _IDLE), (p, _BAD), otherwise=_OPEN)
                return _cases((r, _IDLE), (or_(is_open, opens), waiting), otherwise=m)

    early = kind in (ScopeKind.GLOBALLY, ScopeKind.BEFORE)
    return _make(read, _OPEN if early else _IDLE)


def _response(kind: ScopeKind, p: Expr, s: Expr, q: Expr, r: Expr, opens: Expr) -> _Observer:
    """Here 'seen' means: P was seen in the scope and no S since."""

    def read(m: Expr) -> Expr:
        is_open = eq(m, _OPEN)
        pending = eq(m, _SEEN)
        inside = _cases((s, _OPEN), (or_(pending, p), _SEEN), otherwise=_OPEN)
        match kind:
            case ScopeKind.BEFORE:
                ended = ite(pending, _BAD, _IDLE)
                return _cases((eq(m, _IDLE), _IDLE), (r, ended), otherwise=inside)
            case ScopeKind.AFTER:
                return ite(or_(is_open, pending, q), inside, _IDLE)
            case _:
                ended = ite(pending, _BAD, _IDLE)
                return _cases((r, ended), (or_(is_open, pending, opens), inside), otherwise=_IDLE)

    endless = kind in (ScopeKind.AFTER, ScopeKind.AFTER_UNTIL)
    start = _OPEN if kind is ScopeKind.BEFORE else _IDLE
    return _make(read, start, (lambda m: eq(m, _SEEN)) if endless else _NONE)


def _bounded_response(requirement: Requirement, opens: Expr, within: int) -> _Observer:
    """Counts the scans since the earliest P in the scope that had no S yet."""
    p, s = requirement.p, requirement.s
    q, r = requirement.scope.opens, requirement.scope.closes
    kind = requirement.scope.kind
    last, late, bad = (ex.const(_DUE + within + n) for n in range(3))

    def waits(m: Expr) -> Expr:
        return ex.le(ex.const(_DUE), m)

    def read(m: Expr) -> Expr:
        started = ex.lt(_IDLE, m)
        inside = _cases(
            (eq(m, late), late),
            (s, _OPEN),
            (eq(m, last), late),
            (waits(m), m),
            (p, ex.const(_DUE)),
            otherwise=_OPEN,
        )
        ended = ite(waits(m), bad, _IDLE)
        match kind:
            case ScopeKind.GLOBALLY:
                return inside
            case ScopeKind.BEFORE:
                return _cases((eq(m, _IDLE), _IDLE), (r, ended), otherwise=inside)
            case ScopeKind.AFTER:
                return ite(or_(started, q), inside, _IDLE)
            case _:
                return _cases((r, ended), (or_(started, opens), inside), otherwise=_IDLE)

    def scan(m: Expr) -> Expr:
        waiting = and_(waits(m), ex.lt(m, last))
        return ite(waiting, ex.add(ex.minimum(m, ex.const(_DUE + within - 1)), ex.const(1)), m)

    # What comes late in a scope that may never end is judged when that ends.
    forgiving = kind in (ScopeKind.BEFORE, ScopeKind.BETWEEN)
    failed = bad if forgiving else late
    return _Observer(
        domain=Domain(0, _DUE + within + 2),
        read=lambda m: ite(eq(m, bad), bad, read(m)),
        start=_OPEN if kind in (ScopeKind.GLOBALLY, ScopeKind.BEFORE) else _IDLE,
        bad=lambda m: ex.le(failed, m),
        stay=_NONE,
        scan=scan,
    )
