"""Published fault trees and measures, each with its source."""

import math
from pathlib import Path

import pytest
from ruamel.yaml import YAML

from interlock.base.errors import Place
from interlock.reliability.fault_tree import BasicEvent, FaultTree, Gate, GateKind
from interlock.reliability.quantify import Solution
from interlock.reliability.tree_loader import tree_from_cut_sets, tree_from_mapping

MODEL = Path(__file__).parents[2] / "models" / "pressure-tank" / "tree.yaml"


@pytest.fixture(scope="module")
def pressure_tank() -> Solution:
    # NUREG-0492, Fault Tree Handbook (1981), chapter VIII.
    data = YAML(typ="safe").load(MODEL)
    tree = tree_from_mapping(data, lambda path: Place(MODEL.name, 1, 1))
    assert tree.warnings == ()
    return Solution(tree)


def test_the_pressure_tank_has_its_five_published_cut_sets(pressure_tank: Solution) -> None:
    # NUREG-0492, chapter VIII.
    found = pressure_tank.cut_sets()
    assert [set(one.occur) for one in found.sets] == [
        {"K2"},
        {"T"},
        {"K1", "S"},
        {"R", "S"},
        {"S", "S1"},
    ]
    assert not any(one.absent for one in found.sets)
    assert found.complete


def test_the_pressure_tank_has_the_probability_that_its_figures_give(
    pressure_tank: Solution,
) -> None:
    # NUREG-0492, chapter VIII, for the figures; the totals recomputed.
    assert pressure_tank.probability == pytest.approx(3.501584875e-5, rel=1e-9, abs=0)
    assert pressure_tank.rare_event_sum == pytest.approx(3.5016e-5, rel=1e-12, abs=0)
    bound = pressure_tank.min_cut_upper_bound.value
    assert bound is not None
    assert pressure_tank.probability <= bound <= pressure_tank.rare_event_sum


def test_without_the_relay_k2_and_the_tank_itself_the_switch_is_indispensable(
    pressure_tank: Solution,
) -> None:
    # Follows from the structure: S is in every other cut set.
    by_name = {one.event.name: one for one in pressure_tank.importance()}
    only_singles = 1 - (1 - 5e-6) * (1 - 3e-5)
    assert by_name["S"].if_impossible == pytest.approx(only_singles, rel=1e-9, abs=0)
    assert by_name["T"].if_certain == 1
    assert by_name["K2"].birnbaum > by_name["S"].birnbaum > by_name["S1"].birnbaum


def two_of_three() -> Solution:
    events = {name: BasicEvent(name, 0.1) for name in "ABC"}
    gate = Gate("T", GateKind.AT_LEAST, ("A", "B", "C"), k=2)
    return Solution(FaultTree("T", {**events, "T": gate}))


def test_two_of_three_at_a_tenth_has_its_exact_probability_and_bounds() -> None:
    # Recomputed: 3p²−2p³, 3p², 1−(1−p²)³.
    solution = two_of_three()
    assert solution.probability == pytest.approx(0.028, rel=1e-12, abs=0)
    assert solution.rare_event_sum == pytest.approx(0.030, rel=1e-12, abs=0)
    assert solution.min_cut_upper_bound.value == pytest.approx(0.029701, rel=1e-12, abs=0)


def test_two_products_that_share_an_event_have_their_exact_probability_and_bounds() -> None:
    # Recomputed: A·B + A·C at 0.1, 0.2, 0.3.
    solution = Solution(
        tree_from_cut_sets("T", [{"A", "B"}, {"A", "C"}], {"A": 0.1, "B": 0.2, "C": 0.3})
    )
    assert solution.probability == pytest.approx(0.044, rel=1e-12, abs=0)
    assert solution.rare_event_sum == pytest.approx(0.050, rel=1e-12, abs=0)
    assert solution.min_cut_upper_bound.value == pytest.approx(0.0494, rel=1e-12, abs=0)


def test_measures_of_two_of_three_follow_their_definitions() -> None:
    # Definitions common in the trade; figures by hand for p = 0.1: P(top|A) = 1−0.9²,
    # P(top|¬A) = 0.1², Fussell–Vesely 0.1·(1−0.9²)/0.028.
    one = two_of_three().importance()[0]
    assert one.birnbaum == pytest.approx(0.19 - 0.01)
    assert one.criticality.value == pytest.approx(0.018 / 0.028)
    assert one.fussell_vesely.value == pytest.approx(0.019 / 0.028)
    assert one.raw.value == pytest.approx(0.19 / 0.028)
    assert one.rrw.value == pytest.approx(0.028 / 0.01)


def test_a_certain_event_does_not_break_its_risk_reduction_worth() -> None:
    # Definition: P/P(top|¬e), with a probability of 1.
    solution = Solution(tree_from_cut_sets("T", [{"A"}], {"A": 1.0}))
    [one] = solution.importance()
    assert one.rrw.value == math.inf
    assert one.rrw.reason
