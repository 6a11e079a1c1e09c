"""The symbolic engine against the reference engine, on random systems with fault flags."""

from __future__ import annotations

from itertools import takewhile

from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.engines.reference import ReferenceEngine
from interlock.engines.symbolic import SymbolicEngine
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import evaluate
from interlock.kernel.expr import Expr
from interlock.kernel.query import Count, Exploration, Query, Reach, Stay, Trap
from interlock.kernel.system import BOOL, PHASE, Domain, Move, MoveKind, Role, System, Variable
from interlock.kernel.witness import Witness, check_run

DOMAINS = {"a": (0, 2), "b": (-1, 1), "n": (0, 4), "p": (0, 1), "q": (0, 1), "r": (0, 1)}
TRUTHS = ("p", "q", "r", "f0", "f1", "f2")
NUMBERS = ("a", "b", "n", "p", "f0")


def _numbers(truths: st.SearchStrategy[Expr]) -> st.SearchStrategy[Expr]:
    leaf = st.sampled_from(NUMBERS).map(ex.var) | st.integers(-2, 4).map(ex.const)
    operators = [ex.add, ex.sub, ex.mul, ex.div, ex.mod, ex.minimum, ex.maximum]
    return leaf | st.one_of(
        st.builds(lambda op, a, b: op(a, b), st.sampled_from(operators), leaf, leaf),
        st.builds(ex.ite, truths, leaf, leaf),
    )


def _truths() -> st.SearchStrategy[Expr]:
    leaf = st.sampled_from(TRUTHS).map(ex.var)
    compared = st.builds(
        lambda op, a, b: op(a, b), st.sampled_from([ex.eq, ex.lt]), _numbers(leaf), _numbers(leaf)
    )
    return st.recursive(
        leaf | compared,
        lambda inner: (
            inner.map(ex.not_)
            | st.builds(ex.and_, inner, inner)
            | st.builds(ex.or_, inner, inner)
            | st.builds(ex.xor, inner, inner)
        ),
        max_leaves=4,
    )


def _update(name: str) -> st.SearchStrategy[Expr]:
    lo, hi = DOMAINS[name]
    if (lo, hi) == (0, 1):
        return st.sampled_from([ex.FALSE, ex.TRUE]) | _truths()
    return st.integers(lo, hi).map(ex.const) | _numbers(_truths()).map(
        lambda value: ex.clamp(value, lo, hi)
    )


@st.composite
def _moves(draw: st.DrawFn, name: str, kind: MoveKind, most: int) -> Move:
    names = draw(st.lists(st.sampled_from(sorted(DOMAINS)), min_size=1, max_size=most, unique=True))
    return Move(
        name,
        kind,
        draw(_truths()),
        {name: draw(_update(name)) for name in names},
        draw(st.none() | _truths()) if kind is not MoveKind.OPERATOR else None,
    )


@st.composite
def systems(draw: st.DrawFn) -> System:
    """Environment moves, latched faults, and a scan that writes many variables at once."""
    variables = [
        Variable(name, Domain(lo, hi), draw(st.integers(lo, hi)))
        for name, (lo, hi) in DOMAINS.items()
    ]
    variables += [Variable(f"f{n}", BOOL, 0, Role.FAULT) for n in range(3)]
    moves = [draw(_moves(f"m{n}", MoveKind.PLANT, 2)) for n in range(draw(st.integers(1, 4)))]
    moves += [draw(_moves("button", MoveKind.OPERATOR, 1))]
    for n in range(3):
        guard = ex.and_(ex.not_(ex.var(f"f{n}")), draw(st.just(ex.TRUE) | _truths()))
        moves.append(Move(f"strike {n}", MoveKind.FAULT, guard, {f"f{n}": ex.TRUE}))
    scan = draw(_moves("scan", MoveKind.SCAN, 5))
    if draw(st.booleans()):
        variables.append(Variable(PHASE, Domain(0, 2), 0, Role.PHASE))
        pending, most = ex.var(PHASE), draw(st.integers(1, 2))
        moves = [
            Move(
                m.name,
                m.kind,
                ex.and_(m.guard, ex.lt(pending, ex.const(most))),
                {**m.updates, PHASE: ex.clamp(ex.add(pending, ex.const(1)), 0, 2)},
                m.fair,
            )
            for m in moves
        ]
        waiting = ex.lt(ex.const(0), pending)
        updates = {**scan.updates, PHASE: ex.const(0)}
        scan = Move("scan", MoveKind.SCAN, waiting, updates, waiting)
    return System(tuple(variables), (*moves, scan))


def queries() -> st.SearchStrategy[list[Query]]:
    """A few of every kind."""
    one = _truths()
    kinds = [one.map(Reach), st.builds(Stay, one, one), one.map(Trap), one.map(Count)]
    return st.tuples(*kinds, *kinds[:3]).map(list)


def _same(system: System, asked: list[Query], ours: Exploration, theirs: Exploration) -> None:
    assert ours.limit is None
    assert (ours.n_states, ours.n_moves) == (theirs.n_states, theirs.n_moves)
    for query, mine, other in zip(asked, ours.answers, theirs.answers, strict=True):
        assert (mine.found, mine.n_states) == (other.found, other.n_states)
        assert (mine.witness is None) == (other.witness is None)
        if mine.witness is not None:
            check_run(system, mine.witness)
            _ends_as_asked(system, query, mine.witness)


def _ends_as_asked(system: System, query: Query, witness: Witness) -> None:
    """The witness shows what was asked, judged state by state."""
    last = system.named(witness.last)
    if isinstance(query, Reach):
        assert evaluate(query.target, last)
    if isinstance(query, Stay):
        assert witness.loop_start is not None
        inside = [evaluate(query.stay, system.named(s)) for s in witness.states]
        starts = [evaluate(query.start, system.named(s)) for s in witness.states]
        n_inside = len(list(takewhile(bool, reversed(inside))))
        assert any(starts[len(starts) - n_inside : witness.loop_start + 1])


@given(systems(), queries())
@settings(deadline=None)
def test_breadth_first_agrees_with_the_reference(system: System, asked: list[Query]) -> None:
    ours = SymbolicEngine().explore(system, asked)
    theirs = ReferenceEngine().explore(system, asked)
    _same(system, asked, ours, theirs)
    assert (ours.depth, ours.level_sizes) == (theirs.depth, theirs.level_sizes)


@given(systems(), queries(), st.integers(0, 200))
@settings(deadline=None)
def test_chaining_agrees_with_the_reference(
    system: System, asked: list[Query], breadth_first_nodes: int
) -> None:
    ours = SymbolicEngine(breadth_first_nodes).explore(system, asked)
    theirs = ReferenceEngine().explore(system, asked)
    _same(system, asked, ours, theirs)


@given(systems(), queries(), st.integers(0, 100))
@settings(deadline=None)
def test_witnesses_are_as_short_as_the_reference_has_them(
    system: System, asked: list[Query], breadth_first_nodes: int
) -> None:
    ours = SymbolicEngine(breadth_first_nodes).explore(system, asked)
    theirs = ReferenceEngine().explore(system, asked)
    for query, mine, other in zip(asked, ours.answers, theirs.answers, strict=True):
        if mine.witness is None or other.witness is None:
            continue
        if isinstance(query, Stay):
            continue
        assert len(mine.witness) == len(other.witness)
