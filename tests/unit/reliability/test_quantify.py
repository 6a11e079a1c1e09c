"""Solutions of random fault trees against truth tables, and the corners of the measures."""

import itertools
import math
import random
from collections.abc import Iterator, Sequence
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.reliability.diagram import TooLargeError
from interlock.reliability.fault_tree import BasicEvent, FaultTree, Gate, GateKind, HouseEvent, Node
from interlock.reliability.quantify import CutSet, Importance, Solution
from interlock.reliability.tree_loader import tree_from_cut_sets

COHERENT = (GateKind.ANY, GateKind.ALL, GateKind.AT_LEAST)


@st.composite
def trees(draw: st.DrawFn, kinds: Sequence[GateKind] = tuple(GateKind)) -> FaultTree:
    n_events = draw(st.integers(1, 6))
    # Below 1e-30 products could underflow, and what is compared would be rounding.
    chances = st.one_of(st.floats(1e-30, 1), st.sampled_from([0.0, 0.5, 1.0]))
    nodes: list[Node] = [BasicEvent(f"E{i}", draw(chances)) for i in range(n_events)]
    if draw(st.booleans()):
        nodes.append(HouseEvent("H", draw(st.booleans())))
    for number in range(draw(st.integers(1, 7))):
        kind = draw(st.sampled_from(kinds))
        names = st.sampled_from([node.name for node in nodes])
        most = 1 if kind is GateKind.NOT else 4
        inputs = draw(st.lists(names, min_size=1, max_size=most, unique=True))
        k = draw(st.integers(1, len(inputs))) if kind is GateKind.AT_LEAST else 0
        nodes.append(Gate(f"G{number}", kind, tuple(inputs), k))
    return FaultTree(nodes[-1].name, {node.name: node for node in nodes})


def occurs(tree: FaultTree, name: str, state: dict[str, bool]) -> bool:
    node = tree.nodes[name]
    if isinstance(node, BasicEvent):
        return state[name]
    if isinstance(node, HouseEvent):
        return node.occurs
    count = sum(occurs(tree, below, state) for below in node.inputs)
    return {
        GateKind.ANY: count >= 1,
        GateKind.ALL: count == len(node.inputs),
        GateKind.AT_LEAST: count >= node.k,
        GateKind.EXACTLY_ONE: count == 1,
        GateKind.NOT: count == 0,
    }[node.kind]


def states(tree: FaultTree) -> Iterator[dict[str, bool]]:
    names = [event.name for event in tree.events]
    for values in itertools.product([False, True], repeat=len(names)):
        yield dict(zip(names, values, strict=True))


def weight(tree: FaultTree, state: dict[str, bool]) -> Fraction:
    product = Fraction(1)
    for event in tree.events:
        p = Fraction(event.probability)
        product *= p if state[event.name] else 1 - p
    return product


def exact(tree: FaultTree) -> Fraction:
    bad = (state for state in states(tree) if occurs(tree, tree.top, state))
    return sum((weight(tree, state) for state in bad), Fraction(0))


def prime_implicants(tree: FaultTree) -> set[CutSet]:
    """Every partial state that forces the top event and of which no part can be dropped."""
    names = [event.name for event in tree.events]
    bad = [state for state in states(tree) if occurs(tree, tree.top, state)]
    all_bad = {tuple(state.values()) for state in bad}

    def forces(partial: tuple[bool | None, ...]) -> bool:
        free = [(False, True) if value is None else (value,) for value in partial]
        return all(state in all_bad for state in itertools.product(*free))

    found = set()
    for partial in itertools.product([None, False, True], repeat=len(names)):
        fixed = [i for i, value in enumerate(partial) if value is not None]
        dropped = [(*partial[:i], None, *partial[i + 1 :]) for i in fixed]
        if forces(partial) and not any(forces(less) for less in dropped):
            named = dict(zip(names, partial, strict=True))
            found.add(
                CutSet(
                    frozenset(name for name, value in named.items() if value is True),
                    frozenset(name for name, value in named.items() if value is False),
                )
            )
    return found


@given(trees())
def test_the_probability_is_that_of_the_truth_table(tree: FaultTree) -> None:
    assert Solution(tree).probability == pytest.approx(float(exact(tree)), rel=1e-9, abs=1e-300)


