"""The calls of blocks in a network: instances, functions with EN or effects, actions."""

from __future__ import annotations

from interlock.exchange import blocks
from interlock.exchange.keeping import Use, is_value
from interlock.exchange.making import Making
from interlock.exchange.nodes import Node, Output, Pin
from interlock.exchange.order import Evaluation
from interlock.exchange.values import Values
from interlock.st import syntax as sx


class BlockCalls(Values):
    """Makes the statements of blocks.

    Attributes
    ----------
    guards : dict of int to syntax.Expression
        What enables a function, by the identity of its node.
    absorbed : set of int
        Variables that were assigned together with the function that gives their value.
    """

    def __init__(self, evaluation: Evaluation, making: Making) -> None:
        super().__init__(evaluation, making)
        self.guards: dict[int, sx.Expression] = {}
        self.absorbed: set[int] = set()

    def block(self, node: Node) -> None:
        """Make the call of a block, and give its outputs their values."""
        enabling = blocks.enabling(node)
        if blocks.is_instance(node):
            self._call_instance(node)
        elif is_value(node, self.making):
            value = blocks.function_value(node, self._given(node))
            result = blocks.main_output(node, self.making)
            if result is not None:
                self._give(node, result, value)
        else:
            enable = self._enable(node, enabling)
            self._call(node, enable)
        for output in node.outputs:
            if output.expression is not None:
                self._assign_output(node, output)

    def _given(self, node: Node) -> list[tuple[Pin, sx.Expression]]:
        """What comes into a block, EN left aside."""
        return [
            (pin, self._argument(node, pin))
            for pin in node.pins
            if not pin.is_open and pin.name.upper() != "EN"
        ]

    def _enable(self, node: Node, pin: Pin | None) -> sx.Expression:
        """Whether a function is executed; kept, since its value and ENO depend on it."""
        if pin is None:
            return sx.Truth(True, node.place)
        value = self.pin(node, pin)
        if isinstance(value, sx.Truth):
            return value
        name = self.flag(f"EN_{node.id}", node)
        self.out.append(sx.Assign(name, value, node.place))
        return name

    def _give(self, node: Node, name: str, value: sx.Expression) -> None:
        """Give an output of a block its value, negated where it is drawn so."""
        output = blocks.written_output(node, name)
        if output.edge:
            value = self.trigger(node, output.edge, value, f"{node.id}_{output.name}")
        if output.negated:
            value = sx.Unary("NOT", value, node.place)
        self.set(node, name, value)

    def _assign_output(self, node: Node, output: Output) -> None:
        value = self.values[(id(node), output.name.upper())]
        target = output.expression
        if not isinstance(target, sx.Name | sx.Element | sx.Member | sx.Direct | sx.Pointed):
            raise node.refuse(f"the output {output.name} is given to what is no variable")
        self.out.append(sx.Assign(target, value, output.place))

    def _call_instance(self, node: Node) -> None:
        target = blocks.instance_of(node)
        on, name = blocks.called(target)
        inputs = []
        for pin in node.pins:
            if pin.is_open:
                continue
            value = self._argument(node, pin)
            if pin.name.upper() != "EN" or not isinstance(value, sx.Truth):
                inputs.append(sx.InputArgument(pin.name, value, pin.place))
        taken = []
        enabled: sx.Expression = sx.Truth(True, node.place)
        if any(given.name.upper() == "EN" for given in inputs):
            used = [o for o in node.outputs if o.name.upper() == "ENO" and self._is_used(node, o)]
            for output in used:
                enabled = self.flag(f"ENO_{node.id}", node)
                taken.append(sx.OutputArgument("ENO", enabled, output.place))
        self.out.append(sx.Invoke(name, tuple(inputs), tuple(taken), node.place, on))
        for output in node.outputs:
            if output.name.upper() == "ENO":
                self.values[(id(node), "ENO")] = enabled
            elif output.name.casefold() in node.in_outs:
                self._pass_on(node, output)
            else:
                self._give(node, output.name.upper(), blocks.member(target, output.name))

    def _is_used(self, node: Node, output: Output) -> bool:
        return (id(node), output.name.upper()) in self.plan.uses or output.expression is not None

    def _pass_on(self, node: Node, output: Output) -> None:
        """An in-out gives on the variable that it is."""
        pin = next(p for p in node.pins if p.name.casefold() == output.name.casefold())
        if not pin.is_open:
            self.set(node, output.name.upper(), blocks.variable_of(node, pin))

    def _argument(self, node: Node, pin: Pin) -> sx.Expression:
        """What a block is given: a value, or the variable itself for an in-out."""
        is_both = pin.name.casefold() in node.in_outs
        return blocks.variable_of(node, pin) if is_both else self.pin(node, pin)

    def _call(self, node: Node, enable: sx.Expression) -> None:
        """Call a function with EN or with effects, or an action."""
        result = blocks.main_output(node, self.making)
        if any(output.edge for output in node.outputs):
            # What it gives stays as it was while it is not called.
            raise node.refuse("an edge of an output of what is enabled is not supported")
        given = self._given(node)
        out, self.out = self.out, []
        if not isinstance(enable, sx.Truth):
            self.guards[id(node)] = enable
        taken = self._further_outputs(node, result)
        is_used = result is not None and (id(node), result) in self.plan.uses
        value = self._called(node, given, taken, is_used)
        if value is not None and result is not None and is_used:
            direct = self._only_taker(node, result)
            if direct is None:
                self._keep_result(node, result, value)
            else:
                self.absorbed.add(id(direct))
                self.values[(id(node), result)] = value
                self.write(direct, value)
        inner, self.out = self.out, out
        if isinstance(enable, sx.Truth):
            self.out += inner
        elif inner:
            branch = sx.Branch(enable, tuple(inner), node.place)
            self.out.append(sx.If((branch,), (), node.place))
        for output in node.outputs:
            if output.name.upper() == "ENO":
                self.values[(id(node), "ENO")] = enable
            elif output.name.casefold() in node.in_outs:
                self._pass_on(node, output)

    def _called(
        self,
        node: Node,
        given: list[tuple[Pin, sx.Expression]],
        taken: tuple[sx.OutputArgument, ...],
        is_used: bool,
    ) -> sx.Expression | None:
        """The value of a call; a statement, and no value, where it gives none that is used."""
        name = blocks.type_name(node)
        is_standard = not (
            self.making.scope.known.is_user_function(name)
            or name.casefold() in self.making.actions
            or "." in name
            or node.in_outs
        )
        if is_standard:
            return blocks.function_value(node, given)
        inputs = tuple(sx.InputArgument(pin.name, value, pin.place) for pin, value in given)
        if is_used:
            return sx.Call(name, (), node.place, inputs, taken)
        bare = not inputs and not taken
        called = sx.Name(name, node.place)
        self.out.append(sx.Invoke(called, inputs, taken, node.place, None, bare))
        return None

    def _further_outputs(self, node: Node, result: str | None) -> tuple[sx.OutputArgument, ...]:
        """The outputs of a function beside its result, each given to a variable."""
        found = []
        for output in node.outputs:
            name = output.name.upper()
            is_other = name not in (result, "ENO") and output.name.casefold() not in node.in_outs
            if not is_other or not self._is_used(node, output):
                continue
            unit = self.making.scope.known.units.get(blocks.type_name(node).casefold())
            types = {
                n.text.upper(): d.type
                for d in (unit.declarations if unit is not None else ())
                for n in d.names
            }
            if name not in types:
                raise node.refuse(f"the type of its output {output.name} is not known")
            wanted = f"{blocks.type_name(node)}_{node.id}_{output.name}"
            kept = self.making.temporary(wanted, types[name], node.place)
            found.append(sx.OutputArgument(output.name, kept, output.place))
            negated = sx.Unary("NOT", kept, node.place)
            self.values[(id(node), name)] = negated if output.negated else kept
        return tuple(found)

    def _only_taker(self, node: Node, result: str) -> Node | None:
        """The variable that takes a function's value at once, where nothing else does."""
        key = (id(node), result)
        uses = self.plan.uses.get(key, [])
        if len(uses) != 1 or key in self.memories:
            return None
        taker = uses[0].node
        nodes, at = self.evaluation.nodes, self.at[id(node)]
        follows = at + 1 < len(nodes) and nodes[at + 1] is taker
        plain = not (taker.storage or taker.edge or taker.negated) if follows else False
        is_negated = blocks.written_output(node, result).negated
        has_name = taker.kind == "outVariable" and taker.shown is not None
        joined = len(taker.pins) == 1 and len(taker.pins[0].sources) == 1
        return taker if follows and plain and has_name and joined and not is_negated else None

    def _keep_result(self, node: Node, result: str, value: sx.Expression) -> None:
        """Keep a function's value, beyond this evaluation where it is used without its ENO."""
        key = (id(node), result)
        uses = self.plan.uses.get(key, [])
        type_ = self.type_of(node, result, value)
        if key in self.memories:
            name = self.memories[key]
        elif id(node) in self.guards and not all(self._is_guarded(use, node) for use in uses):
            name = self.making.memory(f"{blocks.type_name(node)}_{node.id}", type_, node)
        else:
            wanted = f"{blocks.type_name(node)}_{node.id}"
            name = self.making.temporary(wanted, type_, node.place)
        self.out.append(sx.Assign(name, value, node.place))
        negated = blocks.written_output(node, result).negated
        self.values[key] = sx.Unary("NOT", name, node.place) if negated else name

    def _is_guarded(self, use: Use, node: Node) -> bool:
        """Whether a value is used only where the function that gives it was executed."""
        if use.node.kind == "outVariable":
            return len(use.node.pins[0].sources) == 1
        pin = blocks.enabling(use.node) if use.node.kind == "block" else None
        return (
            pin is not None
            and not pin.negated
            and [(s is node, f.upper()) for s, f in pin.sources] == [(True, "ENO")]
        )
