"""Fault trees: what they are made of, and walking over them.

A tree is a directed graph without cycles; a gate or event may feed several gates and then means
the same occurrence everywhere. Basic events are independent of each other: put a common cause in
as an event of its own.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from enum import Enum

from interlock.base.errors import Mistake
from interlock.reliability.figures import check_fraction, check_rate, two_figures


class GateKind(Enum):
    """When a gate's output occurs, given its inputs."""

    ANY = "any of"
    ALL = "all of"
    AT_LEAST = "at least"  # k of the inputs
    EXACTLY_ONE = "exactly one of"  # with two inputs the exclusive OR of IEC 61025
    NOT = "not"


class EventKind(Enum):
    """What a basic event is; in a cut set they are told in this order."""

    LATENT = "latent"  # a fault that may have been there for long, unannounced
    FAULT = "fault"
    HUMAN = "human"


@dataclass(frozen=True)
class BasicEvent:
    """Something that happens or not, independently of the other basic events.

    Attributes
    ----------
    name : str
    probability : float
        0..1.
    says : str
        The event in the trade's words.
    source : str
        Where the figure comes from.
    rate_per_h, exposure_h : float or None
        What the probability was made of, where it was.
    """

    name: str
    probability: float
    says: str = ""
    source: str = ""
    kind: EventKind = EventKind.FAULT
    rate_per_h: float | None = None
    exposure_h: float | None = None

    def __post_init__(self) -> None:
        check_fraction(f"probability of {self.name}", self.probability)

    @classmethod
    def from_rate(
        cls,
        name: str,
        rate_per_h: float,
        exposure_h: float,
        says: str = "",
        source: str = "",
        kind: EventKind = EventKind.FAULT,
    ) -> BasicEvent:
        """An event that occurs at a constant rate, judged after a time without repair.

        Its probability is 1 − exp(−λt).
        """
        check_rate(f"rate of {name}", rate_per_h)
        check_rate(f"exposure of {name}", exposure_h)
        probability = -math.expm1(-rate_per_h * exposure_h)
        return cls(name, probability, says, source, kind, rate_per_h, exposure_h)

    @property
    def label(self) -> str:
        """What to call the event in a picture or a table."""
        return self.says or self.name

    @property
    def figure(self) -> str:
        """The probability as text, with its rate and exposure where it has them."""
        text = two_figures(self.probability)
        if self.rate_per_h is None or self.exposure_h is None:
            return text
        return f"{text} ({two_figures(self.rate_per_h)}/h for {two_figures(self.exposure_h)} h)"


@dataclass(frozen=True)
class HouseEvent:
    """A condition that is switched on or off for the whole analysis; it has no probability."""

    name: str
    occurs: bool
    says: str = ""

    @property
    def label(self) -> str:
        """What to call the condition in a picture or a table."""
        return self.says or self.name


@dataclass(frozen=True)
class Gate:
    """An event that others bring about.

    Attributes
    ----------
    name : str
    kind : GateKind
    inputs : tuple of str
        Names of gates and events.
    k : int
        For `AT_LEAST`, how many of the inputs; 0 otherwise.
    """

    name: str
    kind: GateKind
    inputs: tuple[str, ...]
    k: int = 0
    says: str = ""

    def __post_init__(self) -> None:
        if self.kind is GateKind.NOT and len(self.inputs) != 1:
            raise ValueError(f"gate {self.name}: 'not' takes one input, {len(self.inputs)} given")
        if self.kind is GateKind.AT_LEAST and not 1 <= self.k <= len(self.inputs):
            raise ValueError(f"gate {self.name}: {self.k} of {len(self.inputs)} inputs")

    @property
    def label(self) -> str:
        """What to call the gate in a picture or a table."""
        return self.says or self.name


Node = Gate | BasicEvent | HouseEvent


@dataclass(frozen=True)
class FaultTree:
    """A top event and what can bring it about. Checked when built.

    Attributes
    ----------
    top : str
        Name of the top event.
    nodes : mapping of str to Node
    title, source : str
    assumptions : tuple of str
        Told beside every figure.
    warnings : tuple of Mistake
        What a loader found odd but usable.

    Raises
    ------
    ValueError
        If a name is not declared or there is a cycle.
    """

    top: str
    nodes: Mapping[str, Node]
    title: str = ""
    source: str = ""
    assumptions: tuple[str, ...] = ()
    warnings: tuple[Mistake, ...] = field(default=(), compare=False)

    def __post_init__(self) -> None:
        gates = [node for node in self.nodes.values() if isinstance(node, Gate)]
        named = {self.top}.union(*(gate.inputs for gate in gates))
        unknown = sorted(named - set(self.nodes))
        if unknown:
            raise ValueError(f"not declared: {', '.join(unknown)}")
        cycle = find_cycle({gate.name: gate.inputs for gate in gates})
        if cycle:
            raise ValueError(f"cycle: {' → '.join(cycle)}")

    def walk(self) -> Iterator[Node]:
        """Every node below the top event, itself first: each once, gates before their inputs' own.

        The order is that in which a reader meets them, going down and from left to right.
        """
        seen: set[str] = set()
        todo = [self.top]
        while todo:
            name = todo.pop()
            if name in seen:
                continue
            seen.add(name)
            node = self.nodes[name]
            yield node
            if isinstance(node, Gate):
                todo.extend(reversed(node.inputs))

    def edges(self) -> Iterator[tuple[Gate, Node]]:
        """Every gate below the top event with each of its inputs, in the order of `walk`."""
        for node in self.walk():
            if isinstance(node, Gate):
                for name in node.inputs:
                    yield node, self.nodes[name]

    @property
    def events(self) -> list[BasicEvent]:
        """The basic events below the top event, in the order of `walk`."""
        return [node for node in self.walk() if isinstance(node, BasicEvent)]

    def upwards(self) -> list[Node]:
        """Every node below the top event, inputs before their gates."""
        order: list[Node] = []
        seen: set[str] = set()
        todo = [(self.top, False)]
        while todo:
            name, inputs_done = todo.pop()
            if inputs_done:
                order.append(self.nodes[name])
            elif name not in seen:
                seen.add(name)
                todo.append((name, True))
                node = self.nodes[name]
                if isinstance(node, Gate):
                    todo.extend((below, False) for below in reversed(node.inputs))
        return order

    def in_order(self, names: Iterable[str]) -> list[BasicEvent]:
        """Basic events as a reader wants them: latent faults, then faults, then human acts.

        A fault tree itself knows no order in time; this is one for reading only.
        """
        rank = {kind: number for number, kind in enumerate(EventKind)}
        chosen = [event for name in names if isinstance(event := self.nodes[name], BasicEvent)]
        return sorted(chosen, key=lambda event: (rank[event.kind], event.name))


def find_cycle(inputs: Mapping[str, Collection[str]]) -> list[str]:
    """A cycle among gates, its first name repeated at the end, or an empty list.

    Parameters
    ----------
    inputs : mapping of str to collection of str
        Gates and their inputs; names that are not keys end the search.
    """
    finished: set[str] = set()
    for start in inputs:
        path: list[str] = []
        on_path: set[str] = set()
        todo = [(start, False)]
        while todo:
            name, inputs_done = todo.pop()
            if inputs_done:
                on_path.discard(path.pop())
                finished.add(name)
            elif name in on_path:
                return [*path[path.index(name) :], name]
            elif name in inputs and name not in finished:
                path.append(name)
                on_path.add(name)
                todo.append((name, True))
                todo.extend((below, False) for below in inputs[name])
    return []
