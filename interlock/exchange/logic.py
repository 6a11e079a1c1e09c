"""Networks of ladder and blocks as statements: each element evaluated once, when its turn comes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from interlock.base.errors import Place
from interlock.exchange import blocks
from interlock.exchange.block_calls import BlockCalls
from interlock.exchange.keeping import is_value
from interlock.exchange.making import Making
from interlock.exchange.nodes import Node, Pin
from interlock.exchange.order import Evaluation, acts_by_itself, sequence, sequences
from interlock.exchange.values import in_series
from interlock.st import syntax as sx


@dataclass(frozen=True)
class Jump:
    """A jump to a label where its condition is true."""

    label: str
    condition: sx.Expression
    place: Place
    node: Node


Item = sx.Statement | Jump | Node
"""A statement, a jump, or a label."""


def items_of(nodes: list[Node], making: Making) -> list[Item]:
    """What a body in LD or FBD does, in order, with its jumps and labels.

    Raises
    ------
    InputError
    """
    used = {id(source) for node in nodes for pin in node.pins for source, _ in pin.sources}

    def acts(node: Node) -> bool:
        if node.kind != "block":
            return acts_by_itself(node)
        if blocks.is_instance(node) or node.order is not None or id(node) not in used:
            return True
        # A function that is enabled or has effects is called where its value is needed.
        return not is_value(node, making) and blocks.enabling(node) is None

    found: list[Item] = []
    for part in sequences(nodes, acts):
        found += [part] if isinstance(part, Node) else Network(part, making).items()
    return found


def condition_of(
    pin: Pin, asking: Node, nodes: list[Node], making: Making
) -> tuple[list[sx.Statement], sx.Expression]:
    """What is wired to `pin` of a transition: the statements that find its value, and the value.

    Raises
    ------
    InputError
    """
    last = Node(asking.id, "condition", asking.element, None, asking.at, asking.number, [pin])
    evaluation = sequence([*nodes, last], [last])
    network = Network(evaluation, making)
    items = network.items()
    found = [item for item in items if not isinstance(item, Jump | Node)]
    return found, network.condition


class Network(BlockCalls):
    """Makes the statements of one evaluation.

    Parameters
    ----------
    evaluation : Evaluation
    making : Making

    Attributes
    ----------
    condition : syntax.Expression
        What came into the condition that was asked for.
    """

    def __init__(self, evaluation: Evaluation, making: Making) -> None:
        super().__init__(evaluation, making)
        self._ends: list[Item] = []
        self.condition: sx.Expression = sx.Truth(True, Place("", 1, 1))
        self._do: dict[str, Callable[[Node], None]] = {
            "contact": self._contact,
            "inVariable": self._in_variable,
            "inOutVariable": self._in_out_variable,
            "connector": self._connector,
            "continuation": self._connector,
            "coil": self._coil,
            "outVariable": self._out_variable,
            "block": self.block,
            "jump": self._jump,
            "return": self._return,
            "condition": self._condition,
        }

    def items(self) -> list[Item]:
        """The statements, and what leaves the network when all of them are done."""
        self.remember()
        for node in self.evaluation.nodes:
            if node.kind not in self._do:
                raise node.refuse(f"'{node.kind}' has no value that could be used in a network")
            self._do[node.kind](node)
        return [*self.out, *self._ends]

    # Elements

    def _read(self, node: Node) -> sx.Expression:
        """What a contact or a variable of the network reads."""
        if node.shown is None:
            raise node.refuse("it names no variable")
        if node.storage:
            raise node.refuse("what is only read stores nothing; set and reset belong to coils")
        if node.edge and node.negated:
            raise node.refuse("an edge that is negated as well has no meaning that is agreed upon")
        if node.edge:
            return self.trigger(node, node.edge, node.shown, node.id)
        return sx.Unary("NOT", node.shown, node.place) if node.negated else node.shown

    def _contact(self, node: Node) -> None:
        left = self.left(node)
        self.set(node, "", in_series((left, self._read(node)), node.place))

    def _in_variable(self, node: Node) -> None:
        self.set(node, "", self._read(node))

    def _in_out_variable(self, node: Node) -> None:
        for word in ("edgeIn", "edgeOut", "storageIn", "storageOut"):
            if node.element.get(word) not in ("", "none"):
                raise node.refuse(f"'{word}' is not supported; draw the parts one by one")
        if node.shown is None:
            raise node.refuse("it names no variable")
        if node.pins and not node.pins[0].is_open:
            value = self.left(node)
            if node.element.is_true("negatedIn"):
                value = sx.Unary("NOT", value, node.place)
            self.out.append(sx.Assign(self.target(node), value, node.place))
        value = node.shown
        if node.element.is_true("negatedOut"):
            value = sx.Unary("NOT", value, node.place)
        self.set(node, "", value)

    def _connector(self, node: Node) -> None:
        self.set(node, "", self.left(node))

    def _coil(self, node: Node) -> None:
        value = self.left(node)
        key = (id(node), "")
        if key in self.plan.uses and not isinstance(value, sx.Truth):
            # What goes on to the right is what came from the left.
            self.set(node, "", value)
            value = self.values[key]
        elif key in self.plan.uses:
            self.values[key] = value
        self.write(node, value)

    def _out_variable(self, node: Node) -> None:
        if id(node) in self.absorbed:
            return
        if node.shown is None:
            self.making.notes.append(sx.Note(node.place, "it names no variable: left out"))
            return
        guard = self._guard(node)
        before = len(self.out)
        self.write(node, self.left(node))
        if guard is not None:
            written = tuple(self.out[before:])
            del self.out[before:]
            self.out.append(sx.If((sx.Branch(guard, written, node.place),), (), node.place))

    def _guard(self, node: Node) -> sx.Expression | None:
        """What enables the function whose value a variable takes: else it stays as it is."""
        sources = [source for pin in node.pins for source, _ in pin.sources]
        return self.guards.get(id(sources[0])) if len(sources) == 1 else None

    def _leaving(self, node: Node) -> sx.Expression:
        if not node.pins or node.pins[0].is_open:
            return sx.Truth(True, node.place)
        value = self.left(node)
        # All of the network is evaluated before it is left.
        if self.evaluation.nodes[-1] is node or isinstance(value, sx.Truth):
            return value
        name = self.flag(f"{node.kind}_{node.id}", node)
        self.out.append(sx.Assign(name, value, node.place))
        return name

    def _jump(self, node: Node) -> None:
        condition = self._leaving(node)
        self._ends.append(Jump(node.element.get("label"), condition, node.place, node))

    def _return(self, node: Node) -> None:
        leave = sx.Leave("RETURN", node.place)
        condition = self._leaving(node)
        if condition == sx.Truth(True, node.place):
            self._ends.append(leave)
            return
        branch = sx.Branch(condition, (leave,), node.place)
        self._ends.append(sx.If((branch,), (), node.place))

    def _condition(self, node: Node) -> None:
        self.condition = self.pin(node, node.pins[0])
