import sys
from typing import Any

import pytest

from interlock.base.errors import InputError, Place
from interlock.reliability.fault_tree import BasicEvent, EventKind, Gate, GateKind, HouseEvent
from interlock.reliability.quantify import Solution
from interlock.reliability.tree_loader import Path, tree_from_cut_sets, tree_from_mapping


def place_in(data: object) -> Any:
    """Places by depth, so that a path that does not exist in `data` makes the test fail."""

    def place_of(path: Path) -> Place:
        at: Any = data
        for step in path:
            at = at[step]
        return Place("/".join(map(str, path)) or "top level", 1, 1 + len(path))

    return place_of


def mistakes_in(data: object) -> list[tuple[str, str]]:
    with pytest.raises(InputError) as caught:
        tree_from_mapping(data, place_in(data))
    return [(mistake.place.file, mistake.says) for mistake in caught.value.mistakes]


def a_tree() -> dict[str, Any]:
    return {
        "title": "An example",
        "source": "invented",
        "assumptions": ["no repair"],
        "top": "G1",
        "gates": {
            "G1": {"says": "it fails", "any_of": ["A", "G2"]},
            "G2": {"at_least": 2, "of": ["A", "B", "G3"], "says": "two"},
            "G3": {"all_of": ["G4", "H"]},
            "G4": {"exactly_one_of": ["B", "G5"]},
            "G5": {"not": "C"},
        },
        "events": {
            "A": {"probability": 0.1, "source": "a handbook", "kind": "human"},
            "B": {"rate_per_h": 1e-6, "exposure_h": 8760, "kind": "latent"},
            "C": {"says": "see", "probability": 1},
        },
        "house": {"H": {"occurs": True, "says": "at night"}},
    }


def test_everything_a_file_says_is_read() -> None:
    tree = tree_from_mapping(a_tree(), place_in(a_tree()))
    assert (tree.title, tree.source, tree.assumptions) == ("An example", "invented", ("no repair",))
    assert tree.top == "G1"
    assert tree.nodes["G1"] == Gate("G1", GateKind.ANY, ("A", "G2"), says="it fails")
    assert tree.nodes["G2"] == Gate("G2", GateKind.AT_LEAST, ("A", "B", "G3"), 2, "two")
    assert tree.nodes["G3"] == Gate("G3", GateKind.ALL, ("G4", "H"))
    assert tree.nodes["G4"] == Gate("G4", GateKind.EXACTLY_ONE, ("B", "G5"))
    assert tree.nodes["G5"] == Gate("G5", GateKind.NOT, ("C",))
    assert tree.nodes["A"] == BasicEvent("A", 0.1, "", "a handbook", EventKind.HUMAN)
    assert tree.nodes["B"] == BasicEvent.from_rate("B", 1e-6, 8760, kind=EventKind.LATENT)
    assert tree.nodes["C"] == BasicEvent("C", 1.0, "see")
    assert tree.nodes["H"] == HouseEvent("H", True, "at night")
    assert tree.warnings == ()


def test_a_basic_event_may_be_the_top() -> None:
    data = {"top": "A", "events": {"A": {"probability": 0.25}}}
    assert Solution(tree_from_mapping(data, place_in(data))).probability == 0.25


def test_what_the_top_event_does_not_need_is_a_warning() -> None:
    data = a_tree()
    data["top"] = "G5"
    tree = tree_from_mapping(data, place_in(data))
    said = [(warning.place.file, warning.says) for warning in tree.warnings]
    assert said[0] == ("gates/G1", "'G1' is not used by the top event 'G5'")
    assert [place for place, _ in said[4:]] == ["events/A", "events/B", "house/H"]


def test_an_unknown_input_is_told_with_its_place_and_the_nearest_name() -> None:
    data = a_tree()
    data["events"]["pump_stuck"] = {"probability": 0.1}
    data["gates"]["G2"]["of"][1] = "pump_stick"
    data["gates"]["G5"]["not"] = "pump_stock"
    assert mistakes_in(data) == [
        ("gates/G2/of/1", "'pump_stick' is not declared; did you mean 'pump_stuck'?"),
        ("gates/G5/not", "'pump_stock' is not declared; did you mean 'pump_stuck'?"),
    ]


def test_every_cycle_is_told() -> None:
    data = a_tree()
    data["gates"]["G5"]["not"] = "G3"
    data["gates"]["G7"] = {"all_of": ["G7", "A"]}
    assert mistakes_in(data) == [
        ("gates/G3", "a gate feeds itself: G3 → G4 → G5 → G3"),
        ("gates/G7", "a gate feeds itself: G7 → G7"),
    ]


