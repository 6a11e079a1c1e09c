"""The values of a network: what comes in at a pin, what is kept, and the types of wires."""

from __future__ import annotations

from collections.abc import Iterable

from interlock.base.errors import Place
from interlock.exchange import blocks
from interlock.exchange.keeping import Key, Planner
from interlock.exchange.making import Making, parts_of
from interlock.exchange.nodes import Node, Pin
from interlock.exchange.order import Evaluation
from interlock.st import syntax as sx

# So many blocks are looked at to find the type of a wire.
_FARTHEST = 12
_VARIES = (sx.Name, sx.Element, sx.Member, sx.Direct, sx.Pointed)


class Values:
    """The values of one evaluation while its statements are made.

    Parameters
    ----------
    evaluation : Evaluation
    making : Making
    """

    def __init__(self, evaluation: Evaluation, making: Making) -> None:
        self.evaluation = evaluation
        self.making = making
        for node in evaluation.nodes:
            if node.kind == "block":
                blocks.check_block(node, making)
        self.plan = Planner(evaluation, making).make()
        self.values: dict[Key, sx.Expression] = {}
        self.memories: dict[Key, sx.Name] = {}
        self.out: list[sx.Statement] = []
        self._nodes = {id(node): node for node in evaluation.nodes}
        self.at = {id(node): n for n, node in enumerate(evaluation.nodes)}

    def remember(self) -> None:
        """Declare what wires that lead back remember."""
        for key in self.plan.remembered:
            node = self._nodes[key[0]]
            if not blocks.is_instance(node):
                type_ = self.type_of(node, key[1], None)
                named = blocks.type_name(node) if node.kind == "block" else node.kind
                wanted = f"{named}_{node.id}_before"
                self.memories[key] = self.making.memory(wanted, type_, node)

    def set(self, node: Node, output: str, value: sx.Expression) -> None:
        """Give a node's output its value, kept in a variable where the plan says so."""
        key = (id(node), output)
        if key in self.memories:
            self.out.append(sx.Assign(self.memories[key], value, node.place))
            value = self.memories[key]
        elif key in self.plan.kept and not _is_constant(value):
            value = self._kept(node, output, value)
        self.values[key] = value

    def _kept(self, node: Node, output: str, value: sx.Expression) -> sx.Expression:
        type_ = self.type_of(node, output, value)
        label = blocks.type_name(node) if node.kind == "block" else node.kind
        wanted = "_".join(filter(None, (label, node.id, output if label else "")))
        name = self.making.temporary(wanted, type_, node.place)
        self.out.append(sx.Assign(name, value, node.place))
        return name

    def type_of(self, node: Node, output: str, value: sx.Expression | None) -> sx.TypeRef:
        """The type of a node's output; `value` is what it gives, where that is known."""
        if output == "ENO":
            return sx.TypeRef("BOOL", None, None, node.place)
        found = None if value is None else self.making.scope.type_of(value)
        found = found or self._wired_type(node, output, frozenset())
        for use in self.plan.uses.get((id(node), output), ()):
            if found is None and use.node.kind == "outVariable" and use.node.shown is not None:
                found = self.making.scope.type_of(use.node.shown)
        if found is None:
            says = "the type of its value is not known; give it to a variable, and use that"
            raise node.refuse(says)
        return found

    def _wired_type(self, node: Node, output: str, seen: frozenset[int]) -> sx.TypeRef | None:
        """The type of a wire, from the types of what leads to it."""
        scope = self.making.scope
        if node.kind in ("contact", "coil", "leftPowerRail"):
            return sx.TypeRef("BOOL", None, None, node.place)
        if node.shown is not None:
            return scope.type_of(node.shown)
        if node.kind == "block" and blocks.is_instance(node):
            return scope.type_of(blocks.member(blocks.instance_of(node), output))
        if len(seen) > _FARTHEST:
            return None
        seen |= {id(node)}
        arguments = []
        for pin in node.pins:
            if pin.name.upper() == "EN" or pin.is_open:
                continue
            shown = [pin.expression, *(source.shown for source, _ in pin.sources)]
            is_literal = any(isinstance(e, sx.Number) and not e.prefix for e in shown)
            # What leads back has the type of the rest of the loop.
            if is_literal or any(id(source) in seen for source, _ in pin.sources):
                continue
            type_ = scope.type_of(pin.expression) if pin.expression is not None else None
            for source, formal in pin.sources:
                name = blocks.output_of(source, formal)
                type_ = type_ or self._wired_type(source, name, seen)
            arguments.append(type_)
        if node.kind != "block":
            return arguments[0] if arguments else None
        return scope.type_of_call(blocks.type_name(node), arguments, node.place)

    def _from(self, source: Node, formal: str, node: Node) -> sx.Expression:
        if source.kind == "leftPowerRail":
            return sx.Truth(True, source.place)
        if source.kind == "step":
            return sx.Name(f"{source.element.get('name')}.X", source.place)
        key = (id(source), blocks.output_of(source, formal))
        if key in self.values and (source, node) not in self.evaluation.back:
            return self.values[key]
        if key in self.memories:
            return self.memories[key]
        if source.kind == "block" and blocks.is_instance(source):
            return self.of_instance(source, key[1])
        raise source.refuse(f"'{source.kind}' has no value that could be used in a network")

    def pin(self, node: Node, pin: Pin) -> sx.Expression:
        """What comes in at a pin; several connections are OR-ed."""
        parts = [self._from(source, formal, node) for source, formal in pin.sources]
        if pin.expression is not None:
            parts.append(pin.expression)
        value = joined(parts, pin.place)
        if pin.edge:
            value = self.trigger(node, pin.edge, value, f"{node.id}_{pin.name}")
        return sx.Unary("NOT", value, pin.place) if pin.negated else value

    def left(self, node: Node) -> sx.Expression:
        """What comes into an element with one point."""
        if not node.pins or node.pins[0].is_open:
            raise node.refuse("nothing is connected to it")
        return self.pin(node, node.pins[0])

    def trigger(self, node: Node, edge: str, value: sx.Expression, label: str) -> sx.Expression:
        """The output of the block that finds an edge of `value`, which is called here."""
        trigger = self.making.trigger(edge, f"edge_{label}".rstrip("_"), node)
        given = (sx.InputArgument("CLK", value, node.place),)
        self.out.append(sx.Invoke(trigger, given, (), node.place))
        return sx.Name(f"{trigger.text}.Q", node.place)

    def of_instance(self, node: Node, output: str) -> sx.Expression:
        """What an instance gave when it was called before."""
        named = blocks.written_output(node, output)
        if named.edge:
            raise node.refuse("an edge of an output that leads back is not supported")
        value = blocks.member(blocks.instance_of(node), named.name)
        return sx.Unary("NOT", value, node.place) if named.negated else value

    def target(self, node: Node) -> sx.Target:
        """The variable that a coil or a variable of the network assigns."""
        if not isinstance(node.shown, sx.Name | sx.Element | sx.Member | sx.Direct | sx.Pointed):
            raise node.refuse("it names no variable that could be assigned")
        return node.shown

    def write(self, node: Node, value: sx.Expression) -> None:
        """Write a coil's or a variable's value as its signs say."""
        target, place = self.target(node), node.place
        if node.edge and node.negated:
            raise node.refuse("an edge that is negated as well has no meaning that is agreed upon")
        if node.edge:
            value = self.trigger(node, node.edge, value, node.id)
        if node.negated:
            value = sx.Unary("NOT", value, place)
        if not node.storage:
            self.out.append(sx.Assign(target, value, place))
            return
        assign = sx.Assign(target, sx.Truth(node.storage == "set", place), place)
        self.out.append(sx.If((sx.Branch(value, (assign,), place),), (), place))

    def flag(self, wanted: str, node: Node) -> sx.Name:
        """A temporary variable for a truth value of a node."""
        type_ = sx.TypeRef("BOOL", None, None, node.place)
        return self.making.temporary(wanted, type_, node.place)


def _is_constant(value: sx.Expression) -> bool:
    """Whether a value is made of literals alone, so that it never changes."""
    return not any(isinstance(part, _VARIES) for part in parts_of(value))


def joined(parts: Iterable[sx.Expression], place: Place) -> sx.Expression:
    """The OR of what is joined; power from the rail is power."""
    flat: list[sx.Expression] = []
    for part in parts:
        if isinstance(part, sx.Truth) and part.value:
            return part
        joins = isinstance(part, sx.Junction) and part.op == "OR"
        flat += part.operands if isinstance(part, sx.Junction) and joins else [part]
    return flat[0] if len(flat) == 1 else sx.Junction("OR", tuple(flat), place)


def in_series(parts: Iterable[sx.Expression], place: Place) -> sx.Expression:
    """The AND of what stands in a series."""
    flat: list[sx.Expression] = []
    for part in parts:
        if isinstance(part, sx.Truth) and part.value:
            continue
        series = isinstance(part, sx.Junction) and part.op == "AND"
        flat += part.operands if isinstance(part, sx.Junction) and series else [part]
    if not flat:
        return sx.Truth(True, place)
    return flat[0] if len(flat) == 1 else sx.Junction("AND", tuple(flat), place)
