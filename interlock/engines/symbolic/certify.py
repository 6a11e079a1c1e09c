"""From state sets to certificates: invariants and what endless runs and ways to a goal need.

The proof that no fair endless run stays inside a set follows the elimination by which such runs
are searched (`loops`): wherever a debt cannot be paid any more inside, a run that stays would
owe it for ever, so those states are left out, again and again, until none is left.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import islice
from typing import TYPE_CHECKING

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.symbolic.graph import Graph
from interlock.engines.symbolic.paths import Paths
from interlock.engines.symbolic.settled import settled_graph
from interlock.engines.symbolic.space import LimitError, Space
from interlock.kernel.certificate import (
    ALL,
    NO_ENDS,
    Case,
    Certificate,
    Decision,
    Invariant,
    Ladder,
    Rung,
    Shrinking,
    StateSets,
)
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.query import Limits, ProgressSink, Query, Reach, Stay, Trap
from interlock.kernel.system import MoveKind, Role, System

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

MOST_NODES = 2_000_000
"""How large all sets of one certificate may be together, but those of the invariant."""

WORTH_SPLITTING = 2000
"""From how many nodes on an invariant is split in cases. Measured: the demo vehicle's with one of
75 faults (14,500 nodes) takes a solver 1.5 min in cases, and more than 4 min as a whole."""
MOST_CASES = 300


def certify(
    system: System,
    queries: Sequence[Query],
    ends: Mapping[Trap, State] = NO_ENDS,
    limits: Limits = NO_LIMITS,
    progress: ProgressSink | None = None,
) -> Certificate | str:
    """The certificate of `queries` that were not found in `system`.

    Parameters
    ----------
    system : System
    queries : sequence of Query
        `Reach`, `Stay` and `Trap`.
    ends : mapping of Trap to State
        Further queries, which were found, each with the state that its run ends in.
    limits : Limits
    progress : callable, optional

    Returns
    -------
    Certificate or str
        The limit that was hit before there was an invariant, such as ``"seconds 10"``.

    Raises
    ------
    DeclinedError
        If the symbolic engine cannot take the system.
    ValueError
        If one of the queries is found: there is nothing to certify.
    """
    budget = Budget(limits, progress)
    try:
        # Rings are for runs; here only the set counts.
        space = Space(system, budget, breadth_first_work=0)
        space.explore()
        certifier = _Certifier(space)
    except LimitError:
        return budget.limit or "limit"
    except MemoryError:
        return "memory"
    return certifier.certificate(queries, ends)


class _Certifier:
    def __init__(self, space: Space) -> None:
        self._space = space
        settled = settled_graph(space)
        # One of scanned states is enough only where moves and scans are sure to take turns.
        self._settled = settled if settled is not None and settled.takes_turns else None
        self._graph: Graph = space if self._settled is None else self._settled
        self._sets: list[Node] = []
        self._numbers: dict[Node, int] = {}
        self._n_nodes = 0
        scans = {move.name for move in space.system.moves if move.kind is MoveKind.SCAN}
        # What a program answers ends with the next scan; asked first, that spares all others.
        self._debts = sorted(space.debts(), key=lambda debt: debt.move.name not in scans)
        self._home: tuple[State, tuple[Rung, ...]] | None = None
        self._has_home = True
        self._invariant = self._in_cases()

    def certificate(self, queries: Sequence[Query], ends: Mapping[Trap, State]) -> Certificate:
        dead_ends: dict[Trap, int] = {}
        stays: dict[Stay, tuple[Shrinking, ...]] = {}
        traps: dict[Trap, Ladder] = {}
        missing: dict[Query, str] = {}
        for query in [*queries, *ends]:
            before = len(self._sets), self._n_nodes, self._home
            try:
                match query:
                    case Trap() if query in ends:
                        dead_ends[query] = self._dead_end(ends[query])
                    case Stay(start, stay, ()):
                        stays[query] = self._shrinking(start, stay)
                    case Trap(goal):
                        traps[query] = self._ladder(goal)
                    case Reach(target, ()):
                        self._check_excluded(target)
                    case _:
                        raise TypeError(f"{type(query).__name__} is never found")
            except _TooLargeError:
                missing[query] = f"its certificate has more than {MOST_NODES:,} nodes"
            except LimitError:
                missing[query] = f"{self._space.budget.limit} reached before its certificate"
            except MemoryError:
                missing[query] = "memory ran out before its certificate"
            if query in missing:
                n_sets, self._n_nodes, self._home = before
                for node in self._sets[n_sets:]:
                    del self._numbers[node]
                del self._sets[n_sets:]
        sets = _graph(self._space, self._sets)
        return Certificate(sets, self._invariant, stays, traps, dead_ends, missing)

    def _keep(self, node: Node) -> int:
        if node not in self._numbers:
            self._n_nodes += node.node_count()
            if self._n_nodes > MOST_NODES:
                raise _TooLargeError
        return self._number(node)

    def _number(self, node: Node) -> int:
        if node not in self._numbers:
            self._numbers[node] = len(self._sets)
            self._sets.append(node)
        return self._numbers[node]

    def _in_cases(self) -> Invariant:
        """The invariant, by what has struck where that is worth it: each case is a small system."""
        found, is_scanned = self._graph.reached, self._settled is not None
        flags = self._lasting_flags() if found.node_count() > WORTH_SPLITTING else []
        parts = sorted(
            islice(self._space.encoding.split(found, flags), MOST_CASES + 1), key=lambda p: p[0]
        )
        if len(parts) > MOST_CASES:
            flags, parts = [], [((), found)]
        names = tuple(self._space.system.variables[v].name for v in flags)
        cases = tuple(Case(values, self._number(part)) for values, part in parts)
        return Invariant(is_scanned, names, cases)

    def _lasting_flags(self) -> list[int]:
        """Positions of what faults have set, if no scan writes it."""
        system = self._space.system
        written = {n for m in system.moves if m.kind is MoveKind.SCAN for n in m.updates}
        return [
            v
            for v, variable in enumerate(system.variables)
            if variable.role is Role.FAULT
            and variable.domain.size > 1
            and variable.name not in written
        ]

    def _check_excluded(self, target: Expr) -> None:
        if (self._space.reached & self._space.encoding.truth(target)).satisfiable():
            raise ValueError("a query that is found has no certificate")

    def _shrinking(self, start: Expr, stay: Expr) -> tuple[Shrinking, ...]:
        space = self._space
        _, core = space.lasting(start, stay)
        if (core & space.standstill()).satisfiable():
            raise ValueError("a query that is found has no certificate")
        steps: list[Shrinking] = []
        while core.satisfiable():
            before = core
            for debt in self._debts:
                able = space.closure_before(debt.paid(core), core)
                if able != core:
                    steps.append(Shrinking(self._keep(core), debt.move.name))
                    core = able
                if not core.satisfiable():
                    break
            if core == before:
                core = core & space.before(core)
                if core == before:
                    raise ValueError("a query that is found has no certificate")
                steps.append(Shrinking(self._keep(before), ""))
        return tuple(steps)

    def _ladder(self, goal: Expr) -> Ladder:
        """By way of one state that every other leads to, since its rungs serve every goal."""
        space = self._space
        where = space.reached & space.encoding.truth(goal)
        near = where if self._settled is None else self._settled.onward().leading_to(where)
        if not near.satisfiable():
            raise ValueError("a query that is found has no certificate")
        if self._home is None and self._has_home:
            home, at_home = self._picked(near)
            rungs = self._rungs(at_home)
            self._has_home = rungs is not None
            self._home = None if rungs is None else (home, rungs)
        if self._home is not None:
            state, rungs = self._home
            steps = Paths(space.onward()).between(state, where, space.reached)
            return Ladder(rungs, state, tuple(step.move for step in steps))
        rungs = self._rungs(near)
        if rungs is None:
            raise ValueError("a query that is found has no certificate")
        return Ladder(rungs)

    def _picked(self, states: Node) -> tuple[State, Node]:
        """One of the graph's states, and the set of it alone."""
        encoding = self._space.encoding
        if self._settled is None:
            state = encoding.pick(states)
            return state, encoding.is_state(state)
        state = encoding.pick(self._settled.widened(states))
        return state, self._settled.narrowed(encoding.is_state(state))

    def _dead_end(self, end: State) -> int:
        space = self._space
        start = space.encoding.is_state(end)
        return self._keep(space.onward().closure_after(start, space.reached))

    def _rungs(self, goal: Node) -> tuple[Rung, ...] | None:
        """Sets one move farther from `goal` each; None where not every state leads there.

        Each adds what a single move leads from, and outside of the invariant it may be any set:
        measured on the demo vehicle, that takes a solver seconds for all rungs; with every move
        tried at each rung, and the sets as they are, it took half an hour.
        """
        graph, able = self._graph, goal
        system = self._space.system
        forced = {move.name for move in system.moves} - system.onward.keys()
        # A step of settled states bears the name of its move.
        moves = [move for move in graph.moves if move.name not in forced]
        found = [("", goal)]
        while (graph.reached & ~able).satisfiable():
            before = able
            for move in moves:
                graph.check()
                more = able | move.preimage(able) & graph.reached
                if more != able:
                    able = more
                    found.append((move.name, able))
            if able == before:
                return None
        simplified = self._space.diagrams.simplified
        return tuple(
            Rung(self._keep(simplified(node, graph.reached)), move) for move, node in found
        )