@pytest.mark.parametrize(
    ("event", "place", "says"),
    [
        ({"probability": 1.5}, "events/A/probability", "probability: expected 0 to 1, found 1.5"),
        (
            {"probability": -1},
            "events/A/probability",
            "probability: expected a number, 0 or more, found '-1'",
        ),
        (
            {"probability": True},
            "events/A/probability",
            "probability: expected a number, 0 or more, found 'True'",
        ),
        (
            {"rate_per_h": float("nan"), "exposure_h": 1},
            "events/A/rate_per_h",
            "rate_per_h: expected a number, 0 or more, found 'nan'",
        ),
        (
            {"rate_per_h": 10**400, "exposure_h": 1},
            "events/A/rate_per_h",
            "rate_per_h: expected a number, 0 or more, found '" + "1" + "0" * 39 + "…'",
        ),
        (
            {"rate_per_h": 1e-6},
            "events/A",
            "event 'A': expected either probability or rate_per_h and exposure_h",
        ),
        (
            {"probability": 0.1, "exposure_h": 1},
            "events/A",
            "event 'A': expected either probability or rate_per_h and exposure_h",
        ),
        (None, "events/A", "'A': expected a mapping, found nothing"),
        (
            {"probability": 0.1, "kind": "latant"},
            "events/A/kind",
            "kind: 'latant' is no kind; did you mean 'latent'?",
        ),
        (
            {"probabilty": 0.1, "probability": 0.1},
            "events/A/probabilty",
            "'probabilty' is not known here; did you mean 'probability'?",
        ),
        ({"probability": 0.1, "says": 3}, "events/A/says", "says: expected text, found '3'"),
        (
            {"probability": 0.1, "kind": "k" * 40},
            "events/A/kind",
            f"kind: '{'k' * 40}' is no kind; known: fault, human, latent",
        ),
        (
            {"probability": 0.1, "kind": "k" * 41},
            "events/A/kind",
            f"kind: '{'k' * 40}…' is no kind; known: fault, human, latent",
        ),
    ],
)
def test_a_mistake_in_an_event_is_one_line(event: object, place: str, says: str) -> None:
    data = a_tree()
    data["events"]["A"] = event
    assert mistakes_in(data) == [(place, says)]


ONE_OF = "expected one of any_of, all_of, at_least, exactly_one_of, not"


@pytest.mark.parametrize(
    ("gate", "place", "says"),
    [
        ({"says": "it"}, "gates/G2", f"gate 'G2': {ONE_OF}; found none"),
        (
            {"any_of": ["A"], "all_of": ["B"]},
            "gates/G2",
            f"gate 'G2': {ONE_OF}; found any_of and all_of",
        ),
        (
            {"at_least": 3, "of": ["A", "B"]},
            "gates/G2/at_least",
            "at_least: expected a whole number from 1 to 2, found '3'",
        ),
        (
            {"at_least": 0, "of": ["A", "B"]},
            "gates/G2/at_least",
            "at_least: expected a whole number from 1 to 2, found '0'",
        ),
        (
            {"at_least": True, "of": ["A", "B"]},
            "gates/G2/at_least",
            "at_least: expected a whole number from 1 to 2, found 'True'",
        ),
        (
            {"at_least": 2},
            "gates/G2",
            "gate 'G2': at_least needs a list 'of' gates and events",
        ),
        ({"any_of": ["A", "A"]}, "gates/G2/any_of/1", "'A' is listed twice"),
        ({"any_of": []}, "gates/G2/any_of", "expected a list of gates and events, found '[]'"),
        ({"any_of": "A"}, "gates/G2/any_of", "expected a list of gates and events, found 'A'"),
        ({"any_of": [1]}, "gates/G2/any_of/0", "expected a name, found '1'"),
        ({"not": ["A"]}, "gates/G2/not", "not: expected one name, found '['A']'"),
        ({"all_of": ["A"], "of": ["B"]}, "gates/G2/of", "'of' goes with at_least only"),
        (
            {"all_off": ["A"], "all_of": ["A"]},
            "gates/G2/all_off",
            "'all_off' is not known here; did you mean 'all_of'?",
        ),
    ],
)
def test_a_mistake_in_a_gate_is_one_line(gate: object, place: str, says: str) -> None:
    data = a_tree()
    data["gates"]["G2"] = gate
    assert mistakes_in(data) == [(place, says)]


@pytest.mark.parametrize(
    ("key", "value", "place", "says"),
    [
        ("top", "G55", "top", "top: 'G55' is not declared; did you mean 'G5'?"),
        ("top", None, "top", "top: expected the name of the top event"),
        ("top", 4, "top", "top: expected a name, found '4'"),
        ("titel", "x", "titel", "'titel' is not known here; did you mean 'title'?"),
        ("assumptions", "x", "assumptions", "expected a list of sentences, found 'x'"),
        ("assumptions", ["x", 3], "assumptions/1", "expected a sentence, found '3'"),
        ("house", {"H": {"occurs": "on"}}, "house/H/occurs", "'H' occurs: expected true or false,"),
        ("house", {"H": {}}, "house/H", "'H' occurs: expected true or false, found nothing"),
        ("house", {"H": {"occurs": True}, 7: {}}, "house/7", "a name must be text, found '7'"),
    ],
)
def test_a_mistake_outside_gates_and_events_is_one_line(
    key: str, value: object, place: str, says: str
) -> None:
    data = a_tree()
    data[key] = value
    [(found_place, found)] = mistakes_in(data)
    assert found_place == place
    assert found.startswith(says)


