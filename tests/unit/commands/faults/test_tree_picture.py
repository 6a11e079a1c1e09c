"""Fault trees as pictures: which sign stands for which gate, and that text is shown as it is."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.commands.faults.tree_file import load_tree
from interlock.commands.faults.tree_picture import Left, draw_fault_tree
from interlock.pictures.dot import NotDrawnError, find_tools, render
from interlock.reliability.fault_tree import (
    BasicEvent,
    EventKind,
    FaultTree,
    Gate,
    GateKind,
    HouseEvent,
)

PRESSURE_TANK = Path(__file__).parents[4] / "models" / "pressure-tank"


def tree(gate: Gate) -> FaultTree:
    events = [
        BasicEvent("A", 0.1, says='a <b> & "c"'),
        BasicEvent("B", 0.2, kind=EventKind.LATENT),
        BasicEvent("C", 0.3, kind=EventKind.HUMAN),
    ]
    house = HouseEvent("H", True)
    return FaultTree(gate.name, {n.name: n for n in (gate, *events, house)})


# Signs of IEC 61025:2006, Annex A (from memory).
@pytest.mark.parametrize(
    ("gate", "sign"),
    [
        (Gate("G", GateKind.ALL, ("A", "B", "C")), '"&amp;"'),
        (Gate("G", GateKind.ANY, ("A", "B", "H")), '"≥1"'),
        (Gate("G", GateKind.AT_LEAST, ("A", "B", "C"), k=2), '"≥2"'),
        (Gate("G", GateKind.EXACTLY_ONE, ("A", "B")), '"=1"'),
        (Gate("G", GateKind.NOT, ("H",)), "arrowhead=odot"),
    ],
)
def test_each_gate_has_its_sign(gate: Gate, sign: str) -> None:
    assert sign in draw_fault_tree(tree(gate)).text


def test_basic_events_are_circles_and_conditions_are_houses() -> None:
    text = draw_fault_tree(tree(Gate("G", GateKind.ANY, ("A", "B", "C", "H")))).text
    assert text.count("shape=circle") == 3
    assert text.count("shape=house") == 1
    assert "latent" in text
    assert "human" in text


def test_what_feeds_two_gates_is_drawn_once() -> None:
    drawn = draw_fault_tree(load_tree(PRESSURE_TANK)).text
    assert drawn.count("shape=circle") == 6
    assert drawn.count('label="&amp;"') == 1


def test_sets_that_are_left_out_are_a_diamond_with_their_number() -> None:
    text = draw_fault_tree(
        tree(Gate("G", GateKind.ANY, ("A", "B"))), left=Left(1234, "of higher order")
    ).text
    assert "1,234 more" in text
    assert "shape=diamond" in text


def test_the_text_is_escaped_and_the_same_every_time() -> None:
    gate = Gate("G", GateKind.ANY, ("A", "B"))
    text = draw_fault_tree(tree(gate)).text
    assert text == draw_fault_tree(tree(gate)).text
    assert "a &lt;b&gt; &amp; &quot;c&quot;" in text


def test_a_program_can_draw_it() -> None:
    if not find_tools():
        pytest.skip("no program that draws")
    text = draw_fault_tree(tree(Gate("G", GateKind.NOT, ("H",))), left=Left(1, "x")).text
    try:
        assert b"<svg" in render(text, "svg")
    except NotDrawnError as reason:  # pragma: no cover
        pytest.fail(str(reason))
