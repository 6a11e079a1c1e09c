"""Requirements as questions to an engine: an observer where memory is needed, and queries.

An observer is one more variable that reads each judged state of the run, the initial one
included. It answers two questions: is the run so far already a violation (`bad`), and would
staying like this for ever be one (`stay`, entered through `start`)?

A state is read when it is left; what the observer makes of the present one is an expression over
its memory and that state. So no move's update depends on what the move itself brings about,
which after a scan could be anything the program computes.

The formulas are those of the ICSE 1999 paper with these decisions, which the published versions
leave open or get wrong:

* Where Q and R hold together, no scope opens (the formulas say ``Q AND NOT R``).
* 'Between' and 'after-until' open anew at every state with Q, so an existence or a precedence
  that was satisfied earlier in the same stretch is asked for again.
* 'After Q' counts from the first Q, for every pattern.
* A response within N scans comes before or in the state that the Nth scan after P leads to; the
  earliest P without a response counts. What takes no scan takes no time.

`tests/agree` compares every observer with a direct evaluation of the formula on random runs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from interlock.kernel import expr as ex
from interlock.kernel.evaluate import evaluate
from interlock.kernel.expr import FALSE, TRUE, Expr, and_, eq, ite, ne, not_, or_
from interlock.kernel.premises import premise_parts, settles
from interlock.kernel.query import Answer, Count, Query, Reach, Stay, Trap, Values
from interlock.kernel.requirement import Pattern, Requirement, ScopeKind
from interlock.kernel.system import (
    PHASE,
    Domain,
    Move,
    MoveKind,
    Role,
    System,
    Variable,
    enumeration,
)


@dataclass(frozen=True)
class Question:
    """A requirement put to an engine.

    Attributes
    ----------
    system : System
        The system, with the requirement's observer where it needs one.
    violations : tuple of Query
        The requirement is violated if any of these is found.
    premises : tuple of Count
        Each counts the states with one part of the premise, inside the scope where that has to
        open, or with what opens or closes it; where one of them never occurs, the requirement was
        never put to the test.
    measures : tuple of Values
        For a response within a bound: `scans_taken` tells from the answer how long it took.
    is_coarse : bool
        Whether premises count outside the scope, too: where one was met, ask again with
        `keeping_settled`, which adds states.
    """

    requirement: Requirement
    system: System
    violations: tuple[Query, ...]
    premises: tuple[Count, ...]
    measures: tuple[Values, ...] = ()
    is_coarse: bool = False


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
    answered: Callable[[Expr], Expr] = lambda _m: FALSE  # what it waited for comes now


_IDLE, _OPEN, _SEEN, _BAD, _SETTLED = (ex.const(n) for n in range(5))
_DOMAIN = enumeration("idle", "open", "seen", "violated")
_WITH_SETTLED = enumeration("idle", "open", "seen", "violated", "settled")
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


def by_memory(
    requirements: Iterable[Requirement],
) -> tuple[list[Requirement], list[Requirement]]:
    """Those that need no observer, and those that do."""
    wanted = list(requirements)
    return (
        [r for r in wanted if not needs_observer(r)],
        [r for r in wanted if needs_observer(r)],
    )


def ask(system: System, requirement: Requirement, keeping_settled: bool = False) -> Question:
    """Put `requirement` as queries over `system`, extended by an observer where needed.

    Parameters
    ----------
    system : System
    requirement : Requirement
    keeping_settled : bool
        Whether an observer tells a scope in which all is settled from one that is not open. The
        verdict does not need that; how often the premise occurred inside the scope does.

    Raises
    ------
    ValueError
        For 'can always still' in a scope other than globally, which has no meaning here.
    """
    judged = eq(ex.var(PHASE), ex.const(0)) if requirement.after_scan else TRUE
    if needs_observer(requirement):
        return _observed(system, requirement, judged, keeping_settled)
    p, s = requirement.p, requirement.s
    queries: tuple[Query, ...]
    match requirement.pattern:
        case Pattern.NEVER:
            queries = (Reach(and_(judged, p)),)
        case Pattern.ALWAYS:
            queries = (Reach(and_(judged, not_(p))),)
        case Pattern.LEADS_TO:
            pending = or_(not_(judged), not_(s))
            queries = (Stay(and_(judged, p, not_(s)), pending),)
        case _:
            queries = (Trap(and_(judged, p)),)
    return Question(requirement, system, queries, _counts(judged, premise_parts(requirement)))


def ask_together(
    system: System, requirements: Iterable[Requirement], keeping_settled: bool = False
) -> list[Question]:
    """Put several requirements to one system that carries all their observers.

    Returns
    -------
    list of Question
        In the order of the requirements, each with the whole system.
    """
    questions: list[Question] = []
    for requirement in requirements:
        questions.append(ask(system, requirement, keeping_settled))
        system = questions[-1].system
    return [replace(question, system=system) for question in questions]


def _observed(
    system: System, requirement: Requirement, judged: Expr, keeping_settled: bool
) -> Question:
    is_coarse = not keeping_settled and settles(requirement)
    observer = _observer(requirement, keeping_settled)
    name = f"watch.{requirement.id}"
    memory = ex.var(name)
    now = ite(judged, observer.read(memory), memory)
    variable = Variable(name, observer.domain, evaluate(observer.start, {}), Role.OBSERVER)
    scanned = observer.scan(now)

    def watched(move: Move) -> Move:
        after = scanned if move.kind is MoveKind.SCAN else now
        return replace(move, updates={**move.updates, name: after})

    extended = system.extended([variable], [watched(move) for move in system.moves])
    bad, stay = observer.bad(now), observer.stay(now)
    queries: list[Query] = []
    if bad is not FALSE:
        queries.append(Reach(bad))
    if stay is not FALSE:
        queries.append(Stay(stay, stay))
    answered = observer.answered(memory)
    measures = () if answered is FALSE else (Values((memory,), where=and_(judged, answered)),)
    opened = not is_coarse and requirement.scope.kind not in (
        ScopeKind.GLOBALLY,
        ScopeKind.BEFORE,
    )
    inside, before = (ne(m, _IDLE) if opened else TRUE for m in (now, memory))
    premises = _counts(judged, premise_parts(requirement, inside, before))
    return Question(requirement, extended, tuple(queries), premises, measures, is_coarse)


def _counts(judged: Expr, parts: Iterable[Expr]) -> tuple[Count, ...]:
    return tuple(Count(and_(judged, part)) for part in parts)


def scans_taken(answer: Answer) -> int | None:
    """The most scans that passed before a response, from the answer to a question's measure."""
    return max((value - _DUE for (value,) in answer.values), default=None)


