"""Fault trees with the rectangular symbols of IEC 61025.

A gate is a box with the words of its event, and below it a small box with the sign of the gate:
``&`` all, ``≥1`` any, ``≥k`` at least k, ``=1`` exactly one, ``1`` with a ring for 'not'. A circle
is a basic event, a house a condition that is switched for the whole analysis, a diamond what is
not developed further here. What feeds several gates is drawn once.

Source of the signs: IEC 61025:2006, Annex A (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from interlock.pictures.dot import Graph, Markup, identifier, marked
from interlock.pictures.picture import Picture
from interlock.pictures.style import (
    ABNORMAL_FILL,
    DANGER,
    DANGER_FILL,
    INK,
    NEUTRAL_FILL,
    PALE,
    new_graph,
    wrapped,
)
from interlock.reliability.fault_tree import (
    BasicEvent,
    EventKind,
    FaultTree,
    Gate,
    GateKind,
    HouseEvent,
)

WIDTH = 26


@dataclass(frozen=True)
class Left:
    """What is not drawn: how many sets, and why."""

    n_sets: int
    says: str


def draw_fault_tree(
    tree: FaultTree,
    name: str = "fault-tree",
    notes: Iterable[str] = (),
    left: Left | None = None,
) -> Picture:
    """The tree from its top event down.

    Parameters
    ----------
    tree : FaultTree
    name : str, optional
        Stem of the picture's files.
    notes : iterable of str, optional
        Lines below the title; the tree's source and assumptions follow them.
    left : Left, optional
        Sets that the tree leaves out; drawn as one undeveloped event below the top.
    """
    top = tree.nodes[tree.top]
    title = tree.title or f"Fault tree: {top.label}"
    graph = new_graph(name, title, [*notes, *_notes(tree)], rankdir="TB", nodesep="0.2")
    graph.defaults("edge", arrowhead="none")
    for node in tree.walk():
        match node:
            case Gate():
                _draw_gate(graph, node, node.name == tree.top)
            case BasicEvent():
                _draw_event(graph, node)
            case HouseEvent():
                _draw_house(graph, node)
    for gate, below in tree.edges():
        graph.edge(_sign(gate.name), _box(below.name))
    if left is not None and isinstance(top, Gate):
        _draw_left(graph, top, left)
    return Picture(name, title, graph.text)


def _notes(tree: FaultTree) -> Iterable[str]:
    yield (
        "Signs of IEC 61025: & all of, ≥1 any of, ≥k at least k of, =1 exactly one of; circle: "
        "basic event, house: condition, diamond: not developed here."
    )
    if tree.source:
        yield f"Source: {tree.source}"
    if tree.assumptions:
        yield f"Assumptions: {'; '.join(tree.assumptions)}."


def _box(name: str) -> str:
    return identifier("event", name)


def _sign(name: str) -> str:
    return identifier("gate", name)


def _words(name: str, says: str, more: Sequence[str] = ()) -> Markup:
    lines = [f"<B>{marked(name)}</B>"]
    if says != name:
        lines += [marked(line) for line in wrapped(says, WIDTH)]
    lines += [f'<FONT COLOR="{PALE}" POINT-SIZE="9">{marked(line)}</FONT>' for line in more]
    return Markup("<BR/>".join(lines))


def _draw_gate(graph: Graph, gate: Gate, is_top: bool) -> None:
    fill = DANGER_FILL if is_top else NEUTRAL_FILL
    graph.node(
        _box(gate.name),
        _words(gate.name, gate.label),
        shape="box",
        style="filled",
        fillcolor=fill,
        color=DANGER if is_top else INK,
        penwidth="2" if is_top else "1",
    )
    ring = gate.kind is GateKind.NOT
    graph.node(
        _sign(gate.name),
        _gate_sign(gate),
        shape="box",
        width="0.45",
        height="0.32",
        margin="0.04,0.02",
        fontsize="12",
    )
    graph.edge(_box(gate.name), _sign(gate.name), weight="20", arrowhead="odot" if ring else "none")


def _gate_sign(gate: Gate) -> str:
    match gate.kind:
        case GateKind.ALL:
            return "&"
        case GateKind.ANY:
            return "≥1"
        case GateKind.AT_LEAST:
            return f"≥{gate.k}"
        case GateKind.EXACTLY_ONE:
            return "=1"
        case GateKind.NOT:
            return "1"


_KINDS = {
    EventKind.LATENT: ("latent", ABNORMAL_FILL, "solid"),
    EventKind.FAULT: ("", "white", "solid"),
    EventKind.HUMAN: ("human", "white", "dashed"),
}


def _draw_event(graph: Graph, event: BasicEvent) -> None:
    word, fill, line = _KINDS[event.kind]
    graph.node(
        _box(event.name), _words(event.name, event.label, [word] if word else []), shape="box"
    )
    figure = f'<FONT POINT-SIZE="9">{"<BR/>".join(map(marked, _figure(event)))}</FONT>'
    graph.node(
        identifier("basic", event.name),
        Markup(figure),
        shape="circle",
        style=f"filled,{line}",
        fillcolor=fill,
        width="0.75",
        margin="0.01",
    )
    graph.edge(_box(event.name), identifier("basic", event.name), weight="20")


def _figure(event: BasicEvent) -> list[str]:
    return event.figure.replace(" (", "\n(").replace(" for ", "\nfor ").split("\n")


def _draw_house(graph: Graph, event: HouseEvent) -> None:
    word = "switched on" if event.occurs else "switched off"
    graph.node(_box(event.name), _words(event.name, event.label, [word]), shape="house")


def _draw_left(graph: Graph, top: Gate, left: Left) -> None:
    node = identifier("left", top.name)
    graph.node(node, _words(f"{left.n_sets:,} more", left.says), shape="diamond", margin="0.01")
    graph.edge(_sign(top.name), node)