class _TooLargeError(Exception):
    pass


def _graph(space: Space, sets: Sequence[Node]) -> StateSets:
    """The decision graph of `sets`, in the order in which their nodes are met."""
    names = {
        bit: (variable.name, len(bits) - 1 - n)
        for variable, bits in zip(space.system.variables, space.encoding.bits, strict=True)
        for n, bit in enumerate(bits)
    }
    known: dict[Node, int] = {space.diagrams.true: ALL}
    nodes: list[Decision] = []

    def edge(node: Node) -> int | None:
        if node in known:
            return known[node]
        complement = known.get(~node)
        return None if complement is None else -complement

    def build(root: Node) -> int:
        todo = [root]
        while todo:
            node = todo[-1]
            if edge(node) is not None:
                todo.pop()
                continue
            cofactors = node.cofactors()
            assert cofactors is not None
            high, low = (edge(cofactor) for cofactor in cofactors)
            if high is None or low is None:
                todo += [c for c in cofactors if edge(c) is None]
                continue
            todo.pop()
            bit = node.node_var()
            assert bit is not None
            known[node] = len(nodes) + 2
            nodes.append(Decision(*names[bit], low, high))
        found = edge(root)
        assert found is not None
        return found

    roots = tuple(build(node) for node in sets)
    return StateSets(tuple(nodes), roots)