@settings(max_examples=60)
@given(trees())
def test_cut_sets_are_all_the_prime_implicants(tree: FaultTree) -> None:
    found = Solution(tree).cut_sets()
    assert set(found.sets) == prime_implicants(tree)
    assert len(set(found.sets)) == len(found.sets)
    assert found.complete
    by_order = [sum(one.order == n for one in found.sets) for n in range(len(found.n_by_order))]
    assert list(found.n_by_order) == by_order


@given(trees(COHERENT))
def test_cut_sets_of_a_coherent_tree_are_the_minimal_sets_of_events(tree: FaultTree) -> None:
    solution = Solution(tree)
    assert solution.coherent
    cutting = [
        frozenset(name for name, value in state.items() if value)
        for state in states(tree)
        if occurs(tree, tree.top, state)
    ]
    minimal = {one for one in cutting if not any(other < one for other in cutting)}
    assert {one.occur for one in solution.cut_sets().sets} == minimal


@given(trees(COHERENT))
def test_exact_is_at_most_the_min_cut_bound_and_that_at_most_the_rare_event_sum(
    tree: FaultTree,
) -> None:
    solution = Solution(tree)
    bound = solution.min_cut_upper_bound.value
    assert bound is not None
    assert solution.probability <= bound * (1 + 1e-9)
    assert bound <= solution.rare_event_sum * (1 + 1e-9)


@given(trees())
def test_the_rare_event_sum_bounds_every_tree_and_the_min_cut_bound_is_kept_to_coherent_ones(
    tree: FaultTree,
) -> None:
    solution = Solution(tree)
    assert solution.probability <= solution.rare_event_sum * (1 + 1e-9)
    assert (solution.min_cut_upper_bound.value is None) == (not solution.coherent)


def with_chance(tree: FaultTree, name: str, probability: float) -> FaultTree:
    return FaultTree(tree.top, {**tree.nodes, name: BasicEvent(name, probability)})


@given(trees())
def test_importance_is_the_slope_of_the_probability(tree: FaultTree) -> None:
    # The probability is linear in each event's own, so a finite difference is exact.
    for one in Solution(tree).importance():
        low, high = (exact(with_chance(tree, one.event.name, p)) for p in (0.25, 0.75))
        assert one.birnbaum == pytest.approx(float((high - low) * 2), rel=1e-9, abs=1e-12)
        certain, impossible = (exact(with_chance(tree, one.event.name, p)) for p in (1.0, 0.0))
        assert one.if_certain == pytest.approx(float(certain), rel=1e-9, abs=1e-300)
        assert one.if_impossible == pytest.approx(float(impossible), rel=1e-9, abs=1e-300)


@given(trees())
def test_ratios_follow_their_definitions_or_say_why_they_have_none(tree: FaultTree) -> None:
    solution = Solution(tree)
    p = solution.probability
    for one in solution.importance():
        for measure in (one.criticality, one.fussell_vesely, one.raw, one.rrw):
            assert measure.value is not None or measure.reason
        if p == 0:
            continue
        assert one.raw.value == one.if_certain / p
        assert one.rrw.value == (p / one.if_impossible if one.if_impossible else math.inf)
        assert one.criticality.value == one.birnbaum * one.event.probability / p


@settings(max_examples=60)
@given(trees())
def test_fussell_vesely_is_the_chance_of_the_cut_sets_with_the_event(tree: FaultTree) -> None:
    solution = Solution(tree)
    primes = solution.cut_sets().sets
    for one in solution.importance():
        having = [c for c in primes if one.event.name in c.occur]
        contributing = Fraction(0)
        for state in states(tree):
            true = {name for name, value in state.items() if value}
            if any(c.occur <= true and not c.absent & true for c in having):
                contributing += weight(tree, state)
        if one.fussell_vesely.value is not None:
            expected = float(contributing / Fraction(solution.probability))
            assert one.fussell_vesely.value == pytest.approx(expected, rel=1e-9, abs=1e-300)


def measures_of(name: str, solution: Solution) -> Importance:
    return next(one for one in solution.importance() if one.event.name == name)


def test_an_event_that_is_certain_and_indispensable_has_an_infinite_risk_reduction_worth() -> None:
    solution = Solution(tree_from_cut_sets("top", [{"A", "B"}], {"A": 1.0, "B": 0.5}))
    rrw = measures_of("A", solution).rrw
    assert rrw.value == math.inf
    assert rrw.reason == "the top event cannot occur without this event"


