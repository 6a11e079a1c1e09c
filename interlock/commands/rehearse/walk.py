"""Exploring everything that can happen while a script is performed and nobody else acts.

People who perform a script are willing: what they can do next they do, sooner or later, and they
never do anything else. They are slower than a scan: lamps and other done conditions are seen only
after one. So the script comes to its end unless the plant and the controller rest
where its next act is not possible.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from interlock.commands.rehearse.acts import Act, ActKind, Script
from interlock.commands.rehearse.successors import Breach, World
from interlock.kernel.evaluate import State
from interlock.kernel.query import Reach

# A state of the system, the next act of the script, the next act of the second person.
Node = tuple[State, int, int]
BY_NOBODY = -1  # an act without a move: something is seen, or passed over
MAIN, BESIDE = 1, 2


class WalkLimitError(Exception):
    """A walk grew beyond its limit; nothing is known of it."""


@dataclass(frozen=True)
class Rest:
    """Where a script can stay for ever.

    Attributes
    ----------
    act : int
        The next act, which does not become possible; the number of acts where the script is done.
    nodes : tuple of int
        Numbers of the nodes that are visited for ever.
    """

    act: int
    nodes: tuple[int, ...]


@dataclass
class Walk:
    """Everything reachable while a script is performed.

    Attributes
    ----------
    nodes : list of Node
        In breadth-first order.
    edges : list of list of (int, int)
        For each node the moves, by number, and the nodes that they lead to.
    parents : list of (int, int) or None
        For each node the node before it and the move between them.
    ready : list of int
        For each node who could act now, were no scan due.
    """

    world: World
    script: Script
    nodes: list[Node] = field(default_factory=list)
    edges: list[list[tuple[int, int]]] = field(default_factory=list)
    parents: list[tuple[int, int] | None] = field(default_factory=list)
    ready: list[int] = field(default_factory=list)

    def path(self, number: int) -> tuple[State, list[int]]:
        """Where the walk to a node starts, and the moves that lead to it, by number."""
        moves = []
        parent = self.parents[number]
        while parent is not None:
            number, move = parent
            if move != BY_NOBODY:
                moves.append(move)
            parent = self.parents[number]
        return self.nodes[number][0], moves[::-1]

    def arriving(self, act: int) -> list[State]:
        """Every state in which the act with a number, or a later one, can come next first."""
        found: dict[State, None] = {}
        for (state, at, _), parent in zip(self.nodes, self.parents, strict=True):
            if parent is None and at >= act:
                found[state] = None
        for source, edges in enumerate(self.edges):
            for _, target in edges:
                if self.nodes[source][1] < act <= self.nodes[target][1]:
                    found[self.nodes[target][0]] = None
        return list(found)

    @cached_property
    def rests(self) -> tuple[Rest, ...]:
        """Every place where the script can stay for ever though everybody does what is owed.

        To be asked of a walk that is finished.
        """
        parts = _fair_parts(self, range(len(self.nodes)))
        return tuple(Rest(self.nodes[part[0]][1], tuple(part)) for part in parts)


def walk(world: World, script: Script, starts: Iterable[State], most_nodes: int) -> Walk:
    """Explore a script from `starts`.

    Raises
    ------
    WalkLimitError
        Where there are more than `most_nodes` nodes.
    """
    return _Walker(world, script, most_nodes).walk(starts)


class _Walker:
    def __init__(self, world: World, script: Script, most_nodes: int) -> None:
        self.world = world
        self.script = script
        self.most = most_nodes
        self.result = Walk(world, script)
        self.index: dict[Node, int] = {}
        self.moves = [(self._numbers(a.moves), self._numbers(a.errors)) for a in script.acts]
        self.beside = [(self._numbers(a.moves), self._numbers(a.errors)) for a in script.beside]
        self.places = world.system.index

    def _numbers(self, names: Iterable[str]) -> list[int]:
        numbers = self.world.numbers
        return [numbers[name] for name in names if name in numbers]

    def walk(self, starts: Iterable[State]) -> Walk:
        result = self.result
        for state in starts:
            self._number((state, 0, 0), None)
        queue = deque(range(len(result.nodes)))
        while queue:
            number = queue.popleft()
            before = len(result.nodes)
            result.edges.append(self._expand(number))
            queue.extend(range(before, len(result.nodes)))
        return result

    def _number(self, node: Node, parent: tuple[int, int] | None) -> int:
        number = self.index.get(node)
        if number is None:
            number = len(self.result.nodes)
            if number >= self.most:
                raise WalkLimitError(f"states {self.most:,}")
            self.index[node] = number
            self.result.nodes.append(node)
            self.result.parents.append(parent)
        return number

    def _expand(self, number: int) -> list[tuple[int, int]]:
        state, act, other = self.result.nodes[number]
        known = self.world.known(state)
        edges = [
            (move, self._number((successor, act, other), (number, move)))
            for move, successor in known.unattended
        ]
        main = self._main(state, act, other)
        beside = self._beside(state, act, other)
        self.result.ready.append(MAIN * bool(main) + BESIDE * bool(beside))
        if main and self._may_act(state, self.script.acts[act]):
            onward = self._onward(state, act)
            for move in self._having_turn(state, main):
                after = self._after(state, move)
                edges.append((move, self._number((after, act + onward, other), (number, move))))
        if beside and self._may_act(state, self.script.beside[other]):
            for move in self._having_turn(state, beside):
                after = self._after(state, move)
                edges.append((move, self._number((after, act, other + 1), (number, move))))
        return edges

    def _after(self, state: State, move: int) -> State:
        return state if move == BY_NOBODY else self.world.after(state, move)

    def _having_turn(self, state: State, moves: list[int]) -> list[int]:
        """Those that need not wait for a scan."""
        return [m for m in moves if m == BY_NOBODY or self.world.has_turn(state, m)]

    def _may_act(self, state: State, act: Act) -> bool:
        """What is seen is what follows a scan."""
        waits = act.kind in (ActKind.BEGIN, ActKind.UNTIL)
        return not waits or state[self.world.phase] == 0

    def _onward(self, state: State, number: int) -> int:
        """How many acts on: a step that is done already is passed over, except beside another."""
        act = self.script.acts[number]
        if act.kind is ActKind.BEGIN and number not in self.script.window:
            assert act.done is not None
            if self.world.holds(act.done, state):
                return act.skips + 1
        return 1

    def _main(self, state: State, act: int, other: int) -> list[int]:
        """What the script's next act can be now."""
        script = self.script
        if act >= len(script.acts):
            return []
        if script.window and act == script.window[-1] and other < len(script.beside):
            return []
        return self._possible(state, script.acts[act], self.moves[act])

    def _beside(self, state: State, act: int, other: int) -> list[int]:
        if act not in self.script.window or other >= len(self.script.beside):
            return []
        return self._possible(state, self.script.beside[other], self.beside[other])

    def _possible(self, state: State, act: Act, moves: tuple[list[int], list[int]]) -> list[int]:
        match act.kind:
            case ActKind.DO:
                if state[self.places[act.machine]] in act.passed:
                    return [BY_NOBODY]
                ready = self.world.known(state).ready
                # Nobody errs where what is meant is possible: an error that nobody needs is not
                # what comes of a deviation.
                meant, errors = ([move for move in some if move in ready] for some in moves)
                return meant or errors
            case ActKind.UNTIL:
                assert act.done is not None
                return [BY_NOBODY] if self.world.holds(act.done, state) else []
            case _:
                return [BY_NOBODY]


