"""Strongly connected components, the slow and obvious way."""

from __future__ import annotations

from collections.abc import Callable


def components(nodes: set[int], targets: Callable[[int], list[int]]) -> list[set[int]]:
    """Strongly connected components, by two depth-first passes (Kosaraju's method, from memory)."""
    finished: list[int] = []
    before: dict[int, list[int]] = {node: [] for node in nodes}
    seen: set[int] = set()
    for root in sorted(nodes):
        stack = [(root, False)]
        while stack:
            node, is_done = stack.pop()
            if is_done:
                finished.append(node)
            elif node not in seen:
                seen.add(node)
                stack.append((node, True))
                for target in targets(node):
                    before[target].append(node)
                    stack.append((target, False))
    found = []
    placed: set[int] = set()
    for root in reversed(finished):
        if root in placed:
            continue
        members = {root}
        todo = [root]
        while todo:
            new = [n for n in before[todo.pop()] if n not in placed and n not in members]
            members.update(new)
            todo.extend(new)
        placed |= members
        found.append(members)
    return found