def test_a_top_event_of_probability_0_has_no_ratios_and_says_so() -> None:
    solution = Solution(tree_from_cut_sets("top", [{"A", "B"}], {"A": 0.0, "B": 0.5}))
    one = measures_of("B", solution)
    assert one.raw.value is one.rrw.value is one.fussell_vesely.value is None
    assert one.raw.reason == one.rrw.reason == "the top event has probability 0"


def test_a_certain_top_event_reaches_its_bound_of_1() -> None:
    solution = Solution(tree_from_cut_sets("top", [{"A"}, {"B"}], {"A": 1.0, "B": 0.5}))
    assert solution.min_cut_upper_bound.value == 1
    assert solution.rare_event_sum == 1.5
    assert measures_of("A", solution).rrw.value == 2


def test_not_gates_that_cancel_leave_a_coherent_tree() -> None:
    gates = [Gate("T", GateKind.NOT, ("N",)), Gate("N", GateKind.NOT, ("A",))]
    nodes: list[Node] = [*gates, BasicEvent("A", 0.25)]
    solution = Solution(FaultTree("T", {node.name: node for node in nodes}))
    assert solution.coherent
    assert solution.cut_sets().sets == (CutSet(frozenset("A")),)


def test_an_incoherent_tree_has_prime_implicants_and_no_min_cut_bound() -> None:
    nodes: list[Node] = [
        Gate("T", GateKind.EXACTLY_ONE, ("A", "B")),
        BasicEvent("A", 0.1),
        BasicEvent("B", 0.2),
    ]
    solution = Solution(FaultTree("T", {node.name: node for node in nodes}))
    a, b = frozenset("A"), frozenset("B")
    assert solution.cut_sets().sets == (CutSet(a, b), CutSet(b, a))
    assert solution.probability == pytest.approx(0.1 * 0.8 + 0.9 * 0.2)
    assert solution.min_cut_upper_bound.value is None
    assert "not coherent" in solution.min_cut_upper_bound.reason


def vote(k: int, n: int) -> FaultTree:
    names = tuple(f"E{i}" for i in range(n))
    events = {name: BasicEvent(name, 0.01) for name in names}
    return FaultTree("T", {**events, "T": Gate("T", GateKind.AT_LEAST, names, k)})


def test_sets_beyond_an_order_are_counted_and_not_listed() -> None:
    tree = tree_from_cut_sets("top", [{"A"}, {"B", "C", "D"}], dict.fromkeys("ABCD", 0.1))
    found = Solution(tree).cut_sets(max_order=2)
    assert [one.occur for one in found.sets] == [{"A"}]
    assert found.n_by_order == (0, 1, 0, 1)
    assert not found.complete


def test_too_many_sets_or_nodes_are_a_limit_and_not_an_answer() -> None:
    with pytest.raises(TooLargeError, match="minimal sets"):
        Solution(vote(5, 10)).cut_sets(max_sets=251)
    assert len(Solution(vote(5, 10)).cut_sets(max_sets=252).sets) == math.comb(10, 5)
    most = Solution(vote(11, 22))
    assert most.min_cut_upper_bound.value is None
    assert "705432 minimal sets to list" in most.min_cut_upper_bound.reason
    with pytest.raises(TooLargeError, match="more than 20 diagram nodes"):
        Solution(vote(5, 10), max_nodes=20)


def test_a_tree_of_two_thousand_events_does_not_exhaust_the_stack() -> None:
    solution = Solution(vote(2, 2000))
    p, n = 0.01, 2000
    expected = 1 - (1 - p) ** n - n * p * (1 - p) ** (n - 1)
    assert solution.probability == pytest.approx(expected, rel=1e-9)
    assert solution.cut_sets(max_order=1).n_by_order == (0, 0, math.comb(n, 2))


def test_many_cut_sets_cost_little_more_than_the_diagram_they_end_in() -> None:
    # Joined in the order given, these 80 sets need 820,000 nodes on the way to 36,000.
    chooser = random.Random(9)
    names = [f"F{i:02}" for i in range(42)]
    given_sets = [frozenset(chooser.sample(names, chooser.choice([2, 2, 3]))) for _ in range(80)]
    tree = tree_from_cut_sets("lost", given_sets, dict.fromkeys(names, 1e-4))
    found = Solution(tree, max_nodes=100_000).cut_sets()
    minimal = {one for one in given_sets if not any(other < one for other in given_sets)}
    assert {one.occur for one in found.sets} == minimal
