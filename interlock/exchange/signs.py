"""Signs of a network that is to be drawn, and how they hang together."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

RAIL = "leftPowerRail"
# What stands at the right end of a network.
_LAST = frozenset(("coil", "outVariable", "return", "jump", "connector"))


@dataclass(eq=False)
class Port:
    """Where something comes into a sign.

    Attributes
    ----------
    name : str
        The formal parameter of a block; else empty.
    sources : list of (Sign, str)
        What is connected, with the output of a block; several are OR-ed.
    negated : bool
    edge : str
        ``rising``, ``falling`` or empty.
    """

    name: str = ""
    sources: list[tuple[Sign, str]] = field(default_factory=list)
    negated: bool = False
    edge: str = ""


@dataclass(eq=False)
class Sign:
    """A sign of a network.

    Attributes
    ----------
    kind : str
        The name of its element in the exchange format, such as ``contact``.
    text : str
        The variable or expression beside it; the type of a block; the name of a connector.
    instance : str
        Of a block; else empty.
    negated : bool
    storage : str
        ``set``, ``reset`` or empty.
    edge : str
        ``rising``, ``falling`` or empty.
    ports : list of Port
    outputs : list of str
        Of a block.
    negated_outputs : frozenset of str
        Those of `outputs` that are drawn with the sign of negation.
    in_outs : frozenset of str
        Which of a block's ports are in-outs, casefolded.
    id : str
        Its localId.
    """

    kind: str
    text: str = ""
    instance: str = ""
    negated: bool = False
    storage: str = ""
    edge: str = ""
    ports: list[Port] = field(default_factory=list)
    outputs: list[str] = field(default_factory=list)
    negated_outputs: frozenset[str] = frozenset()
    in_outs: frozenset[str] = frozenset()
    id: str = ""

    @property
    def is_last(self) -> bool:
        """Whether it stands at the right end of its network."""
        return self.kind in _LAST

    @property
    def is_block(self) -> bool:
        """Whether it is a box with pins."""
        return self.kind in ("block", "vendorElement")

    @property
    def n_lines(self) -> int:
        """How many lines its pins take, one below the other."""
        return max(1, len(self.ports), len(self.outputs)) if self.is_block else 1

    def line_of(self, output: str) -> int:
        """Which line one of its outputs is in, counted from 0."""
        if not self.is_block:
            return 0
        names = [name.upper() for name in self.outputs]
        if output.upper() in names:
            return names.index(output.upper())
        return next((n for n, name in enumerate(names) if name != "ENO"), 0)


def all_signs(roots: Iterable[Sign]) -> list[Sign]:
    """All signs that lead to `roots`, and these, each once; what gives stands before what takes."""
    found: list[Sign] = []
    seen: set[int] = set()
    for root in roots:
        waiting: list[tuple[Sign, bool]] = [(root, False)]
        while waiting:
            sign, is_done = waiting.pop()
            if is_done:
                found.append(sign)
                continue
            if id(sign) in seen:
                continue
            seen.add(id(sign))
            waiting.append((sign, True))
            inner = [source for port in sign.ports for source, _ in port.sources]
            waiting += [(source, False) for source in reversed(inner) if id(source) not in seen]
    return found
