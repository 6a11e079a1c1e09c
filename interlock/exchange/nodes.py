"""What a drawn body consists of: elements with their connections, checked, not yet in order."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from interlock.base.errors import InputError, Mistake, MistakeList, Place, nearest
from interlock.exchange.elements import Element, Text
from interlock.exchange.texts import expression_in, target_in
from interlock.st import syntax as sx

_SHOWN = 40
_EDGES = ("", "none", "rising", "falling")
_STORAGES = ("", "none", "set", "reset")
# What is drawn and means nothing, and what a chart consists of.
_SILENT = frozenset(("comment", "rightPowerRail", "vendorElement"))
CHART = frozenset(
    (
        *("step", "macroStep", "jumpStep", "transition", "actionBlock"),
        *("selectionDivergence", "selectionConvergence"),
        *("simultaneousDivergence", "simultaneousConvergence"),
    )
)
_TELLING = {"block": ("typeName", "instanceName"), "label": ("label",), "jump": ("label",)}
_NAMED = ("name", "targetName")


@dataclass(eq=False)
class Pin:
    """Where something comes in.

    Attributes
    ----------
    name : str
        The formal parameter of a block; else empty.
    sources : list of (Node, str)
        What is connected, with the output of a block that is meant; empty where nothing is said.
    expression : syntax.Expression or None
        What stands there in place of connections.
    negated : bool
    edge : str
        ``rising``, ``falling`` or empty.
    place : Place
    """

    name: str
    place: Place
    sources: list[tuple[Node, str]] = field(default_factory=list)
    expression: sx.Expression | None = None
    negated: bool = False
    edge: str = ""

    @property
    def is_open(self) -> bool:
        """Whether nothing comes in."""
        return not self.sources and self.expression is None


@dataclass(eq=False)
class Output:
    """What a block gives.

    Attributes
    ----------
    name : str
        Its formal parameter.
    negated : bool
    edge : str
        ``rising``, ``falling`` or empty.
    expression : syntax.Expression or None
        What it is assigned to beside its wires.
    """

    name: str
    place: Place
    negated: bool = False
    edge: str = ""
    expression: sx.Expression | None = None


@dataclass(eq=False)
class Node:
    """An element of a network.

    Attributes
    ----------
    id : str
        Its localId.
    kind : str
        The name of its element.
    element : Element
    order : int or None
        Where in the order of execution it stands, if that is given.
    at : tuple of float
        Its position: from the top, then from the left.
    number : int
        Which it is in the order of the file.
    pins : list of Pin
        Of a block those of inputs and in-outs; else one.
    outputs : list of Output
        Of a block.
    in_outs : frozenset of str
        Which of a block's pins are in-outs, casefolded.
    shown : syntax.Expression or None
        What stands beside a contact or a coil, or in a variable of the network.
    """

    id: str
    kind: str
    element: Element
    order: int | None
    at: tuple[float, float]
    number: int
    pins: list[Pin] = field(default_factory=list)
    outputs: list[Output] = field(default_factory=list)
    in_outs: frozenset[str] = frozenset()
    shown: sx.Expression | None = None

    @property
    def place(self) -> Place:
        """Where it stands."""
        return self.element.place

    @property
    def says(self) -> str:
        """What it is called in messages, as in ``contact 14 (door)``."""
        return self.place.element

    @property
    def storage(self) -> str:
        """``set`` or ``reset`` where it stores; else empty."""
        return _chosen(self.element, "storage", _STORAGES)

    @property
    def edge(self) -> str:
        """``rising`` or ``falling`` where it is for an edge; else empty."""
        return _chosen(self.element, "edge", _EDGES)

    @property
    def negated(self) -> bool:
        """Whether it is drawn with the sign of negation."""
        return self.element.is_true("negated")

    def refuse(self, says: str) -> InputError:
        """The error that tells what is wrong with it."""
        return InputError([Mistake(self.place, says)])


def _chosen(element: Element, name: str, allowed: tuple[str, ...]) -> str:
    value = element.get(name).casefold()
    if value not in allowed:
        element.refuse(f"{name} is one of {', '.join(allowed[1:])}; not '{value[:_SHOWN]}'")
    return "" if value == "none" else value


@dataclass
class Drawn:
    """A body in FBD, LD or SFC.

    Attributes
    ----------
    nodes : list of Node
        Without comments and the rail at the right.
    by_id : dict of str to list of Node
        All, by their localIds.
    """

    nodes: list[Node]
    by_id: dict[str, list[Node]]

    def pin(self, holder: Element) -> Pin:
        """What is connected in an element such as the condition of a transition.

        Raises
        ------
        InputError
        """
        found = Pin("", holder.place)
        for point in (holder, *holder.all("connectionPointIn")):
            _connect_point(found, point, self.by_id)
        return found


def read_drawn(drawn: Element, unit: str, notes: list[sx.Note]) -> Drawn:
    """The elements of a body in FBD, LD or SFC, each connected to those that it names.

    Parameters
    ----------
    drawn : Element
    unit : str
        What the body belongs to, for places.
    notes : list of syntax.Note
        Takes what is not considered.

    Raises
    ------
    InputError
        With every connection that leads nowhere, and the like.
    """
    mistakes = MistakeList()
    nodes: list[Node] = []
    by_id: dict[str, list[Node]] = {}
    for number, element in enumerate(drawn.children):
        if element.name in ("addData", "documentation"):
            continue
        try:
            node = _node(element, number, unit)
        except InputError as error:
            mistakes.extend(error.mistakes)
            continue
        if node.kind == "vendorElement":
            notes.append(sx.Note(node.place, "an editor's own element was not considered"))
        if node.kind == "error":
            mistakes.append(Mistake(node.place, "the editor says that there is an error here"))
        by_id.setdefault(node.id, []).append(node)
        nodes.append(node)
    if mistakes:
        # What is missing would be missed by its connections, too.
        raise InputError(mistakes)
    _find_orders(nodes)
    connectors = _connectors(nodes, mistakes)
    for node in nodes:
        try:
            _connect(node, by_id, connectors, drawn.name)
        except InputError as error:
            mistakes.extend(error.mistakes)
    if mistakes:
        raise InputError(mistakes)
    return Drawn([node for node in nodes if node.kind not in _SILENT], by_id)


def _node(element: Element, number: int, unit: str) -> Node:
    id_ = element.get("localId")
    element.stand_in(unit, f"{element.name} {id_}".strip() + _told(element))
    if not id_:
        element.refuse(f"'{element.name}' needs a localId")
    order = element.get("executionOrderId")
    if order and not order.isdecimal():
        element.refuse(f"executionOrderId is a whole number, not '{order[:_SHOWN]}'")
    at = _position(element)
    node = Node(id_, element.name, element, int(order) if order else None, at, number)
    holder = element.first("variable", "expression")
    if holder is not None and element.name in ("coil", "outVariable"):
        node.shown = target_in(holder, f"a {element.name}")
    elif holder is not None:
        node.shown = expression_in(holder)
    return node


def _told(element: Element) -> str:
    """What an element of a network shows beside its sign, in brackets."""
    words = [element.get(name) for name in _TELLING.get(element.name, _NAMED)]
    shown = element.first("variable", "expression")
    if shown is not None:
        words.append(Text(shown).text)
    said = " ".join(" ".join(words).split())
    return f" ({said[:_SHOWN]})" if said else ""


def _position(element: Element) -> tuple[float, float]:
    position = element.first("position")
    if position is None:
        return 0.0, 0.0
    try:
        return float(position.get("y") or 0), float(position.get("x") or 0)
    except ValueError:
        position.refuse("x and y of a position are numbers")


def _find_orders(nodes: list[Node]) -> None:
    """An order of 0 is one only where it is the only one: some editors write it everywhere."""
    if sum(node.order == 0 for node in nodes) > 1:
        for node in nodes:
            node.order = node.order or None


def _connectors(nodes: list[Node], mistakes: list[Mistake]) -> dict[str, Node]:
    found: dict[str, Node] = {}
    for node in nodes:
        if node.kind == "connector":
            name = node.element.get("name")
            before = found.setdefault(name.casefold(), node)
            if before is not node:
                says = f"two connectors are called '{name}', the other in line {before.place.line}"
                mistakes.append(Mistake(node.place, says))
    return found


# Connections


def _connect(
    node: Node, by_id: dict[str, list[Node]], connectors: dict[str, Node], language: str
) -> None:
    if node.kind == "continuation":
        name = node.element.get("name")
        source = connectors.get(name.casefold())
        if source is None:
            known = (c.element.get("name") for c in connectors.values())
            raise node.refuse(f"there is no connector '{name}'{nearest(name, known)}")
        node.pins.append(Pin("", node.place, [(source, "")]))
        return
    may_join = language != "FBD" or node.kind in ("contact", "coil", "rightPowerRail")
    for pin, element in _pins(node):
        node.pins.append(pin)
        for point in element.all("connectionPointIn") if element is not node.element else [element]:
            _connect_point(pin, point, by_id)
        if len(pin.sources) > 1 and not (may_join or node.kind in CHART):
            says = f"{len(pin.sources)} wires are joined here; blocks know no such OR: draw an OR"
            raise InputError([Mistake(pin.place, says)])


def _pins(node: Node) -> Iterator[tuple[Pin, Element]]:
    """The pins of a node, each with the element that holds its connections."""
    element = node.element
    if node.kind not in ("block", "vendorElement"):
        points = element.all("connectionPointIn")
        if points:
            holder = Element(element.name, "", {}, element.place, list(points))
            yield Pin("", node.place), holder
        return
    for group in element.all("inputVariables", "inOutVariables"):
        for variable in group.all("variable"):
            pin = Pin(variable.get("formalParameter"), variable.place)
            pin.negated = variable.is_true("negated")
            pin.edge = _chosen(variable, "edge", _EDGES)
            if _chosen(variable, "storage", _STORAGES):
                variable.refuse("an input stores nothing; set and reset belong to coils")
            if group.name == "inOutVariables":
                node.in_outs |= {pin.name.casefold()}
            yield pin, variable
    for group in element.all("outputVariables", "inOutVariables"):
        for variable in group.all("variable"):
            _read_output(node, variable)


def _read_output(node: Node, variable: Element) -> None:
    if _chosen(variable, "storage", _STORAGES):
        variable.refuse("an output of a block stores nothing; draw a coil behind it")
    output = Output(variable.get("formalParameter"), variable.place, variable.is_true("negated"))
    output.edge = _chosen(variable, "edge", _EDGES)
    if output.edge and output.negated:
        variable.refuse("an edge that is negated as well has no meaning that is agreed upon")
    expression = variable.at("connectionPointOut", "expression")
    if expression is not None:
        output.expression = expression_in(expression)
    node.outputs.append(output)


def _connect_point(pin: Pin, point: Element, by_id: dict[str, list[Node]]) -> None:
    for connection in point.all("connection"):
        pin.sources.append(_source(connection, by_id))
    expression = point.first("expression")
    if expression is not None:
        pin.expression = expression_in(expression)


def _source(connection: Element, by_id: dict[str, list[Node]]) -> tuple[Node, str]:
    id_ = connection.get("refLocalId")
    if not id_:
        connection.refuse("a connection needs refLocalId")
    known = by_id.get(id_, ())
    if not known:
        connection.refuse(f"a connection leads to {id_[:_SHOWN]}, which this body does not have")
    if len(known) > 1:
        says = f"a connection leads to {id_[:_SHOWN]}, a localId that {len(known)} elements have"
        connection.refuse(says)
    return known[0], connection.get("formalParameter")
