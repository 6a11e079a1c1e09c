"""Minimal sets of a family, limits, and what is refused."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.engines.budget import NO_LIMITS
from interlock.engines.symbolic import SymbolicEngine
from interlock.engines.symbolic.cutsets import Listing, minimal_of
from interlock.engines.symbolic.diagrams import Diagrams
from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, TRUE, Expr, and_, const, eq, not_, or_, var
from interlock.kernel.projected import MOST_SETS, CutSets
from interlock.kernel.query import DeclinedError, Limits, Reach
from interlock.kernel.system import BOOL, PHASE, Domain, Move, MoveKind, System, Variable
from tests.bench.generated_interlock import generate

FLAGS = tuple("abcde")


def component_faults(names: str, *others: Move) -> System:
    """Any number of faults may strike, each once."""
    variables = tuple(Variable(name, BOOL, 0) for name in names)
    moves = [Move(n, MoveKind.FAULT, not_(var(n)), {n: TRUE}) for n in names]
    return System(variables, (*moves, *others))


def cut_sets(
    system: System,
    bad: Expr,
    flags: Sequence[str],
    limits: Limits = NO_LIMITS,
    most_sets: int = MOST_SETS,
) -> CutSets:
    """The minimal sets of flags with which something bad is reached."""
    kept = SymbolicEngine().project(system, flags, limits)
    return kept.minimal_sets(Reach(bad), most_sets=most_sets)


@given(st.sets(st.sets(st.integers(0, 4)).map(frozenset)))
@settings(deadline=None)
def test_minimal_sets_are_those_that_contain_no_other(family: set[frozenset[int]]) -> None:
    dd = Diagrams(5)
    node = dd.disjunction(
        dd.cube({bit: int(bit in members) for bit in range(5)})
        for members in sorted(family, key=sorted)
    )
    listing = Listing(minimal_of(dd, node, range(5)), dict(enumerate(FLAGS)))
    minimal = [one for one in family if not any(other < one for other in family)]
    wanted = sorted((len(one), [FLAGS[bit] for bit in sorted(one)]) for one in minimal)
    assert sorted((len(one), sorted(one)) for one in listing.sets()) == wanted
    assert sum(listing.n_by_order) == len(wanted)


def test_the_pressure_tank_has_its_five_published_minimal_cut_sets() -> None:
    # NUREG-0492, chapter VIII: {T}, {K2}, {S, S1}, {S, K1}, {S, R}.
    names = {"t": "T", "k": "K2", "s": "S", "u": "S1", "v": "K1", "r": "R"}
    top = or_(var("t"), var("k"), and_(var("s"), or_(var("u"), var("v"), var("r"))))
    found = cut_sets(component_faults("".join(names)), top, tuple(names))
    # By their order, then as the flags were given.
    told = [tuple(names[flag] for flag in one) for one in found.sets]
    assert told == [("T",), ("K2",), ("S", "S1"), ("S", "K1"), ("S", "R")]
    assert found.n_by_order == (0, 2, 3)


def test_k_out_of_n_has_as_many_sets_as_the_binomial_coefficient() -> None:
    total = ex.total(var(name) for name in FLAGS)
    enough = not_(ex.lt(total, const(3)))
    found = cut_sets(component_faults("abcde"), enough, FLAGS)
    assert found.n_by_order == (0, 0, 0, 10)
    assert found.sets[0] == ("a", "b", "c")
    assert list(found.sets) == sorted(found.sets)


def test_an_accident_without_faults_has_the_empty_set_alone() -> None:
    found = cut_sets(component_faults("ab"), TRUE, ("a", "b"))
    assert found.sets == ((),)


def test_an_impossible_accident_has_no_sets() -> None:
    found = cut_sets(component_faults("ab"), FALSE, ("a", "b"))
    assert (found.sets, found.n_by_order, found.limit) == ((), (), None)


def test_sets_are_listed_as_the_flags_were_given_not_as_the_system_has_them() -> None:
    bad = or_(and_(var("a"), var("b")), var("c"), and_(var("b"), var("d")), var("e"))
    found = cut_sets(component_faults("abcde"), bad, tuple("edcba"))
    assert found.sets == (("e",), ("c",), ("d", "b"), ("b", "a"))


def test_the_list_may_be_cut_off_but_the_counts_are_of_all() -> None:
    anything = or_(*(var(name) for name in FLAGS))
    found = cut_sets(component_faults("abcde"), anything, FLAGS, most_sets=2)
    assert len(found.sets) == 2
    assert found.n_by_order == (0, 5)


def test_a_flag_that_may_be_reset_is_refused() -> None:
    repair = Move("repair", MoveKind.OPERATOR, var("a"), {"a": FALSE})
    with pytest.raises(DeclinedError, match="a may be reset"):
        cut_sets(component_faults("ab", repair), var("a"), ("a", "b"))


def test_a_flag_that_a_scan_sets_is_no_fault() -> None:
    scan = Move("scan", MoveKind.SCAN, TRUE, {"b": TRUE})
    with pytest.raises(DeclinedError, match="b is set by the scan, so it is no fault"):
        cut_sets(component_faults("ab", scan), var("a"), ("a", "b"))


@pytest.mark.parametrize(("domain", "initial"), [(BOOL, 1), (Domain(0, 2), 0), (Domain(-1, 1), 0)])
def test_a_flag_is_false_at_first_and_then_true(domain: Domain, initial: int) -> None:
    of = System((Variable("a", domain, initial),), ())
    with pytest.raises(DeclinedError, match="a is no flag that is FALSE at first"):
        cut_sets(of, var("a"), ("a",))


@pytest.mark.parametrize(
    ("limits", "named"),
    [
        (Limits(max_states=100), "states 100"),
        (Limits(max_seconds=0), "seconds 0"),
        (Limits(max_bytes=1000), "bytes 1,000"),
        (Limits(max_bytes=200_000), "bytes 200,000"),
    ],
)
def test_a_limit_leaves_no_sets_and_is_named(limits: Limits, named: str) -> None:
    made = generate(12)
    found = cut_sets(made.system, made.bad, made.flags, limits)
    assert (found.sets, found.n_by_order, found.limit) == ((), (), named)


def test_a_fault_at_power_up_leads_to_what_no_scan_has_left() -> None:
    # A lamp that no scan has made what it is at power-up; only a fault lets a scan come.
    free = eq(var(PHASE), const(0))
    strike = Move("strike", MoveKind.FAULT, and_(free, not_(var("a"))), {"a": TRUE, PHASE: TRUE})
    scan = Move("scan", MoveKind.SCAN, not_(free), {PHASE: const(0), "lamp": var("a")})
    names = {PHASE: 0, "a": 0, "lamp": 1}
    of = System(tuple(Variable(name, BOOL, at) for name, at in names.items()), (strike, scan))
    for bad in (var("a"), and_(var("a"), var("lamp"), free)):
        assert cut_sets(of, bad, ("a",)).sets == (("a",),)
    assert cut_sets(of, var("lamp"), ("a",)).sets == ((),)


def test_an_event_that_sets_two_flags_is_a_set_of_two() -> None:
    both = Move("both", MoveKind.FAULT, not_(var("a")), {"a": TRUE, "b": TRUE})
    of = System(tuple(Variable(name, BOOL, 0) for name in "ab"), (both,))
    assert cut_sets(of, var("b"), ("a", "b")).sets == (("a", "b"),)