@pytest.mark.parametrize(
    ("event", "probability"),
    [
        ({"probability": 0}, 0),
        ({"probability": 1}, 1),
        ({"rate_per_h": sys.float_info.max, "exposure_h": 0}, 0),
        ({"rate_per_h": 0, "exposure_h": 8760}, 0),
    ],
)
def test_figures_may_be_at_the_ends_of_their_ranges(
    event: dict[str, float], probability: float
) -> None:
    data = {"top": "A", "events": {"A": event}}
    assert Solution(tree_from_mapping(data, place_in(data))).probability == probability


@pytest.mark.parametrize(("k", "probability"), [(1, 1 - 0.5**3), (2, 0.5), (3, 0.5**3)])
def test_a_vote_may_ask_for_one_and_for_all(k: int, probability: float) -> None:
    # Mathematics: k of three halves, by the binomial distribution.
    events = {name: {"probability": 0.5} for name in "ABC"}
    data = {"top": "V", "gates": {"V": {"at_least": k, "of": [*events]}}, "events": events}
    assert Solution(tree_from_mapping(data, place_in(data))).probability == probability


def test_a_section_that_is_no_mapping_is_told() -> None:
    data = {"top": "A", "events": {"A": {"probability": 0.1}}, "house": "x"}
    assert mistakes_in(data) == [("house", "expected a mapping, found 'x'")]


def test_what_follows_a_name_in_two_sections_is_known() -> None:
    data = a_tree()
    data["gates"]["G3"]["all_of"] = ["G4", "Z"]
    data["house"] = {"A": {"occurs": True}, "Z": {"occurs": True}}
    assert mistakes_in(data) == [("house/A", "'A' is already declared among events")]


def test_a_name_in_two_sections_is_told() -> None:
    data = a_tree()
    data["house"]["A"] = {"occurs": True}
    assert mistakes_in(data) == [("house/A", "'A' is already declared among events")]


def test_all_mistakes_are_told_at_once() -> None:
    data = a_tree()
    data["top"] = "nowhere"
    data["gates"]["G5"]["not"] = "nothing_known"
    data["events"]["A"]["probability"] = 2
    assert [place for place, _ in mistakes_in(data)] == [
        "events/A/probability",
        "gates/G5/not",
        "top",
    ]


@pytest.mark.parametrize("data", [None, [], "text", 3])
def test_what_is_no_mapping_is_refused(data: object) -> None:
    [(place, says)] = mistakes_in(data)
    assert place == "top level"
    assert says.startswith("expected a fault tree with title")


def test_a_missing_top_is_told_at_the_top_level() -> None:
    assert mistakes_in({"events": {}}) == [("top level", "top: expected the name of the top event")]


def test_a_tree_from_cut_sets_has_these_cut_sets() -> None:
    sets = [{"A", "B"}, {"C"}, {"B", "A"}, {"A", "B", "D"}]
    tree = tree_from_cut_sets("lost", sets, dict.fromkeys("ABCDE", 0.1))
    assert [set(one.occur) for one in Solution(tree).cut_sets().sets] == [{"C"}, {"A", "B"}]
    assert [event.name for event in tree.events] == ["C", "A", "B", "D"]
    top = tree.nodes["lost"]
    assert isinstance(top, Gate)
    assert top.inputs == ("C", "lost.2", "lost.3")  # by their place in the list


def test_an_event_of_a_cut_set_keeps_what_is_known_of_it() -> None:
    event = BasicEvent.from_rate("A", 1e-6, 100, says="stuck")
    assert tree_from_cut_sets("lost", [{"A"}], {"A": event}).nodes["A"] is event


def test_no_cut_set_means_never_and_an_empty_one_always() -> None:
    assert Solution(tree_from_cut_sets("lost", [], {})).probability == 0
    assert Solution(tree_from_cut_sets("lost", [set()], {})).probability == 1


def test_names_like_those_of_inner_gates_are_no_problem() -> None:
    sets = [{"lost.1", "B"}, {"lost.2", "C"}]
    names = ["lost.1", "lost.2", "B", "C"]
    tree = tree_from_cut_sets("lost", sets, dict.fromkeys(names, 0.5))
    assert Solution(tree).probability == pytest.approx(1 - 0.75**2)


def test_cut_sets_without_figures_are_refused() -> None:
    with pytest.raises(ValueError, match="no probability for B"):
        tree_from_cut_sets("lost", [{"A", "B"}], {"A": 0.1})
    with pytest.raises(ValueError, match="'A' is the top event"):
        tree_from_cut_sets("A", [{"A"}], {"A": 0.1})
