"""Charts in text."""

from __future__ import annotations

from interlock.st import syntax as sx
from interlock.st.elaborate.state import Frame
from interlock.st.elaborate.statements import Statements


class Charts(Statements):
    """Reads charts."""

    def chart(self, unit: sx.Unit, own: Frame, out: list[sx.Statement]) -> None:
        """Read a chart."""
        raise self.reading.refuse(unit.place, "a chart is not supported yet")
