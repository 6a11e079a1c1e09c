"""What is worth a look in the moves, faults and requirements as they are declared."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations

from interlock.kernel import expr as ex
from interlock.kernel import patterns
from interlock.kernel.expr import TRUE, Expr
from interlock.kernel.requirement import ScopeKind
from interlock.model.model import Formula, Model, ModelMove, Statement
from interlock.model.patterns import PATTERNS
from interlock.model.reading import names_behind
from interlock.oversights.found import Kind, Oversight, seen_from
from interlock.oversights.free_names import FreeNames


def in_moves(free: FreeNames) -> Iterator[Oversight]:
    """Moves that change nothing, that say the same twice, and guards that are never true."""
    by_ends: dict[tuple[str, int | None, int], list[ModelMove]] = {}
    for move in free.model.moves:
        by_ends.setdefault((move.machine, move.source, move.target), []).append(move)
        if move.source == move.target and not move.also:
            says = f"the move '{move.name}' ends where it starts and changes nothing"
            yield Oversight(move.place, says, Kind.MOVE_IDLE)
    for moves in by_ends.values():
        for number, later in enumerate(moves):
            twin = next((m for m in moves[:number] if _alike(free, m, later)), None)
            if twin is not None:
                at = seen_from(later.place, twin.place)
                says = f"the move '{later.name}' is the same as '{twin.name}' {at}"
                yield Oversight(later.place, says, Kind.MOVES_ALIKE)
    yield from _false_guards(free)


def _alike(free: FreeNames, one: ModelMove, other: ModelMove) -> bool:
    """Whether two moves between the same states do the same whenever they can, and by the same."""
    if one.kind is not other.kind:
        return False
    at = leaving(one)
    guards = [ex.and_(at, free.expression(move.when)) for move in (one, other)]
    if not free.never(ex.ne(*guards)):
        return False
    for name in {*one.also, *other.also}:
        news = [_carried(free, move.also, name) for move in (one, other)]
        if not free.never(ex.and_(guards[0], ex.ne(*news))):
            return False
    return True


def _carried(free: FreeNames, also: Mapping[str, Formula], name: str) -> Expr:
    return free.expression(also[name]) if name in also else ex.var(name)


def leaving(move: ModelMove) -> Expr:
    """Whether the machine is where `move` starts: in its source, or in any but its target."""
    machine = ex.var(move.machine)
    if move.source is None:
        return ex.ne(machine, ex.const(move.target))
    return ex.eq(machine, ex.const(move.source))


def false_guards(free: FreeNames) -> dict[str, tuple[ModelMove, Formula, bool]]:
    """By name, the moves whose guard is false in every state they could start in.

    With the guard, and whether it is false from elsewhere, too.
    """
    found = {}
    for move in free.model.moves:
        if move.when is None:
            continue
        when = free.expression(move.when)
        if free.never(ex.and_(leaving(move), when)):
            found[move.name] = (move, move.when, free.never(when))
    return found


def _false_guards(free: FreeNames) -> Iterator[Oversight]:
    for move, when, everywhere in false_guards(free).values():
        says = f"the guard '{_short(when.text)}' contradicts itself: it is false in every state"
        if not everywhere:
            says = (
                f"the guard '{_short(when.text)}' is false wherever the move '{move.name}' "
                "could start"
            )
        yield Oversight(when.place, says, Kind.GUARD_FALSE)


def _short(text: str, most: int = 60) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"


def in_faults(model: Model) -> Iterator[Oversight]:
    """Faults that do the same to the same signals and outputs as one declared before them."""
    read = _names_that_act(model)
    free = [
        fault
        for fault in model.live_faults
        if (fault.sensors or fault.outputs) and fault.id.casefold() not in read
    ]
    told: set[str] = set()
    for first, later in combinations(free, 2):
        if later.id not in told and first.does == later.does:
            told.add(later.id)
            held = {**later.sensors, **later.outputs}
            does = " and ".join(f"'{name}' {kind.name}" for name, kind in held.items())
            at = seen_from(later.place, first.place)
            says = f"{later.id} has the same effect as {first.id} {at}: {does}"
            yield Oversight(later.place, says, Kind.FAULTS_ALIKE)


def _names_that_act(model: Model) -> set[str]:
    """Casefolded names that a guard, a sensor, a carried state or a requirement depends on."""
    formulas = [move.when for move in model.moves]
    formulas += [formula for move in model.moves for formula in move.also.values()]
    formulas += [sensor.reads for sensor in model.sensors.values()]
    for s in model.statements.values():
        formulas += [s.p, s.s, s.when, s.opens, s.closes]
    trees = [f.tree for f in formulas if f is not None]
    trees += [one.scans_while for one in model.several if one.scans_while is not None]
    return set().union(*(names_behind(model, tree) for tree in trees))


def in_requirements(free: FreeNames) -> Iterator[Oversight]:
    """Requirements that hold by their wording, whatever the values of what they name."""
    for id_, statement in free.model.statements.items():
        reason = _why_kept(free, statement)
        if reason is not None:
            says = f"{id_} holds whatever happens: {reason}"
            yield Oversight(statement.place, says, Kind.KEPT_BY_WORDS)


def _why_kept(free: FreeNames, statement: Statement) -> str | None:
    """Why no run could violate a requirement; None where that is not known."""
    p, s, when, opens, closes = (
        free.asked(statement, formula)
        for formula in (
            statement.p, statement.s, statement.when, statement.opens, statement.closes
        )
    )  # fmt: skip
    scope = statement.scope
    ends = scope in (ScopeKind.BEFORE, ScopeKind.BETWEEN)
    if scope is not ScopeKind.GLOBALLY:
        if scope is not ScopeKind.BEFORE and free.never(_opening(scope, opens, closes)):
            return "its scope can never open"
        if ends and free.never(closes):
            return "its scope can never close, and counts only where it does"
    if when is not TRUE and free.never(when):
        return "its 'when' can never be true"
    return _why_pattern_kept(free, statement, p, s, when)


def _opening(scope: ScopeKind, opens: Expr, closes: Expr) -> Expr:
    return opens if scope is ScopeKind.AFTER else ex.and_(opens, ex.not_(closes))


def _why_pattern_kept(
    free: FreeNames, statement: Statement, p: Expr, s: Expr, when: Expr
) -> str | None:
    row, words = patterns.PATTERNS[statement.pattern], PATTERNS[statement.pattern]
    if row.asks_where_p and free.never(p):
        return f"its '{words.keys[0]}' can never be true"
    is_once = row.wants_p and not row.is_of_states
    if is_once and statement.scope is ScopeKind.BEFORE:
        return None  # violated where the scope ends at power-up
    return words.kept if free.never(row.harm(row.where(when, p), s)) else None
