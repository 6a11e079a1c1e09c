"""Random requirements: every pattern, in every scope, in every way of judging."""

from __future__ import annotations

import random

from tests.second_opinion.names import Names

_SCOPES = ["", "", "", "before", "after", "between", "from"]
N_REQUIREMENTS = 8


def draw_requirements(by: random.Random, names: Names) -> list[str]:
    """One line of the model file for each of `N_REQUIREMENTS`."""
    return [f"  R{number}: {_requirement(by, names)}" for number in range(N_REQUIREMENTS)]


def _requirement(by: random.Random, names: Names) -> str:
    ask = _Ask(by, names)
    parts = ["says: asked at random", *ask.pattern()]
    if by.random() < 0.35:
        parts.append("judged: after scan")
    if ask.about_signals:
        parts.append("about: signals")
    return f"{{{', '.join(parts)}}}"


class _Ask:
    """Writes one requirement; what it says is likely neither always nor never so."""

    def __init__(self, by: random.Random, names: Names) -> None:
        self._by = by
        self._names = names
        self.about_signals = by.random() < 0.2

    def pattern(self) -> list[str]:
        """The pattern and its scope."""
        by = self._by
        patterns = ["never", "never", "always", "exists", "leads", "leads", "within", "after"]
        match by.choice([*patterns, "can"]):
            case "never":
                return [self._said("never", "AND"), *self._when(), *self._scope()]
            case "always":
                return [self._said("always", "OR"), *self._when(), *self._scope()]
            case "exists":
                return [self._said("exists", "OR"), *self._scope()]
            case "leads":
                return [*self._leads(), *self._scope()]
            case "within":
                bound = by.choice(["1 scans", "2 scans", "3 scans", "250 ms"])
                return [*self._leads(), f"within: {bound}", *self._scope()]
            case "after":
                event, first = self._said("event", "AND", 2), self._said("only_after", "OR")
                return [event, first, *self._scope()]
        return [self._said("can_still", "AND")]

    def _leads(self) -> list[str]:
        return [self._said("whenever", "AND", 2), self._said("leads_to", "OR")]

    def _when(self) -> list[str]:
        return [self._said("when", "OR")] if self._by.random() < 0.4 else []

    def _scope(self) -> list[str]:
        match self._by.choice(_SCOPES):
            case "before":
                return [f"scope: {{{self._said('before', 'AND')}}}"]
            case "after":
                return [f"scope: {{{self._said('after', 'AND')}}}"]
            case "between":
                return [f"scope: {{{self._said('between', 'OR')}, {self._said('and', 'AND')}}}"]
            case "from":
                return [f"scope: {{{self._said('from', 'OR')}, {self._said('until', 'AND')}}}"]
        return []

    def _said(self, key: str, word: str, most: int = 3) -> str:
        by, names = self._by, self._names
        more = names.bool_inputs if self.about_signals else []
        n_parts = min(most, by.choice([1, 1, 2, 2, 3]))
        parts = [by.choice(["", "", "NOT "]) + f"({names.atom(by, more)})" for _ in range(n_parts)]
        other = by.choice([word, word, word, "OR" if word == "AND" else "AND"])
        return f"{key}: '{f' {other} '.join(parts)}'"
