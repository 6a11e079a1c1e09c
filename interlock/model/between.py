"""What may happen between two scans: an assumption, which every result names.

The program sees the plant only when it scans. How much of what plant and people do it may miss in
between is not in the program and not in the plant, so a model states it in `run: between_scans`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

_NUMBERS = ("one", "two", "three", "four", "five", "six", "seven", "eight")

BetweenText = Literal[
    "one in all",
    "two in all",
    "three in all",
    "four in all",
    "five in all",
    "six in all",
    "seven in all",
    "eight in all",
    "each once",
    "any number",
]

BY_DEFAULT: BetweenText = "each once"
"""What a model that says nothing assumes: no machine and no person waits for another's scan."""

MOST_TURNS = 8
"""What could move more often than this between two scans may move any number of times: no less."""


@dataclass(frozen=True)
class BetweenScans:
    """How many moves of plant and people may come between two scans.

    Attributes
    ----------
    in_all : int or None
        So many of all together; None where their number is not limited.
    is_each_once : bool
        Whether every machine and every control moves at most once. Where neither limits them, any
        number of moves may come.
    """

    in_all: int | None
    is_each_once: bool = False

    @classmethod
    def read(cls, text: str) -> BetweenScans:
        """What a model file or ``--assume`` says.

        Raises
        ------
        ValueError
            If it is none of `BetweenText`.
        """
        known = {str(one): one for one in ALL}
        if text not in known:
            raise ValueError(f"'{text}' is none of {', '.join(known)}")
        return known[text]

    def __str__(self) -> str:
        if self.in_all is not None:
            return f"{_NUMBERS[self.in_all - 1]} in all"
        return "each once" if self.is_each_once else "any number"

    @property
    def says(self) -> str:
        """The assumption as a sentence without an end."""
        if self.in_all is not None:
            moves = "move" if self.in_all == 1 else "moves"
            return f"at most {_NUMBERS[self.in_all - 1]} {moves} in all between two scans"
        if self.is_each_once:
            return "every machine and every control moves at most once between two scans"
        return "any number of moves between two scans"

    @property
    def weaker(self) -> tuple[BetweenScans, ...]:
        """The assumptions of which this one is a special case, each weaker than the one before."""
        if self.in_all == 1:
            return EACH_ONCE, ANY_NUMBER
        return () if self == ANY_NUMBER else (ANY_NUMBER,)


ONE_IN_ALL = BetweenScans(1)
EACH_ONCE = BetweenScans(None, is_each_once=True)
ANY_NUMBER = BetweenScans(None)
ALL = (*map(BetweenScans, range(1, 9)), EACH_ONCE, ANY_NUMBER)


def most_turns(least_seconds: Iterable[float], scan_ms: int) -> int | None:
    """How often a machine may move between two scans that are `scan_ms` apart, where each may once.

    Where it is said how long its moves take at least, so often as the shortest of them ends in
    one scan's time: at the ends of n moves in a row n - 1 times that duration lies between the
    first and the last, which must be less than the scan's time. None for any number.
    """
    given = list(least_seconds)
    if not given:
        return 1
    shortest_ms = 1000 * Fraction(str(min(given)))
    if shortest_ms * MOST_TURNS < scan_ms:
        return None
    return math.ceil(scan_ms / shortest_ms)
