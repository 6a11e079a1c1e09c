"""Statements as diagrams of blocks."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.exchange.signs import Port, Sign
from interlock.exchange.writing.networks import Networks
from interlock.st import syntax as sx
from interlock.st.write_expressions import write_expression


@dataclass(frozen=True)
class Wired:
    """A wire, and whether it is meant negated; without a source it is always TRUE."""

    source: Sign | None = None
    output: str = ""
    negated: bool = False


class Diagram(Networks[Wired]):
    """Draws the statements of one unit as function blocks."""

    language = "FBD"

    def everything(self) -> Wired:
        """No condition."""
        return Wired()

    def is_everything(self, power: Wired) -> bool:
        """Whether there is no condition."""
        return power.source is None

    def power(self, e: sx.Expression, left: Wired) -> Wired:
        """The AND of what comes from the left and an expression."""
        return self._both(left, self._truth(e))

    def _both(self, left: Wired, right: Wired) -> Wired:
        if left.source is None:
            return right
        ports = [self.ported("IN1", left), self.ported("IN2", right)]
        return Wired(Sign("block", "AND", ports=ports, outputs=["OUT"]), "OUT")

    def _truth(self, e: sx.Expression) -> Wired:
        if isinstance(e, sx.Unary) and e.op == "NOT":
            inner = self._truth(e.operand)
            return Wired(inner.source, inner.output, not inner.negated)
        if isinstance(e, sx.Junction):
            ports = [self.truth_port(f"IN{n}", o) for n, o in enumerate(e.operands, 1)]
            return Wired(Sign("block", e.op, ports=ports, outputs=["OUT"]), "OUT")
        found = self.value(e)
        return Wired(found, "OUT" if found.kind == "block" else "")

    def unless(self, left: Wired, power: Wired) -> Wired:
        """The AND of what comes from the left and the NOT of a wire."""
        return self._both(left, Wired(power.source, power.output, not power.negated))

    def assigned(self, target: str, power: Wired, storage: str = "") -> Sign:
        """A variable that is assigned."""
        return Sign("outVariable", target, storage=storage, ports=[self.plain_port(power)])

    def plain_port(self, power: Wired) -> Port:
        """A port behind a NOT where the wire is meant negated."""
        if power.source is None or not power.negated:
            return self.ported("", power)
        port = Port("IN", [(power.source, power.output)])
        return Port("", [(Sign("block", "NOT", ports=[port], outputs=["OUT"]), "OUT")])

    def ported(self, name: str, power: Wired) -> Port:
        """A port, negated where the wire is meant so."""
        if power.source is None:
            return Port(name, [(Sign("inVariable", "TRUE"), "")])
        return Port(name, [(power.source, power.output)], negated=power.negated)

    def truth_port(self, name: str, e: sx.Expression) -> Port:
        """A port for a BOOL."""
        return self.ported(name, self._truth(e))

    def value(self, e: sx.Expression) -> Sign:
        """The sign that gives a value; of a BOOL by the blocks of its operators."""
        if isinstance(e, sx.Truth):
            return Sign("inVariable", write_expression(e))
        return super().value(e)