def _observer(requirement: Requirement, keeping_settled: bool = True) -> _Observer:
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
            return _existence(kind, p, q, r, opens, keeping_settled)
        case Pattern.ONLY_AFTER:
            return _precedence(kind, p, s, q, r, opens, keeping_settled)
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


def _existence(
    kind: ScopeKind, p: Expr, q: Expr, r: Expr, opens: Expr, keeping_settled: bool
) -> _Observer:
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
                waiting = ite(p, _SEEN if keeping_settled else _IDLE, _OPEN)
                return _cases(
                    (r, ite(is_open, _BAD, _IDLE)), (or_(is_open, opens), waiting), otherwise=m
                )

    early = kind in (ScopeKind.GLOBALLY, ScopeKind.BEFORE)
    endless = kind in (ScopeKind.GLOBALLY, ScopeKind.AFTER, ScopeKind.AFTER_UNTIL)
    return _make(read, _OPEN if early else _IDLE, (lambda m: eq(m, _OPEN)) if endless else _NONE)


def _precedence(
    kind: ScopeKind, p: Expr, s: Expr, q: Expr, r: Expr, opens: Expr, keeping_settled: bool
) -> _Observer:
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
                settled = _SETTLED if keeping_settled else _IDLE
                waiting = _cases((s, settled), (p, _SEEN), otherwise=_OPEN)
                return _cases(
                    (seen, ite(r, _BAD, _SEEN)),
                    (r, _IDLE),
                    (or_(is_open, opens), waiting),
                    otherwise=m,
                )
            case _:  # seen: settled
                settled = _SEEN if keeping_settled else _IDLE
                waiting = _cases((s, settled), (p, _BAD), otherwise=_OPEN)
                return _cases((r, _IDLE), (or_(is_open, opens), waiting), otherwise=m)

    early = kind in (ScopeKind.GLOBALLY, ScopeKind.BEFORE)
    observer = _make(read, _OPEN if early else _IDLE)
    return replace(observer, domain=_WITH_SETTLED) if kind is ScopeKind.BETWEEN else observer


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
    closes = kind not in (ScopeKind.GLOBALLY, ScopeKind.AFTER)
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

    def answered(m: Expr) -> Expr:
        in_time = and_(s, ex.le(m, last))
        return and_(waits(m), in_time, not_(r) if closes else TRUE)

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
        answered=answered,
    )
