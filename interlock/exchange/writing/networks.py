"""Statements as networks of signs: what ladder and blocks have in common."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from typing import Generic, TypeVar

from interlock.exchange.signs import RAIL, Port, Sign
from interlock.exchange.writing.drawable import (
    BLOCK_OF,
    CannotDrawError,
    Known,
    arguments_of,
    leaves,
)
from interlock.st import syntax as sx
from interlock.st.blocks import BLOCKS
from interlock.st.write_expressions import write_expression

_COMPARES = frozenset(("=", "<>", "<", ">", "<=", ">="))
Power = TypeVar("Power")
"""What enables: joined wires in ladder, one wire in a diagram of blocks."""


class Networks(ABC, Generic[Power]):
    """Draws the statements of one unit.

    Parameters
    ----------
    known : Known
    """

    language = ""

    def __init__(self, known: Known) -> None:
        self.known = known
        self.rail = Sign(RAIL)

    def draw(self, s: sx.Statement) -> list[Sign]:
        """What a statement does as the ends of a network, in their order.

        Raises
        ------
        CannotDrawError
            Where no drawing means the same.
        """
        self.rail = Sign(RAIL)
        found = self._statement(s, self.everything())
        if not found:
            raise CannotDrawError("a statement that does nothing", s.place)
        return found

    # What the two languages differ in

    @abstractmethod
    def everything(self) -> Power:
        """Power that is always there."""

    @abstractmethod
    def is_everything(self, power: Power) -> bool:
        """Whether this is power that is always there."""

    @abstractmethod
    def power(self, e: sx.Expression, left: Power) -> Power:
        """Power where it comes from the left and an expression is TRUE."""

    @abstractmethod
    def unless(self, left: Power, power: Power) -> Power:
        """Power where it comes from the left and not from `power`, which comes from there."""

    @abstractmethod
    def assigned(self, target: str, power: Power, storage: str = "") -> Sign:
        """The sign that assigns a variable what comes in."""

    @abstractmethod
    def ported(self, name: str, power: Power) -> Port:
        """A port of a block into which power comes."""

    @abstractmethod
    def plain_port(self, power: Power) -> Port:
        """The port of a sign that is no block: it cannot be negated."""

    @abstractmethod
    def truth_port(self, name: str, e: sx.Expression) -> Port:
        """A port of a block into which the value of a BOOL comes."""

    # Statements

    def _body(self, body: Sequence[sx.Statement], left: Power) -> list[Sign]:
        found: list[Sign] = []
        for number, s in enumerate(body):
            # A network is left at its end, so that nothing of it may depend on having been left.
            if number < len(body) - 1 and leaves([s]):
                raise CannotDrawError("what stands behind a RETURN", s.place)
            found += self._statement(s, left)
        return found

    def _statement(self, s: sx.Statement, left: Power) -> list[Sign]:
        match s:
            case sx.Assign():
                return [self._assign(s, left)]
            case sx.If():
                return self._if(s, left)
            case sx.Case():
                return self._if(self._as_if(s), left)
            case sx.Invoke():
                return self._invoke(s, left)
            case sx.Leave() if s.word == "RETURN":
                return [Sign("return", ports=[self.plain_port(left)])]
            case sx.Empty():
                return []
        words = {sx.For: "a FOR", sx.While: "a WHILE", sx.Repeat: "a REPEAT"}
        raise CannotDrawError(words.get(type(s), "this statement"), s.place)

    def _assign(self, s: sx.Assign, left: Power) -> Sign:
        target, always = write_expression(s.target), self.is_everything(left)
        is_truth = self.known.is_truth(s.target) and self.known.is_truth(s.value)
        if not always and self.known.may_fail(s.target):
            raise CannotDrawError("an index that is computed under a condition", s.place)
        if always:
            if is_truth and not self._calls(s.value):
                return self._written(target, s.value)
            return Sign("outVariable", target, ports=[Port("", [(self.value(s.value), "")])])
        if is_truth and isinstance(s.value, sx.Truth):
            return self.assigned(target, left, "set" if s.value.value else "reset")
        move = Sign("block", "MOVE", ports=[self.ported("EN", left)], outputs=["ENO", "OUT"])
        # Under a condition nothing else may be evaluated; so it is not taken apart.
        plain = is_truth and not self.known.may_fail(s.value)
        wire = Port("IN", [(Sign("inVariable", write_expression(s.value)), "")])
        move.ports.append(self.truth_port("IN", s.value) if plain else wire)
        return Sign("outVariable", target, ports=[Port("", [(move, "OUT")])])

    def _written(self, target: str, e: sx.Expression) -> Sign:
        """The sign that assigns a variable the value of a BOOL."""
        return self.assigned(target, self.power(e, self.everything()))

    def _if(self, s: sx.If, left: Power) -> list[Sign]:
        found: list[Sign] = []
        for number, branch in enumerate(s.branches):
            e = branch.condition
            if self._calls(e):
                raise CannotDrawError("a condition that calls", branch.place)
            if not (number == 0 and self.is_everything(left)) and self.known.may_fail(e):
                raise CannotDrawError("arithmetic in a condition under another", branch.place)
            if not self.known.is_truth(e):
                raise CannotDrawError("a condition whose type is not known", branch.place)
            power = self.power(e, left)
            found += self._body(branch.body, power)
            if number == len(s.branches) - 1 and not s.otherwise:
                break
            if self.known.is_undisturbed(e, branch.body) and _is_short(e):
                left = self.power(sx.Unary("NOT", e, branch.place), left)
            else:
                left = self.unless(left, power)
        return found + self._body(s.otherwise, left)

    def _as_if(self, s: sx.Case) -> sx.If:
        """A choice by a variable as conditions."""
        if not isinstance(s.selector, sx.Name | sx.Member | sx.Direct):
            raise CannotDrawError("a CASE of what is computed", s.place)
        if self.known.is_truth(s.selector):
            raise CannotDrawError("a CASE of a BOOL", s.place)
        branches = []
        for branch in s.branches:
            parts: list[sx.Expression] = []
            for label in branch.labels:
                if label.last is None:
                    parts.append(sx.Binary("=", s.selector, label.first, label.place))
                    continue
                limits = (
                    sx.Binary(">=", s.selector, label.first, label.place),
                    sx.Binary("<=", s.selector, label.last, label.place),
                )
                parts.append(sx.Junction("AND", limits, label.place))
            any_ = parts[0] if len(parts) == 1 else sx.Junction("OR", tuple(parts), branch.place)
            branches.append(sx.Branch(any_, branch.body, branch.place))
        return sx.If(tuple(branches), s.otherwise, s.place)

    # Calls

    def _invoke(self, s: sx.Invoke, left: Power) -> list[Sign]:
        always = self.is_everything(left)
        name = s.instance.text
        if s.on is None and name.casefold() in self.known.actions and not (s.inputs or s.outputs):
            ports = [] if always and self.language == "FBD" else [self.ported("EN", left)]
            return [Sign("block", name, ports=ports)]
        type_ = self.known.scope.type_of(s.instance) if s.on is None else None
        unit = self.known.scope.known.units.get(type_.name.casefold()) if type_ else None
        is_block = type_ is not None and (
            type_.name.upper() in BLOCKS or (unit is not None and unit.kind == "FUNCTION_BLOCK")
        )
        if type_ is None or not is_block or s.bare:
            raise CannotDrawError("a call of what is no instance of a block", s.place)
        if any(not a.name or a.name.upper() == "EN" for a in s.inputs):
            raise CannotDrawError("a call whose inputs have no names", s.place)
        block = Sign("block", type_.name, name, outputs=self._outputs(type_.name, unit, s))
        block.in_outs = _in_outs(unit)
        if not always:
            if any(self.known.may_fail(a.value) for a in s.inputs):
                raise CannotDrawError("arithmetic in a call under a condition", s.place)
            if s.outputs:
                raise CannotDrawError("outputs of a call under a condition", s.place)
            block.ports.append(self.ported("EN", left))
        block.ports += [self._argument(block, a) for a in s.inputs]
        found = [self._output(block, one) for one in s.outputs]
        return found or [block]

    def _argument(self, block: Sign, a: sx.InputArgument) -> Port:
        is_both = a.name.casefold() in block.in_outs
        if is_both and not isinstance(a.value, sx.Name | sx.Element | sx.Member | sx.Direct):
            raise CannotDrawError("an in-out that is no variable", a.place)
        if is_both:
            return Port(a.name, [(Sign("inVariable", write_expression(a.value)), "")])
        return self.port(a.name, a.value)

    def _output(self, block: Sign, one: sx.OutputArgument) -> Sign:
        name = next(o for o in block.outputs if o.casefold() == one.name.casefold())
        found = Sign("outVariable", write_expression(one.target), negated=one.negated)
        found.ports.append(Port("", [(block, name)]))
        return found

    def _outputs(self, type_name: str, unit: sx.Unit | None, s: sx.Invoke) -> list[str]:
        known = BLOCKS.get(type_name.upper())
        if unit is not None:
            declared = [d for d in unit.declarations if d.kind == "VAR_OUTPUT"]
            names = [name.text for d in declared for name in d.names]
        else:
            names = list(known.outputs) if known is not None else []
        given = {name.casefold() for name in names}
        return names + [o.name for o in s.outputs if o.name.casefold() not in given]

    def _calls(self, e: sx.Expression) -> bool:
        """Whether an expression calls what is not of the standard."""
        from interlock.exchange.making import parts_of

        calls = [part for part in parts_of(e) if isinstance(part, sx.Call)]
        return any(arguments_of(call) is None for call in calls)

    # Values

    def port(self, name: str, e: sx.Expression) -> Port:
        """A port of a block into which the value of an expression comes."""
        if self.known.is_truth(e) and not self._calls(e):
            return self.truth_port(name, e)
        return Port(name, [(self.value(e), "")])

    def value(self, e: sx.Expression) -> Sign:
        """The sign that gives the value of an expression."""
        if not self._calls(e):
            if isinstance(e, sx.Binary) and (e.op in _COMPARES or e.op in BLOCK_OF):
                ports = [self.port("IN1", e.left), self.port("IN2", e.right)]
                return Sign("block", BLOCK_OF[e.op], ports=ports, outputs=["OUT"])
            given = arguments_of(e) if isinstance(e, sx.Call) else None
            if isinstance(e, sx.Call) and given:
                ports = [self.port(name, value) for name, value in given]
                return Sign("block", e.function.upper(), ports=ports, outputs=["OUT"])
        # A variable of the network may show any expression.
        return Sign("inVariable", write_expression(e))


def _is_short(e: sx.Expression) -> bool:
    """Whether an expression is drawn again rather than its NOT led on by a wire."""
    if isinstance(e, sx.Unary):
        return _is_short(e.operand)
    return isinstance(e, sx.Name | sx.Member | sx.Direct)


def _in_outs(unit: sx.Unit | None) -> frozenset[str]:
    declared = unit.declarations if unit is not None else ()
    both = [d for d in declared if d.kind == "VAR_IN_OUT"]
    return frozenset(name.text.casefold() for d in both for name in d.names)
