import math

import pytest

from interlock.reliability.fault_tree import (
    BasicEvent,
    EventKind,
    FaultTree,
    Gate,
    GateKind,
    HouseEvent,
    Node,
    find_cycle,
)


def tree_of(top: str, *nodes: Node) -> FaultTree:
    return FaultTree(top, {node.name: node for node in nodes})


SHARED = tree_of(
    "G1",
    Gate("G1", GateKind.ANY, ("G2", "A", "G3")),
    Gate("G2", GateKind.ALL, ("G3", "H")),
    Gate("G3", GateKind.AT_LEAST, ("A", "B", "C"), k=2, says="two of three"),
    *(BasicEvent(name, 0.1) for name in "ABCZ"),
    HouseEvent("H", True),
)


def test_walking_meets_every_used_node_once_going_down_and_left_to_right() -> None:
    assert [node.name for node in SHARED.walk()] == ["G1", "G2", "G3", "A", "B", "C", "H"]


def test_edges_keep_the_order_of_the_inputs() -> None:
    pairs = [(gate.name, node.name) for gate, node in SHARED.edges()]
    assert pairs[:5] == [("G1", "G2"), ("G1", "A"), ("G1", "G3"), ("G2", "G3"), ("G2", "H")]
    assert len(pairs) == 8


def test_going_upwards_every_input_comes_before_its_gate() -> None:
    order = [node.name for node in SHARED.upwards()]
    assert sorted(order) == sorted(node.name for node in SHARED.walk())
    assert all(order.index(node.name) < order.index(gate.name) for gate, node in SHARED.edges())


def test_labels_are_what_a_node_says_or_else_its_name() -> None:
    assert [node.label for node in SHARED.walk()][:3] == ["G1", "G2", "two of three"]


def test_an_event_from_a_rate_shows_rate_and_exposure() -> None:
    event = BasicEvent.from_rate("F01", 1e-4, 8760)
    assert event.probability == pytest.approx(1 - math.exp(-0.876))
    assert event.figure == "0.58 (1.0e-4/h for 8800 h)"
    assert BasicEvent("A", 0.1).figure == "0.10"


def test_a_small_rate_loses_no_digits() -> None:
    assert BasicEvent.from_rate("F01", 1e-12, 1e-6).probability == pytest.approx(
        1e-18, rel=1e-12, abs=0
    )


def test_cut_sets_are_read_latent_faults_first_and_human_acts_last() -> None:
    tree = tree_of(
        "T",
        Gate("T", GateKind.ALL, ("A", "B", "C")),
        BasicEvent("A", 0.1, kind=EventKind.HUMAN),
        BasicEvent("B", 0.1),
        BasicEvent("C", 0.1, kind=EventKind.LATENT),
    )
    assert [event.name for event in tree.in_order("ABC")] == ["C", "B", "A"]


def test_undeclared_names_and_cycles_are_refused() -> None:
    with pytest.raises(ValueError, match="not declared: B"):
        tree_of("T", Gate("T", GateKind.ANY, ("A", "B")), BasicEvent("A", 0.1))
    with pytest.raises(ValueError, match="cycle: T → G → T"):
        tree_of("T", Gate("T", GateKind.ANY, ("G",)), Gate("G", GateKind.ANY, ("T",)))


@pytest.mark.parametrize(("kind", "k"), [(GateKind.NOT, 0), (GateKind.AT_LEAST, 3)])
def test_a_gate_with_the_wrong_number_of_inputs_is_refused(kind: GateKind, k: int) -> None:
    with pytest.raises(ValueError, match="gate G"):
        Gate("G", kind, ("A", "B"), k)


def test_a_probability_outside_0_to_1_is_refused() -> None:
    with pytest.raises(ValueError, match="probability of A"):
        BasicEvent("A", 1.1)


def test_finding_a_cycle_is_not_misled_by_shared_parts() -> None:
    assert find_cycle({"A": "BC", "B": "D", "C": "D", "D": ""}) == []
    assert find_cycle({"A": "BC", "B": "D", "C": "DA"}) == ["A", "C", "A"]
    assert find_cycle({"A": "A"}) == ["A", "A"]


def test_a_very_deep_tree_is_no_problem() -> None:
    n = 5000
    gates = [Gate(f"G{i}", GateKind.ANY, (f"G{i + 1}",)) for i in range(n)]
    tree = tree_of("G0", *gates, BasicEvent(f"G{n}", 0.5))
    assert len(tree.upwards()) == n + 1
