"""How long steps and procedures take, from the durations of the plant's moves.

Moves of different machines may go on at once, or one may wait for another; which, an interlock
model does not say. So a step takes at least as long as its slowest machine, and at most as long as
all moves one after the other. What people do takes the time that the step itself gives; where it
gives none, only the plant's moves are counted.
"""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from math import inf

from interlock.commands.rehearse.walk import BY_NOBODY, Walk
from interlock.kernel.system import MoveKind
from interlock.model.model import Duration, Model

Edges = Mapping[int, list[tuple[int, float]]]


@dataclass(frozen=True)
class PlantTime:
    """What the plant's moves take in one step.

    Attributes
    ----------
    takes : Duration
        The greatest is infinite where moves could repeat without end.
    unknown : tuple of str
        Moves of the plant in it that the model gives no duration: counted as none.
    """

    takes: Duration
    unknown: tuple[str, ...]


def plant_time(model: Model, found: Walk, begin: int, end: int) -> PlantTime | None:
    """What the plant takes from the act `begin` until the act `end` comes next.

    None where no move in between has a duration.
    """
    moves = {move.name: move for move in model.moves}
    inside = {n for n, node in enumerate(found.nodes) if begin <= node[1] < end}
    made: set[str] = set()
    edges: dict[int, list[tuple[str, int]]] = {}
    for node in inside:
        for number, target in found.edges[node]:
            name = "" if number == BY_NOBODY else found.world.moves[number].name
            made.add(name)
            edges.setdefault(node, []).append((name, target))
    known = [moves[n] for n in sorted(made) if n in moves]
    timed = {move.name: takes for move in known if (takes := move.takes) is not None}
    if not timed:
        return None
    starts = [n for n in inside if _is_start(found, n, begin)]
    goals = {t for n in inside for _, t in edges.get(n, ()) if found.nodes[t][1] >= end}
    longest = {name: takes.greatest for name, takes in timed.items()}
    greatest = _longest(_weighed(edges, longest), starts)
    least = 0.0
    for machine in {moves[name].machine for name in timed}:
        shortest = {n: _least(t) for n, t in timed.items() if moves[n].machine == machine}
        least = max(least, _shortest(_weighed(edges, shortest), starts, goals))
    unknown = [m.name for m in known if m.kind is MoveKind.PLANT and m.name not in timed]
    return PlantTime(founded_on(timed.values(), least, greatest), tuple(unknown))


def _least(takes: Duration) -> float:
    """What is left of a move at least; what goes on may have been begun in an earlier step."""
    return 0.0 if takes.goes_on else takes.least


def founded_on(parts: Collection[Duration], least: float, greatest: float) -> Duration:
    """A duration that was worked out from `parts`, with where they all come from."""
    sources = sorted({part.source for part in parts if part.source})
    return Duration(
        least, greatest, "; ".join(sources) or None, any(part.assumed for part in parts)
    )


def _is_start(found: Walk, number: int, begin: int) -> bool:
    parent = found.parents[number]
    return parent is None or found.nodes[parent[0]][1] < begin


def _weighed(
    edges: Mapping[int, list[tuple[str, int]]], seconds: Mapping[str, float]
) -> dict[int, list[tuple[int, float]]]:
    return {
        node: [(target, seconds.get(name, 0.0)) for name, target in out]
        for node, out in edges.items()
    }


def _shortest(edges: Edges, starts: Iterable[int], goals: Collection[int]) -> float:
    """The least weight of a way to a goal, by Dijkstra's algorithm; 0 where there is none."""
    queue = [(0.0, start) for start in starts]
    done: set[int] = set()
    while queue:
        so_far, node = heapq.heappop(queue)
        if node in goals:
            return so_far
        if node not in done:
            done.add(node)
            for target, weight in edges.get(node, ()):
                heapq.heappush(queue, (so_far + weight, target))
    return 0.0


def _longest(edges: Edges, starts: Iterable[int]) -> float:
    """The greatest weight of a way; infinite where a cycle has any.

    Relaxed once for every node, as by Bellman and Ford: what still grows then is on a cycle.
    """
    best = dict.fromkeys(starts, 0.0)
    changed = list(best)
    rounds = len(edges) + 1
    while changed and rounds:
        rounds -= 1
        again: dict[int, None] = {}
        for node in changed:
            for target, weight in edges.get(node, ()):
                if best[node] + weight > best.get(target, -1.0):
                    best[target] = best[node] + weight
                    again[target] = None
        changed = list(again)
    return inf if changed else max(best.values(), default=0.0)
