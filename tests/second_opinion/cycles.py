"""Strongly connected parts of a graph."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any


def components(
    inside: Sequence[bool], after: Sequence[Sequence[tuple[Any, int]]]
) -> list[list[int]]:
    """The strongly connected parts, among the nodes `inside`, that a run can stay in.

    Forward and backward search over and over: whatever a node reaches and is reached from lies
    with it. What is left over falls apart in what was reached, what reaches, and the rest.

    Parameters
    ----------
    inside : sequence of bool
        By node.
    after : sequence of sequence of (anything, int)
        For each node what follows it.

    Returns
    -------
    list of list of int
        Parts with at least one edge, each sorted.

    >>> components([True] * 4, [[("a", 1)], [("b", 0), ("c", 2)], [("d", 3)], []])
    [[0, 1]]
    """
    before: list[list[int]] = [[] for _ in after]
    following: list[list[int]] = [[] for _ in after]
    for number, edges in enumerate(after):
        for _, target in edges:
            if inside[number] and inside[target]:
                following[number].append(target)
                before[target].append(number)
    found = []
    todo = [{number for number, is_in in enumerate(inside) if is_in}]
    while todo:
        nodes = todo.pop()
        if not nodes:
            continue
        pivot = min(nodes)
        onward, backward = _from(pivot, following, nodes), _from(pivot, before, nodes)
        part = onward & backward
        if len(part) > 1 or pivot in following[pivot]:
            found.append(sorted(part))
        todo += [onward - part, backward - part, nodes - onward - backward]
    return sorted(found)


def _from(start: int, edges: Sequence[Sequence[int]], nodes: set[int]) -> set[int]:
    """What `start` reaches along `edges` within `nodes`."""
    seen = {start}
    todo = [start]
    while todo:
        for target in edges[todo.pop()]:
            if target in nodes and target not in seen:
                seen.add(target)
                todo.append(target)
    return seen