def _fair_parts(found: Walk, inside: Collection[int]) -> list[list[int]]:
    """The strongly connected parts of the nodes in `inside` in which a fair run can stay."""
    result = []
    for part in _connected(found, inside):
        members = set(part)
        taken = {move for node in part for move, target in found.edges[node] if target in members}
        if not taken and any(found.edges[node] for node in part):
            continue
        owed: set[int] | None = None
        ready = MAIN | BESIDE
        for node in part:
            here = found.world.known(found.nodes[node][0]).owed
            owed = set(here) if owed is None else owed & here
            ready &= found.ready[node]
        if not (owed or set()) - taken and not ready:
            result.append(sorted(part))
    return result


def _connected(found: Walk, inside: Collection[int]) -> list[list[int]]:
    """Strongly connected parts, by Tarjan's algorithm (SIAM J. Comput. 1, 1972), iteratively."""
    order: dict[int, int] = {}
    low: dict[int, int] = {}
    stack: list[int] = []
    on_stack: set[int] = set()
    parts: list[list[int]] = []
    for root in inside:
        if root in order:
            continue
        work = [(root, iter(found.edges[root]))]
        order[root] = low[root] = len(order)
        stack.append(root)
        on_stack.add(root)
        while work:
            node, edges = work[-1]
            for _, target in edges:
                if target not in inside:
                    continue
                if target not in order:
                    order[target] = low[target] = len(order)
                    stack.append(target)
                    on_stack.add(target)
                    work.append((target, iter(found.edges[target])))
                    break
                if target in on_stack:
                    low[node] = min(low[node], order[target])
            else:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[node])
                if low[node] == order[node]:
                    part: list[int] = []
                    while not part or part[-1] != node:
                        part.append(stack.pop())
                        on_stack.discard(part[-1])
                    parts.append(part)
    return parts


