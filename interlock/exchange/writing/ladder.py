"""Statements as rungs of ladder."""

from __future__ import annotations

from interlock.exchange.signs import Port, Sign
from interlock.exchange.writing.drawable import CannotDrawError
from interlock.exchange.writing.networks import Networks
from interlock.st import syntax as sx
from interlock.st.write_expressions import write_expression

Joint = tuple[tuple[Sign, str], ...]
"""Wires that are joined: power comes where it comes by one of them."""
_ATOMS = (sx.Name, sx.Element, sx.Member, sx.Direct, sx.Pointed)
_OPPOSITE = {"AND": "OR", "OR": "AND"}


class Ladder(Networks[Joint]):
    """Draws the statements of one unit in ladder: AND in series, OR side by side."""

    language = "LD"

    def everything(self) -> Joint:
        """The power rail."""
        return ((self.rail, ""),)

    def is_everything(self, power: Joint) -> bool:
        """Whether it comes from the rail alone."""
        return power == self.everything()

    def power(self, e: sx.Expression, left: Joint) -> Joint:
        """Contacts behind what comes from the left."""
        return self._power(e, left, False)

    def _power(self, e: sx.Expression, left: Joint, is_not: bool) -> Joint:
        match e:
            case sx.Truth():
                return left if e.value != is_not else self._contact("FALSE", left, False)
            case sx.Unary() if e.op == "NOT":
                return self._power(e.operand, left, not is_not)
            case sx.Junction():
                op = _OPPOSITE[e.op] if is_not else e.op
                if op == "OR":
                    return self._side_by_side(e, left, is_not)
                return self._in_series(e, left, is_not)
            case _ if isinstance(e, _ATOMS):
                if not self.known.is_truth(e):
                    raise CannotDrawError("a condition whose type is not known", e.place)
                return self._contact(write_expression(e), left, is_not)
        return self._behind(left, [self._block(e, is_not)])

    def _side_by_side(self, e: sx.Junction, left: Joint, is_not: bool) -> Joint:
        found: list[tuple[Sign, str]] = []
        for operand in e.operands:
            for wire in self._power(operand, left, is_not):
                found += [wire] if wire not in found else []
        return self.everything() if (self.rail, "") in found else tuple(found)

    def _in_series(self, e: sx.Junction, left: Joint, is_not: bool) -> Joint:
        # A block stands at the left: nothing comes into it from there.
        blocks = [o for o in e.operands if _is_block(o)]
        if blocks:
            left = self._behind(left, [self._block(*_without_not(o, is_not)) for o in blocks])
        for operand in e.operands:
            if not _is_block(operand):
                left = self._power(operand, left, is_not)
        return left

    def _behind(self, left: Joint, blocks: list[Sign]) -> Joint:
        """Power where it comes from the left and all of `blocks` give TRUE."""
        if self.is_everything(left) and len(blocks) == 1:
            return ((blocks[0], "OUT"),)
        ports = [] if self.is_everything(left) else [list(left)]
        ports += [[(block, "OUT")] for block in blocks]
        joined = [Port(f"IN{number}", wires) for number, wires in enumerate(ports, 1)]
        return ((Sign("block", "AND", ports=joined, outputs=["OUT"]), "OUT"),)

    def _block(self, e: sx.Expression, is_not: bool) -> Sign:
        found = self.value(e)
        if found.kind == "block" and is_not:
            found.negated_outputs = frozenset(("OUT",))
        elif found.kind != "block":
            # An expression that is shown as text.
            port = Port("IN", [(found, "")])
            found = Sign("block", "NOT" if is_not else "MOVE", ports=[port], outputs=["OUT"])
        return found

    def _contact(self, text: str, left: Joint, is_not: bool) -> Joint:
        return ((Sign("contact", text, negated=is_not, ports=[Port("", list(left))]), ""),)

    def unless(self, left: Joint, power: Joint) -> Joint:
        """A NOT of the wire, behind what comes from the left."""
        inner = Sign("block", "NOT", ports=[Port("IN", list(power))], outputs=["OUT"])
        return self._behind(left, [inner])

    def assigned(self, target: str, power: Joint, storage: str = "") -> Sign:
        """A coil."""
        return Sign("coil", target, storage=storage, ports=[Port("", list(power))])

    def ported(self, name: str, power: Joint) -> Port:
        """A port behind contacts."""
        return Port(name, list(power))

    def plain_port(self, power: Joint) -> Port:
        """As of a block."""
        return self.ported("", power)

    def truth_port(self, name: str, e: sx.Expression) -> Port:
        """A port behind contacts; a variable alone stands at the port itself."""
        plain, is_not = _without_not(e, False)
        if isinstance(plain, (*_ATOMS, sx.Truth)):
            shown = Sign("inVariable", write_expression(plain))
            return Port(name, [(shown, "")], negated=is_not)
        return Port(name, list(self.power(e, self.everything())))

    def _written(self, target: str, e: sx.Expression) -> Sign:
        if isinstance(e, sx.Truth) and not e.value:
            found = self.assigned(target, self.everything())
            found.negated = True
            return found
        return super()._written(target, e)


def _without_not(e: sx.Expression, is_not: bool) -> tuple[sx.Expression, bool]:
    while isinstance(e, sx.Unary) and e.op == "NOT":
        e, is_not = e.operand, not is_not
    return e, is_not


def _is_block(e: sx.Expression) -> bool:
    plain, _ = _without_not(e, False)
    return not isinstance(plain, (*_ATOMS, sx.Truth, sx.Junction))
