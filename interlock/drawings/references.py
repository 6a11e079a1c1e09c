"""References in a drawing: each leads to an element, and not through others to something huge.

What may be referred to refers to nothing itself, and what is used uses nothing. So nothing unfolds
more than twice, and one pass from the leaves to the root tells how far.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from interlock.base.errors import Mistake, nearest
from interlock.drawings import rules
from interlock.drawings.elements import Drawing, Node


@dataclass(frozen=True)
class _Size:
    """So many elements, and so many corners of lines, where they may carry a marker."""

    elements: int = 0
    corners: int = 0


class References:
    """Every reference of a drawing.

    Parameters
    ----------
    drawing : Drawing
    references_of : callable
        By what an element refers to another, and the id of that.
    """

    def __init__(
        self, drawing: Drawing, references_of: Callable[[Node], Iterable[tuple[str, str]]]
    ) -> None:
        self._ids = drawing.ids
        self._nodes = list(drawing.root.all())
        self._of = {id(node): tuple(references_of(node)) for node in self._nodes}
        self._using: set[int] = set()
        self._referring: set[int] = set()
        for node in reversed(self._nodes):
            below = {id(child) for child in node.elements}
            if node.tag == "use" or below & self._using:
                self._using.add(id(node))
            if self._of[id(node)] or below & self._referring:
                self._referring.add(id(node))
        self._written = self._summed({id(n): _Size(1, _corners(n)) for n in self._nodes})

    def check(self, mistakes: list[Mistake]) -> None:
        """Note every mistake; how far it unfolds is only asked where there is none."""
        for node in self._nodes:
            for _, id_ in self._of[id(node)]:
                says = self._why_not(node, id_)
                if says is not None:
                    mistakes.append(Mistake(node.place, says))
        if not mistakes:
            self._check_unfolded(mistakes)

    def _why_not(self, node: Node, id_: str) -> str | None:
        target = self._ids.get(id_)
        if target is None:
            return f"no element has the id '{id_[:40]}'{nearest(id_[:40], self._ids)}"
        if node.tag == "use":
            is_using = id(target) in self._using
            return f"'{id_}' holds a 'use' itself and cannot be used again" if is_using else None
        if target.tag not in rules.GRADIENTS and id(target) in self._referring:
            return f"'{id_}' refers to something itself and cannot be referred to"
        return None

    def _check_unfolded(self, mistakes: list[Mistake]) -> None:
        unfolded = self._summed({id(n): self._unfolding(n) for n in self._nodes})
        own = {id(n): _Size(self._repeating(n, unfolded[id(n)])) for n in self._nodes}
        repeated = self._summed(own)
        n_used = n_all = 0
        for node in self._nodes:
            target = self._used_by(node)
            if target is not None:
                n_used += self._written[id(target)].elements
                n_all += self._written[id(target)].elements + repeated[id(target)].elements
            n_all += own[id(node)].elements
            says = None
            if n_used > rules.MAX_USED:
                says = f"'use' repeats more than {rules.MAX_USED:,} elements"
            elif n_all > rules.MAX_REPEATED:
                says = f"references repeat more than {rules.MAX_REPEATED:,} elements"
            if says is not None:
                mistakes.append(Mistake(node.place, says))
                return

    def _summed(self, own: Mapping[int, _Size]) -> dict[int, _Size]:
        """What is given for each element, with that of everything below it."""
        found: dict[int, _Size] = {}
        for node in reversed(self._nodes):
            parts = [own[id(node)], *(found[id(child)] for child in node.elements)]
            found[id(node)] = _Size(sum(p.elements for p in parts), sum(p.corners for p in parts))
        return found

    def _unfolding(self, node: Node) -> _Size:
        """What an element alone becomes, with what is used in its place."""
        target = self._used_by(node)
        used = _Size() if target is None else self._written[id(target)]
        return _Size(1 + used.elements, _corners(node) + used.corners)

    def _repeating(self, node: Node, unfolded: _Size) -> int:
        """The elements that it and what takes its looks over from it repeat, but for its use."""
        n_repeated = 0
        for name, id_ in self._of[id(node)]:
            times = unfolded.corners if name.startswith("marker") else unfolded.elements
            n_repeated += (
                0 if name == "href" else times * self._written[id(self._ids[id_])].elements
            )
        return n_repeated

    def _used_by(self, node: Node) -> Node | None:
        if node.tag != "use":
            return None
        return next((self._ids[id_] for name, id_ in self._of[id(node)] if name == "href"), None)


def _corners(node: Node) -> int:
    """At least as many as the lines of an element have: each takes two characters."""
    return len(node.attributes.get("d", "") + node.attributes.get("points", "")) // 2
