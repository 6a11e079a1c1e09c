"""How far a value can go until something changes: doubling steps, then bisection.

Between the values that are tried nothing is known. So it is assumed that there is one edge in each
direction, and that is tried, too: on both sides of an edge its neighbours must be as it says. Where
they are not, every value from the first on is tried up to the first change.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Generic, TypeVar

T = TypeVar("T")

# So few values are all tried.
ALL_TRIED = 8


@dataclass(frozen=True)
class Side(Generic[T]):
    """What is known of the values to one side.

    Attributes
    ----------
    n_same : int
        So many steps on it is still the same.
    n_other : int or None
        So many steps on it is something else, the next step where it is decided; None where nothing
        else was met.
    found : T or None
        What it is there.
    is_decided : bool
        Whether all was answered that was asked; else there may be an edge just behind `n_same`.
    is_each_tried : bool
        Whether every value up to `n_same` was tried, so that nothing is assumed.
    has_more_edges : bool
        Whether beyond the edge it is the same again somewhere.
    tried : tuple of int
        How many steps away every value was that was tried.
    """

    n_same: int
    n_other: int | None = None
    found: T | None = None
    is_decided: bool = True
    is_each_tried: bool = False
    has_more_edges: bool = False
    tried: tuple[int, ...] = field(default=())


class _UndecidedError(Exception):
    """A value that was tried gave no answer."""


def look(base: T, at: Callable[[int], T | None], n_most: int) -> Side[T]:
    """How many steps in one direction it is the same as `base`.

    Parameters
    ----------
    base : T
    at : callable
        What it is so many steps away; None where that is not decided.
    n_most : int
        No more steps are made.

    Examples
    --------
    >>> side = look("holds", lambda n: "holds" if n < 100 else "violated", 1000)
    >>> side.n_same, side.n_other, side.found, side.is_each_tried
    (99, 100, 'violated', False)
    """
    return _Looking(base, at, n_most).side()


class _Looking(Generic[T]):
    def __init__(self, base: T, at: Callable[[int], T | None], n_most: int) -> None:
        self._base, self._at, self._most = base, at, n_most
        self._known: dict[int, T] = {0: base}

    def side(self) -> Side[T]:
        try:
            self._search()
        except _UndecidedError:
            return self._found(is_decided=False)
        return self._found(is_decided=True)

    def _search(self) -> None:
        if self._most <= ALL_TRIED:
            for n in range(1, self._most + 1):
                self._is_same(n)
            return
        same, other = 0, 1
        while self._is_same(other):
            same = other
            if same == self._most:
                return
            other = min(2 * other, self._most)
        while other - same > 1:
            middle = (same + other) // 2
            if self._is_same(middle):
                same = middle
            else:
                other = middle
        beyond = other == self._most or not self._is_same(other + 1)
        before = self._is_same(max(same - 1, 0))
        if not (beyond and before):
            n = 1
            while self._is_same(n):
                n += 1

    def _is_same(self, n: int) -> bool:
        if n not in self._known:
            found = self._at(n)
            if found is None:
                raise _UndecidedError
            self._known[n] = found
        return self._known[n] == self._base

    def _found(self, is_decided: bool) -> Side[T]:
        tried = sorted(self._known)
        others = [n for n in tried if self._known[n] != self._base]
        other = others[0] if others else None
        same = max(n for n in tried if other is None or n < other)
        return Side(
            same,
            other,
            None if other is None else self._known[other],
            is_decided,
            all(n in self._known for n in range(same + 1)),
            other is not None and any(n > other for n in tried if n not in others),
            tuple(tried),
        )
