"""What is drawn in a file of the exchange format, as signs: for those who show it.

It says nothing about what a program means, and refuses nothing: what cannot be shown is left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field

from interlock.base.errors import InputError
from interlock.exchange.elements import Element, Text, parse
from interlock.exchange.nodes import Node, read_drawn
from interlock.exchange.order import in_order, networks_of
from interlock.exchange.signs import RAIL, Port, Sign, all_signs

_DRAWN = ("LD", "FBD")
_KINDS = {"program": "PROGRAM", "functionblock": "FUNCTION_BLOCK", "function": "FUNCTION"}


@dataclass
class DrawnNetwork:
    """A network.

    Attributes
    ----------
    number : int
        In its body, counted from 1.
    roots : list of Sign
        Its ends, from top to bottom.
    label : str
        Of jumps that lead to it; usually empty.
    elements : dict of str to Sign
        By what a place calls an element, as in ``contact 14 (door)``.
    lines : dict of str to int
        The lines of the file in which they stand.
    """

    number: int
    roots: list[Sign]
    label: str = ""
    elements: dict[str, Sign] = field(default_factory=dict)
    lines: dict[str, int] = field(default_factory=dict)


@dataclass
class DrawnBody:
    """A body in ladder or blocks.

    Attributes
    ----------
    unit : str
        As places call it, such as ``PROGRAM Main``.
    name : str
        Of the unit.
    action : str
        Whose body it is; empty for the unit's own.
    language : str
        ``LD`` or ``FBD``.
    networks : list of DrawnNetwork
    """

    unit: str
    name: str
    action: str
    language: str
    networks: list[DrawnNetwork]


def drawn_bodies(text: str, file: str) -> list[DrawnBody]:
    """The bodies in ladder and blocks of a file that was read already.

    Raises
    ------
    InputError
        Where it is no document.
    """
    found = []
    for pou in parse(text, file).walk():
        if pou.name != "pou":
            continue
        kind = _KINDS.get(pou.get("pouType").casefold(), "PROGRAM")
        unit = f"{kind} {pou.get('name')}"
        for action, holder in _bodies(pou):
            for code in holder.all(*_DRAWN):
                try:
                    nodes = read_drawn(code, unit, []).nodes
                except InputError:
                    continue
                networks = _networks(nodes)
                if networks:
                    body = DrawnBody(unit, pou.get("name"), action, code.name, networks)
                    found.append(body)
    return found


def _bodies(pou: Element) -> Iterator[tuple[str, Element]]:
    for body in pou.all("body"):
        yield "", body
    for group in pou.all("actions"):
        for action in group.all("action"):
            for body in action.all("body"):
                yield action.get("name"), body


def _networks(nodes: Sequence[Node]) -> list[DrawnNetwork]:
    groups = networks_of(nodes)
    with suppress(InputError):
        groups = in_order(groups)
    found: list[DrawnNetwork] = []
    label = ""
    for group in groups:
        if group[0].kind == "label":
            label = group[0].element.get("label")
            continue
        signs = {id(node): _sign(node) for node in group}
        rail = Sign(RAIL)
        for node in group:
            _connect(node, signs, rail)
        taken = {id(s) for sign in signs.values() for p in sign.ports for s, _ in p.sources}
        ends = sorted(group, key=lambda node: (*node.at, node.number))
        roots = [signs[id(node)] for node in ends if id(signs[id(node)]) not in taken]
        reached = {id(sign) for sign in all_signs(roots)}
        # A loop has no end; then its first element stands for it.
        roots += [signs[id(node)] for node in ends if id(signs[id(node)]) not in reached][:1]
        elements = {node.says: signs[id(node)] for node in group}
        lines = {node.says: node.place.line for node in group}
        found.append(DrawnNetwork(len(found) + 1, roots, label, elements, lines))
        label = ""
    return found


def _sign(node: Node) -> Sign:
    element = node.element
    shown = element.first("variable", "expression")
    text = " ".join(Text(shown).text.split()) if shown is not None else ""
    for word in ("typeName", "label", "name"):
        text = text or element.get(word)
    is_block = node.kind == "block"
    return Sign(
        node.kind,
        text,
        element.get("instanceName"),
        node.negated,
        node.storage if node.kind in ("coil", "outVariable") else "",
        node.edge if node.kind not in ("block", "inOutVariable") else "",
        outputs=[output.name for output in node.outputs] if is_block else [],
        negated_outputs=frozenset(o.name for o in node.outputs if o.negated),
        in_outs=node.in_outs,
        id=node.id,
    )


def _connect(node: Node, signs: dict[int, Sign], rail: Sign) -> None:
    sign = signs[id(node)]
    if node.kind == "continuation":
        return
    for pin in node.pins:
        port = Port(pin.name, negated=pin.negated, edge=pin.edge)
        for source, output in pin.sources:
            if source.kind == RAIL:
                port.sources.append((rail, ""))
            elif id(source) in signs:
                port.sources.append((signs[id(source)], output))
        sign.ports.append(port)
