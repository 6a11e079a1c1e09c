"""In which order the elements of a body are evaluated, and which wires lead back.

Source: IEC 61131-3, evaluation of networks (from memory): an element is evaluated when all that
comes into it is; networks from top to bottom; a wire that leads back carries the value of the
evaluation before. Where executionOrderId is given, it decides.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from interlock.exchange.nodes import Node

_MOST_LOOPS = 500
# What does something when its turn comes; all else is evaluated when it is needed.
_ACTS = frozenset(("coil", "outVariable", "jump", "return"))
_Edge = tuple[Node, Node]


@dataclass
class Evaluation:
    """The order of evaluation of one network, or of several whose elements take turns.

    Attributes
    ----------
    nodes : list of Node
        Each once.
    back : set of (Node, Node)
        Wires, from what gives to what takes, that carry the value of the evaluation before.
    """

    nodes: list[Node] = field(default_factory=list)
    back: set[_Edge] = field(default_factory=set)


def sequences(nodes: Sequence[Node], acts: Callable[[Node], bool]) -> list[Evaluation | Node]:
    """The networks of a body in their order, with the labels that stand between them.

    Parameters
    ----------
    nodes : sequence of Node
    acts : callable
        Whether a node does something when its turn comes.

    Raises
    ------
    InputError
        Where the numbers of execution contradict the order of networks.
    """
    networks = networks_of(nodes)
    doing = [[node for node in network if acts(node)] for network in networks]
    all_acting = [node for part in doing for node in part]
    jumps = any(node.kind in ("label", "jump") for node in nodes)
    if all_acting and not jumps and all(node.order is not None for node in all_acting):
        return [sequence(nodes, all_acting, _by_order)]
    found: list[Evaluation | Node] = []
    for network in in_order(networks):
        if network[0].kind == "label":
            found.append(network[0])
            continue
        found.append(sequence(network, [n for n in network if acts(n)], _acting))
    return found


def acts_by_itself(node: Node) -> bool:
    """Whether a node other than a block does something when its turn comes."""
    return node.kind in _ACTS or (node.kind == "inOutVariable" and bool(node.pins))


def _reading(node: Node) -> tuple[float, float, int]:
    """From top to bottom, then from left to right."""
    return (*node.at, node.number)


def _leftmost(node: Node) -> tuple[bool, int, float, float, int]:
    """From left to right, then from top to bottom; by number where there is one."""
    top, left = node.at
    return (node.order is None, node.order or 0, left, top, node.number)


def _by_order(nodes: Iterable[Node]) -> list[Node]:
    return sorted(nodes, key=lambda node: (node.order or 0, *_reading(node)))


def _acting(nodes: list[Node]) -> list[Node]:
    """The order in one network: numbers first where they say something else than places do."""
    by_place = sorted(nodes, key=_reading)
    numbered = [node.order for node in by_place if node.order is not None]
    if numbered == sorted(numbered):
        return by_place
    rest = [node for node in by_place if node.order is None]
    return [*_by_order(node for node in nodes if node.order is not None), *rest]


# Networks


def networks_of(nodes: Sequence[Node]) -> list[list[Node]]:
    """The networks of a body: what hangs together by wires, rails left aside."""
    root = {id(node): node for node in nodes}

    def find(node: Node) -> Node:
        while root[id(node)] is not node:
            root[id(node)] = root[id(root[id(node)])]
            node = root[id(node)]
        return node

    for node in nodes:
        for pin in node.pins:
            for source, _ in pin.sources:
                if id(source) in root and source.kind != "leftPowerRail":
                    one, other = find(source), find(node)
                    if one is not other:
                        root[id(max(one, other, key=lambda n: n.number))] = min(
                            one, other, key=lambda n: n.number
                        )
    found: dict[int, list[Node]] = {}
    for node in nodes:
        if node.kind != "leftPowerRail":
            found.setdefault(id(find(node)), []).append(node)
    return list(found.values())


def in_order(networks: list[list[Node]]) -> list[list[Node]]:
    """Networks in the order in which they are evaluated.

    Raises
    ------
    InputError
        Where the numbers of execution contradict their places.
    """
    # Some editors give no positions; then the file's order is meant.
    is_flat = len({node.at for network in networks for node in network}) <= 1

    def place(network: list[Node]) -> tuple[float, int, float, int]:
        top, left, number = min(map(_reading, network))
        is_label = network[0].kind == "label" and not is_flat
        return (top, int(not is_label), left, number)

    found = sorted(networks, key=place)
    first = [
        (min(n.order for n in network if n.order is not None), network)
        for network in found
        if any(n.order is not None for n in network)
    ]
    numbers = [number for number, _ in first]
    if numbers != sorted(numbers) and len(found) > 1:
        later = next(network for (n, network), m in zip(first, numbers[1:], strict=False) if m < n)
        node = min(later, key=_reading)
        says = (
            "the numbers of execution (executionOrderId) contradict the order of networks from top "
            "to bottom; number all elements or none"
        )
        raise node.refuse(says)
    return found


# The order in one network


def sequence(
    nodes: Sequence[Node],
    roots: Sequence[Node],
    by_turn: Callable[[list[Node]], list[Node]] = list,
) -> Evaluation:
    """What `roots` need, and they themselves, in the order of evaluation.

    Parameters
    ----------
    nodes : sequence of Node
    roots : sequence of Node
    by_turn : callable
        Puts roots into the order in which their turns come.

    Raises
    ------
    InputError
        Where so many wires lead back that nobody could tell what it means.
    """
    found = Evaluation(back=_wires_back(nodes))
    done: set[int] = set()
    within = {id(node) for node in nodes}
    # What is needed in the next evaluation only is evaluated in this one all the same.
    behind = {id(source): source for source, _ in found.back}
    extra = [s for s in nodes if id(s) in behind and s not in roots]
    for root in by_turn([*roots, *extra]):
        waiting = [(root, iter(needs(root)))]
        seen = {id(root)}
        while waiting:
            node, rest = waiting[-1]
            if id(node) in done:
                waiting.pop()
                continue
            source = next(rest, None)
            if source is None:
                waiting.pop()
                done.add(id(node))
                found.nodes.append(node)
                continue
            if id(source) in done or id(source) not in within or (source, node) in found.back:
                continue
            is_later = root.order is not None and (source.order or 0) > root.order
            if is_later or id(source) in seen:
                found.back.add((source, node))
                continue
            seen.add(id(source))
            waiting.append((source, iter(needs(source))))
    return found


def needs(node: Node) -> list[Node]:
    """What gives a node its values, in the order of its pins."""
    return [
        source for pin in node.pins for source, _ in pin.sources if source.kind != "leftPowerRail"
    ]


def _wires_back(nodes: Sequence[Node]) -> set[_Edge]:
    """The wires of each loop that lead back to the one of its elements that comes first."""
    back: set[_Edge] = set()
    waiting = [list(nodes)]
    n_loops = 0
    while waiting:
        part = waiting.pop()
        for loop in _loops(part, back):
            n_loops += 1
            first = min(loop, key=_leftmost)
            if n_loops > _MOST_LOOPS:
                raise first.refuse(f"more than {_MOST_LOOPS} wires lead back")
            members = {id(node) for node in loop}
            back |= {(source, first) for source in needs(first) if id(source) in members}
            waiting.append(loop)
    return back


def _loops(nodes: Sequence[Node], without: set[_Edge]) -> list[list[Node]]:
    """The groups of nodes that each lead to each other (Tarjan's algorithm, without recursion)."""
    within = {id(node) for node in nodes}
    index: dict[int, int] = {}
    low: dict[int, int] = {}
    stack: list[Node] = []
    on_stack: set[int] = set()
    found: list[list[Node]] = []

    def inner(node: Node) -> list[Node]:
        return [s for s in needs(node) if id(s) in within and (s, node) not in without]

    for start in nodes:
        if id(start) in index:
            continue
        waiting = [(start, iter(inner(start)))]
        index[id(start)] = low[id(start)] = len(index)
        stack.append(start)
        on_stack.add(id(start))
        while waiting:
            node, rest = waiting[-1]
            source = next(rest, None)
            if source is not None:
                if id(source) not in index:
                    index[id(source)] = low[id(source)] = len(index)
                    stack.append(source)
                    on_stack.add(id(source))
                    waiting.append((source, iter(inner(source))))
                elif id(source) in on_stack:
                    low[id(node)] = min(low[id(node)], index[id(source)])
                continue
            waiting.pop()
            if waiting:
                above = id(waiting[-1][0])
                low[above] = min(low[above], low[id(node)])
            if low[id(node)] == index[id(node)]:
                loop: list[Node] = []
                while not loop or loop[-1] is not node:
                    loop.append(stack.pop())
                    on_stack.discard(id(loop[-1]))
                if len(loop) > 1 or node in inner(node):
                    found.append(loop)
    return found
