"""The changes of a file that are tried."""

from __future__ import annotations

import random

from tests.mutants.library import changed, places
from tests.mutants.mutant import Mutant, difference, function_at, left_out


class Mutants:
    """The changes of one file that are tried, from its first line to its last.

    Parameters
    ----------
    file : str
        Its name, which the mutants carry.
    source : str
    """

    def __init__(self, file: str, source: str) -> None:
        self._file = file
        self._source = source
        spans = left_out(source)
        self._spots = sorted(
            (start[0], operator, occurrence)
            for operator, occurrence, start, stop in places(source)
            if not any(first <= start and stop <= last for first, last in spans)
        )

    def all(self) -> list[Mutant]:
        """Every one."""
        return [mutant for spot in self._spots if (mutant := self._at(*spot)) is not None]

    def sample(self, size: int, seed: str) -> list[Mutant]:
        """So many of them, or all if there are not more; the same ones for the same seed."""
        spots, found = list(self._spots), list[Mutant]()
        random.Random(seed).shuffle(spots)
        while spots and len(found) < size:
            mutant = self._at(*spots.pop())
            found += [] if mutant is None else [mutant]
        return sorted(found, key=lambda m: (m.line, m.operator, m.occurrence))

    def of_line(self, text: str) -> list[Mutant]:
        """Those of the lines with this text, indentation aside."""
        lines = [line.strip() for line in self._source.splitlines()]
        found = (self._at(*spot) for spot in self._spots if lines[spot[0] - 1] == text)
        return [mutant for mutant in found if mutant is not None]

    def _at(self, line: int, operator: str, occurrence: int) -> Mutant | None:
        """One mutant, None where the result is no program."""
        text = changed(self._source, operator, occurrence)
        try:
            compile(text, self._file, "exec")
        except SyntaxError:
            return None
        before, after = difference(self._source, text)
        inside = function_at(self._source, line)
        return Mutant(self._file, operator, occurrence, line, inside, before, after)
