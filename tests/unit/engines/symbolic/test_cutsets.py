"""Minimal sets of a family, limits, and what is refused."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.engines import budget
from interlock.engines.symbolic import minimal_cut_sets
from interlock.engines.symbolic.chaining import Search
from interlock.engines.symbolic.cutsets import Listing, minimal_of
from interlock.engines.symbolic.diagrams import Diagrams
from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, TRUE, and_, const, eq, not_, or_, var
from interlock.kernel.query import DeclinedError, Limits
from interlock.kernel.system import BOOL, PHASE, Domain, Move, MoveKind, System, Variable
from tests.bench.generated_interlock import generate
from tests.support.strategies import truths
from tests.support.turns import FLAGS as FAULTS
from tests.support.turns import KNOWN, taking_turns

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

FLAGS = tuple("abcde")


def component_faults(names: str, *others: Move) -> System:
    """Any number of faults may strike, each once."""
    variables = tuple(Variable(name, BOOL, 0) for name in names)
    moves = [Move(n, MoveKind.FAULT, not_(var(n)), {n: TRUE}) for n in names]
    return System(variables, (*moves, *others))


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
    found = minimal_cut_sets(component_faults("".join(names)), top, tuple(names))
    # By their order, then as the flags were given.
    told = [tuple(names[flag] for flag in one) for one in found.sets]
    assert told == [("T",), ("K2",), ("S", "S1"), ("S", "K1"), ("S", "R")]
    assert found.n_by_order == (0, 2, 3)


def test_k_out_of_n_has_as_many_sets_as_the_binomial_coefficient() -> None:
    total = ex.total(var(name) for name in FLAGS)
    enough = not_(ex.lt(total, const(3)))
    found = minimal_cut_sets(component_faults("abcde"), enough, FLAGS)
    assert found.n_by_order == (0, 0, 0, 10)
    assert found.sets[0] == ("a", "b", "c")
    assert list(found.sets) == sorted(found.sets)


def test_an_accident_without_faults_has_the_empty_set_alone() -> None:
    found = minimal_cut_sets(component_faults("ab"), TRUE, ("a", "b"))
    assert found.sets == ((),)


def test_an_impossible_accident_has_no_sets() -> None:
    found = minimal_cut_sets(component_faults("ab"), FALSE, ("a", "b"))
    assert (found.sets, found.n_by_order, found.limit) == ((), (), None)


def test_sets_are_listed_as_the_flags_were_given_not_as_the_system_has_them() -> None:
    bad = or_(and_(var("a"), var("b")), var("c"), and_(var("b"), var("d")), var("e"))
    found = minimal_cut_sets(component_faults("abcde"), bad, tuple("edcba"))
    assert found.sets == (("e",), ("c",), ("d", "b"), ("b", "a"))


def test_the_list_may_be_cut_off_but_the_counts_are_of_all() -> None:
    anything = or_(*(var(name) for name in FLAGS))
    found = minimal_cut_sets(component_faults("abcde"), anything, FLAGS, most_sets=2)
    assert len(found.sets) == 2
    assert found.n_by_order == (0, 5)


def test_a_flag_that_may_be_reset_is_refused() -> None:
    repair = Move("repair", MoveKind.OPERATOR, var("a"), {"a": FALSE})
    with pytest.raises(DeclinedError, match="a may be reset"):
        minimal_cut_sets(component_faults("ab", repair), var("a"), ("a", "b"))


def test_a_flag_that_a_scan_sets_is_no_fault() -> None:
    scan = Move("scan", MoveKind.SCAN, TRUE, {"b": TRUE})
    with pytest.raises(DeclinedError, match="b is set by the scan, so it is no fault"):
        minimal_cut_sets(component_faults("ab", scan), var("a"), ("a", "b"))


@pytest.mark.parametrize(("domain", "initial"), [(BOOL, 1), (Domain(0, 2), 0), (Domain(-1, 1), 0)])
def test_a_flag_is_false_at_first_and_then_true(domain: Domain, initial: int) -> None:
    of = System((Variable("a", domain, initial),), ())
    with pytest.raises(DeclinedError, match="a is no flag that is FALSE at first"):
        minimal_cut_sets(of, var("a"), ("a",))


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
    found = minimal_cut_sets(made.system, made.bad, made.flags, limits)
    assert (found.sets, found.n_by_order, found.limit) == ((), (), named)
    assert found.complete_to == -1


def test_time_may_run_out_while_what_is_bad_is_projected(monkeypatch: pytest.MonkeyPatch) -> None:
    seconds = 0.0
    projected = Search.projected

    def slowly(*asked: Any) -> Iterator[Node]:
        nonlocal seconds
        for part in projected(*asked):
            seconds += 60
            yield part

    monkeypatch.setattr(Search, "projected", slowly)
    monkeypatch.setattr(budget, "perf_counter", lambda: seconds)
    asked = component_faults("ab"), var("a"), ("a", "b")
    assert minimal_cut_sets(*asked, Limits(max_seconds=300)).sets == (("a",),)
    found = minimal_cut_sets(*asked, Limits(max_seconds=30))
    assert (found.sets, found.limit) == ((), "seconds 30")


def test_order_by_order_a_limit_leaves_the_orders_that_were_done() -> None:
    made = generate(10, n_components=3)
    whole = minimal_cut_sets(made.system, made.bad, made.flags)
    first = minimal_cut_sets(made.system, made.bad, made.flags, most_faults=1)
    assert (first.complete_to, first.limit) == (1, None)
    assert whole.n_by_order == (0, 1, 1, 2)
    # Enough for the states with one fault; the next order needs more.
    limits = Limits(max_states=30_000)
    cut = minimal_cut_sets(made.system, made.bad, made.flags, limits, most_faults=9)
    assert (cut.complete_to, cut.limit) == (1, "states 30,000")
    assert cut.sets == first.sets == tuple(one for one in whole.sets if len(one) <= 1)


def test_the_search_ends_when_no_more_faults_can_add_anything() -> None:
    anything = or_(*(var(name) for name in FLAGS))
    found = minimal_cut_sets(component_faults("abcde"), anything, FLAGS, most_faults=5)
    assert (found.n_by_order, found.complete_to) == ((0, 5), None)


def waiting_for_its_first_scan() -> System:
    """A lamp that no scan has made what it is at power-up; only a fault lets a scan come."""
    free = eq(var(PHASE), const(0))
    strike = Move("strike", MoveKind.FAULT, and_(free, not_(var("a"))), {"a": TRUE, PHASE: TRUE})
    scan = Move("scan", MoveKind.SCAN, not_(free), {PHASE: const(0), "lamp": var("a")})
    names = {PHASE: 0, "a": 0, "lamp": 1}
    return System(tuple(Variable(name, BOOL, at) for name, at in names.items()), (strike, scan))


def test_a_fault_at_power_up_belongs_to_the_first_order_and_not_to_none() -> None:
    of = waiting_for_its_first_scan()
    none = minimal_cut_sets(of, var("a"), ("a",), most_faults=0)
    assert (none.sets, none.complete_to) == ((), 0)
    # With the lamp on after a scan, it is a state that only the strike at power-up leads to.
    for bad in (var("a"), and_(var("a"), var("lamp"), eq(var(PHASE), const(0)))):
        one = minimal_cut_sets(of, bad, ("a",), most_faults=1)
        assert (one.sets, one.complete_to) == ((("a",),), None)


def test_an_event_that_sets_two_flags_is_no_end_of_the_search_by_order() -> None:
    both = Move("both", MoveKind.FAULT, not_(var("a")), {"a": TRUE, "b": TRUE})
    of = System(tuple(Variable(name, BOOL, 0) for name in "ab"), (both,))
    for most in (0, 1):
        found = minimal_cut_sets(of, var("b"), ("a", "b"), most_faults=most)
        assert (found.sets, found.complete_to) == ((), most)
    found = minimal_cut_sets(of, var("b"), ("a", "b"), most_faults=2)
    assert (found.sets, found.complete_to) == ((("a", "b"),), None)


@given(data=st.data())
@settings(max_examples=30, deadline=None)
def test_order_by_order_finds_what_is_found_at_once(data: st.DataObject) -> None:
    system = data.draw(taking_turns())
    bad = data.draw(truths(KNOWN, 2))
    whole = minimal_cut_sets(system, bad, FAULTS)
    for most in range(len(FAULTS) + 1):
        found = minimal_cut_sets(system, bad, FAULTS, most_faults=most)
        assert found.sets == tuple(one for one in whole.sets if len(one) <= most)
        if found.complete_to is None:
            assert found.sets == whole.sets
        else:
            assert found.complete_to == most < len(FAULTS)
