"""The order of variables: neighbours in the system become neighbours in the diagrams.

Source: F. A. Aloul, I. L. Markov, K. A. Sakallah, "FORCE: a fast and easy-to-implement
variable-ordering heuristic", GLSVLSI 2003: every edge pulls its variables to its centre of
gravity, every variable goes to the mean of its edges, until the total span stops shrinking.

Measured (seconds of CPU) on generated interlocks of `tests/bench` with 30 fault flags: 0.2 in
this order, with at most 1,300 nodes; 28 in the order of declaration, with 350,000. With 40 flags
0.7 against more than 60. Leaving out the edges of more than `MOST_TIED` variables brought a
vehicle model of 77 variables, 20 of them faults, from 86 down to 14.

What counts the moves of a machine since the scan stands right behind the machine and has no say
in the order: every move of it reads and writes that, whatever else it has to do with. Measured on
the demo vehicle, each machine moving once between two scans: 19,000 nodes, and 55,000 where counts
are variables like any other. Settling 30 shuffled orders besides the declared one and its reverse
takes 0.25 and brings the same vehicle from 16,800 nodes down to 9,100, and from 3.9 to 2.1.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from random import Random

from interlock.kernel.expr import Expr, Op, const, substitute, topological, variables_of
from interlock.kernel.system import MOVED, System

Edge = tuple[int, ...]

MOST_TIED = 20
"""An update that reads more variables than this says little about which belong together."""

MOST_STARTS = 30
"""So many shuffled orders are settled as well, and the one of the least span is taken."""

FEW = 24
"""With so few variables no order costs much, and none is shuffled."""

MOST_PULLED = 4000
"""Edges of all these together, about; settling them takes some 0.3 s."""

WHICH = "which fault"
"""The variable of `exclusive` that stands for many flags: it splits each set before all others."""

MOST_CLOSE = 4
"""The few variables of a small part of an expression belong together, whatever it is part of."""

# Of so many systems the order is kept: some hundred numbers each, and their edges.
_KEPT = 16


def variable_order(system: System) -> list[int]:
    """Positions of the system's variables, the one decided first at the front."""
    index = system.index
    edges = _edges(_without_faults(system) if WHICH in index else system)
    first = [index[name] for name in (WHICH,) if name in index]
    start = [v for name, v in index.items() if name not in system.turns and v not in first]
    n_shuffled = min(MOST_STARTS, MOST_PULLED // (len(edges) + 1)) if len(start) > FEW else 0
    best = _settled(tuple(edges), tuple(start), n_shuffled)
    counted = {system.variables[v].name: v for v in best}
    beside = {v: index[MOVED + name] for name, v in counted.items() if MOVED + name in index}
    # Every move reads the phase. On top it splits each set into one part for each phase.
    top = [index[name] for name in system.turns if index[name] not in beside.values()]
    return top + first + [v for one in best for v in (one, beside.get(one)) if v is not None]


@lru_cache(_KEPT)
def _settled(edges: Sequence[Edge], start: Sequence[int], n_shuffled: int) -> Sequence[int]:
    """The order of least span; kept, since one model is often explored from many states."""
    orders = (_settle(edges, begun) for begun in _starts(start, n_shuffled))
    return min(orders, key=lambda order: _span(edges, order))


def _starts(given: Sequence[int], n_shuffled: int) -> Iterator[Sequence[int]]:
    """Orders to begin with: as declared, its reverse, and shuffled ones, the same every time."""
    yield given
    yield given[::-1]
    shuffled = list(given)
    chance = Random(0)
    for _ in range(n_shuffled):
        chance.shuffle(shuffled)
        yield tuple(shuffled)


def _without_faults(system: System) -> System:
    """The system where no fault is in force: most of what is reached is reached without any."""
    roots = [root for move in system.moves for root in (move.guard, *move.updates.values())]
    plain = iter(substitute(roots, {WHICH: const(0)}))
    moves = [
        replace(move, guard=next(plain), updates={name: next(plain) for name in move.updates})
        for move in system.moves
    ]
    return replace(system, moves=tuple(moves))


def _edges(system: System) -> list[Edge]:
    """Which variables depend on each other, one edge for each update and part of a guard."""
    found: dict[Edge, None] = {}
    turns = {WHICH, *system.turns}

    def join(names: Sequence[str]) -> None:
        places = {system.index[name] for name in names if name not in turns}
        if 1 < len(places) <= MOST_TIED:
            found[tuple(sorted(places))] = None

    for move in system.moves:
        written = [name for name in move.updates if name not in turns]
        for name, update in move.updates.items():
            join([name, *variables_of([update])])
        for part in _parts(move.guard):
            # A move that writes many variables, as a scan does, does not tie them together.
            join([*variables_of([part]), *(written if len(written) <= 3 else [])])
    for places in _close(system):
        found[places] = None
    return list(found)


def _close(system: System) -> list[Edge]:
    """Variables that meet in a small part of some expression.

    A fault stands beside the sensor that it falsifies, for instance: deep inside the updates of a
    scan, each of which reads nearly everything.
    """
    turns = {WHICH, *system.turns}
    roots = [root for move in system.moves for root in (move.guard, *move.updates.values())]
    few: dict[Expr, frozenset[int] | None] = {}
    found: dict[Edge, None] = {}
    for node in topological(roots):
        below = [few[arg] for arg in node.args]
        if node.op is Op.VAR:
            names = [] if node.name in turns else [system.index[node.name]]
            few[node] = frozenset(names)
            continue
        known = [places for places in below if places is not None]
        joined = frozenset[int]().union(*known)
        few[node] = joined if len(known) == len(below) and len(joined) <= MOST_CLOSE else None
        if few[node] is not None and len(joined) > 1:
            found[tuple(sorted(joined))] = None
    return list(found)


def _parts(guard: Expr) -> tuple[Expr, ...]:
    return guard.args if guard.op is Op.AND else (guard,)


def _settle(edges: Sequence[Edge], start: Sequence[int]) -> list[int]:
    order = list(start)
    best, best_span = order, _span(edges, order)
    patience = 10
    n_places = max(order, default=-1) + 1
    for _ in range(200):
        place = [0.0] * n_places
        for p, v in enumerate(order):
            place[v] = float(p)
        at = place.__getitem__
        pulls: list[list[float]] = [[] for _ in place]
        for edge in edges:
            centre = sum(map(at, edge)) / len(edge)
            for v in edge:
                pulls[v].append(centre)
        wish = [sum(p) / len(p) if p else where for p, where in zip(pulls, place, strict=True)]
        order = [v for *_, v in sorted((wish[v], place[v], v) for v in order)]
        span = _span(edges, order)
        if span < best_span:
            best, best_span, patience = order, span, 10
        else:
            patience -= 1
            if not patience:
                break
    return list(best)


def _span(edges: Sequence[Edge], order: Sequence[int]) -> int:
    place = [0] * (max(order, default=-1) + 1)
    for p, v in enumerate(order):
        place[v] = p
    span = 0
    for edge in edges:
        places = [place[v] for v in edge]
        span += max(places) - min(places)
    return span
