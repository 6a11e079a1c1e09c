"""From state sets to certificates: invariants and what endless runs and ways to a goal need.

The proof that no fair endless run stays inside a set follows the elimination by which such runs
are searched (`loops`): wherever a debt cannot be paid any more inside, a run that stays would
owe it for ever, so those states are left out, again and again, until none is left.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.symbolic.paths import Paths
from interlock.engines.symbolic.space import LimitError, Space
from interlock.kernel.certificate import ALL, Certificate, Decision, Ladder, Shrinking, StateSets
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.query import Limits, ProgressSink, Query, Reach, Stay, Trap
from interlock.kernel.system import MoveKind, System

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

NO_ENDS: Mapping[Trap, State] = {}
MOST_NODES = 2_000_000
"""How large all sets of one certificate may be together."""


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
        space = Space(system, budget)
        space.explore()
    except LimitError:
        return budget.limit or "limit"
    except MemoryError:
        return "memory"
    return _Certifier(space).certificate(queries, ends)


class _Certifier:
    def __init__(self, space: Space) -> None:
        self._space = space
        self._sets: list[Node] = [space.reached]
        self._n_nodes = space.reached.node_count()
        scans = {move.name for move in space.system.moves if move.kind is MoveKind.SCAN}
        # What a program answers ends with the next scan; asked first, that spares all others.
        self._debts = sorted(space.debts(), key=lambda debt: debt.move.name not in scans)
        self._home: tuple[State, tuple[int, ...]] | None = None
        self._has_home = True

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
                    case Stay(start, stay):
                        stays[query] = self._shrinking(start, stay)
                    case Trap(goal):
                        traps[query] = self._ladder(goal)
                    case Reach(target):
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
                del self._sets[n_sets:]
        return Certificate(_graph(self._space, self._sets), stays, traps, dead_ends, missing)

    def _keep(self, node: Node) -> int:
        self._n_nodes += node.node_count()
        if self._n_nodes > MOST_NODES:
            raise _TooLargeError
        self._sets.append(node)
        return len(self._sets) - 1

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
        if not where.satisfiable():
            raise ValueError("a query that is found has no certificate")
        if self._home is None and self._has_home:
            home = space.encoding.pick(where)
            rungs = self._rungs(space.encoding.is_state(home))
            self._has_home = rungs is not None
            self._home = None if rungs is None else (home, rungs)
        if self._home is not None:
            state, rungs = self._home
            steps = Paths(space).between(state, where, space.reached)
            return Ladder(rungs, state, tuple(step.move for step in steps))
        rungs = self._rungs(where)
        if rungs is None:
            raise ValueError("a query that is found has no certificate")
        return Ladder(rungs)

    def _dead_end(self, end: State) -> int:
        space = self._space
        return self._keep(space.closure_after(space.encoding.is_state(end), space.reached))

    def _rungs(self, goal: Node) -> tuple[int, ...] | None:
        """Sets one move farther from `goal` each; None where not every state leads there."""
        space = self._space
        sets, able = [goal], goal
        while (space.reached & ~able).satisfiable():
            space.check()
            able = able | space.before(able) & space.reached
            if able == sets[-1]:
                return None
            sets.append(able)
        return tuple(self._keep(node) for node in sets)


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