@dataclass(frozen=True)
class Violation:
    """A requirement violated while a script is performed.

    Attributes
    ----------
    breach : Breach
    node : int
        Where it is violated, or where the staying starts.
    onward : tuple of int
        Moves from there to the loop, by number.
    loop : tuple of int or None
        Moves that repeat for ever, for what is violated by staying.
    """

    breach: Breach
    node: int
    onward: tuple[int, ...] = ()
    loop: tuple[int, ...] | None = None


def violations(found: Walk) -> list[Violation]:
    """For each violated requirement where that is seen first, in the order of the model."""
    verdicts = [found.world.known(node[0]).verdicts for node in found.nodes]
    # Nodes are many, and few of them differ in what is violated.
    first: dict[tuple[int, ...], int] = {}
    for number, values in enumerate(verdicts):
        first.setdefault(values, number)
    result: dict[str, Violation] = {}
    column = 0
    for breach in found.world.breaches:
        id_ = breach.question.requirement.id
        if isinstance(breach.query, Reach):
            bad = min((n for values, n in first.items() if values[column]), default=None)
            column += 1
            if bad is not None:
                result.setdefault(id_, Violation(breach, bad))
            continue
        holds, begins = column, column + 1
        column += 2
        if id_ not in result and any(values[holds] and values[begins] for values in first):
            stay = [n for n, values in enumerate(verdicts) if values[holds]]
            starts = [n for n in stay if verdicts[n][begins]]
            loop = _staying(found, breach, stay, starts)
            if loop is not None:
                result[id_] = loop
    return list(result.values())


def _staying(found: Walk, breach: Breach, stay: list[int], starts: list[int]) -> Violation | None:
    """A fair part inside `stay` that can be reached inside it from one of `starts`."""
    inside = set(stay)
    before: dict[int, tuple[int, int] | None] = dict.fromkeys(starts)
    queue = deque(starts)
    while queue:
        node = queue.popleft()
        for move, target in found.edges[node]:
            if target in inside and target not in before:
                before[target] = (node, move)
                queue.append(target)
    parts = _fair_parts(found, before)
    if not parts:
        return None
    loop = _round_trip(found, parts[0])
    start, onward = _back(before, parts[0][0])
    return Violation(breach, start, onward, loop)


def _back(before: Mapping[int, tuple[int, int] | None], node: int) -> tuple[int, tuple[int, ...]]:
    """Where a search started that came to `node`, and the moves of the way."""
    moves: list[int] = []
    step = before[node]
    while step is not None:
        node, move = step
        moves.append(move)
        step = before[node]
    return node, tuple(move for move in moves[::-1] if move != BY_NOBODY)


def _round_trip(found: Walk, part: list[int]) -> tuple[int, ...]:
    """Moves from the first node of `part` over every edge inside it and back."""
    members = set(part)
    moves: list[int] = []
    here = part[0]
    wanted = [(n, m, t) for n in part for m, t in found.edges[n] if t in members]
    for source, move, target in wanted:
        moves += _way(found, members, here, source)
        moves.append(move)
        here = target
    moves += _way(found, members, here, part[0])
    return tuple(move for move in moves if move != BY_NOBODY)


def _way(found: Walk, members: set[int], source: int, target: int) -> list[int]:
    """The fewest moves from one node to another inside a strongly connected part."""
    before: dict[int, tuple[int, int] | None] = {source: None}
    queue = deque([source])
    while target not in before:
        node = queue.popleft()
        for move, after in found.edges[node]:
            if after in members and after not in before:
                before[after] = (node, move)
                queue.append(after)
    return list(_back(before, target)[1])
