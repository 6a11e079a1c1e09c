"""Random choices for makers of models and programs, many for one draw.

Hypothesis takes about a millisecond for each value of a strategy, and a model takes some hundreds
of them: drawn one by one they cost more than all that is then checked. A choice takes one byte
here, and bytes are drawn by the dozen; smaller bytes are smaller choices, so failures still shrink.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from hypothesis import strategies as st

T = TypeVar("T")

_AT_ONCE = 64
_BYTES = st.binary(min_size=_AT_ONCE, max_size=_AT_ONCE)


class Choices:
    """Chooses at random, as long as a test goes on drawing."""

    def __init__(self, draw: st.DrawFn) -> None:
        self._draw = draw
        self._left = iter(b"")

    def below(self, n: int) -> int:
        """One of 0 to `n` - 1, for `n` up to 256."""
        assert 0 < n <= 256, n
        byte = next(self._left, None)
        if byte is None:
            self._left = iter(self._draw(_BYTES))
            byte = next(self._left)
        return byte % n

    def between(self, least: int, greatest: int) -> int:
        """A whole number; both ends may come."""
        return least + self.below(greatest - least + 1)

    def maybe(self) -> bool:
        """One of FALSE and TRUE."""
        return self.below(2) == 1

    def pick(self, among: Sequence[T]) -> T:
        """One of several; the first is the simplest."""
        return among[self.below(len(among))]

    def some(self, among: Sequence[T], most: int, least: int = 0) -> list[T]:
        """From `least` to `most` different ones of several, or all where there are fewer."""
        return self.shuffled(among)[: self.between(least, min(most, len(among)))]

    def shuffled(self, among: Sequence[T]) -> list[T]:
        """All of them, in any order."""
        left = list(among)
        return [left.pop(self.below(len(left))) for _ in among]
