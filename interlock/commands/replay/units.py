"""The units of time between samples: the times of a record, rounded outwards.

A run in true time is one in whole units, with everything that happens in it, samples among it, put
to the whole unit before or behind (see `interlock.model.clocks`). So a sample that was taken so
long after the first one comes after the whole units that fit in, or after one more; which of them
is not known, and samples that lie between two units may come on either.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Generic, TypeVar

from interlock.commands.replay.record import Row, mistake
from interlock.commands.replay.track import ANY_NUMBER
from interlock.model.timing import Timing

S = TypeVar("S")

At = Mapping[int, S]
"""What is possible, by the units that have passed since the first sample."""

# To tell when a sample would fit, so many units are tried beyond those that passed, and in all.
_FURTHER = 100
_MOST_TRIED = 1_000


@dataclass(frozen=True)
class Fits:
    """When a sample would fit that does not at its time, since the sample before.

    Attributes
    ----------
    passed_ms : float
        What did pass, by the record.
    above_ms, below_ms : int or None
        It fits at a time above the one, where that is to come, or below the other, where that
        is over.
    """

    passed_ms: float
    above_ms: int | None
    below_ms: int | None


class Since(Generic[S]):
    """How many units of time may have passed at a sample.

    Parameters
    ----------
    timing : Timing or None
        None where no time passes.
    """

    def __init__(self, timing: Timing | None) -> None:
        self._unit_ms = None if timing is None else timing.unit_ms
        self._first: float | None = None
        self._before: float | None = None

    def steps(self, row: Row, states: At[S]) -> Iterator[tuple[int, list[tuple[S, int]]]]:
        """For each number of units that may have passed: from where, and by how many more.

        Raises
        ------
        InputError
            Where time passes, and the row does not say when it was.
        """
        if self._unit_ms is None:
            yield 0, [(states[0], 0)]
            return
        if row.time_ms is None:
            said = "a record of a model with time needs a time in every row"
            raise mistake(row.place, said)
        if self._first is None:
            # Nobody knows for how long it had been going on.
            yield 0, [(states[0], ANY_NUMBER)]
            return
        passed = (row.time_ms - self._first) / self._unit_ms
        for units in sorted({math.floor(passed), math.ceil(passed)}):
            yield units, [(s, units - before) for before, s in states.items() if before <= units]

    def note(self, row: Row) -> None:
        """Note that the row was explained."""
        if self._first is None:
            self._first = row.time_ms
        self._before = row.time_ms

    def when_it_fits(
        self, row: Row, states: At[S], units_that_fit: Callable[[S, int], set[int]]
    ) -> Fits | None:
        """When the row would fit, where its time alone is what nothing explains.

        Parameters
        ----------
        row : Row
        states : At
        units_that_fit : callable
            After how many units, below a number of them, a set of states can show what the row
            does; with `ANY_NUMBER` in place of it, whether ever.
        """
        if self._unit_ms is None or self._first is None or self._before is None:
            return None
        assert row.time_ms is not None
        if not any(units_that_fit(state, ANY_NUMBER) for state in states.values()):
            return None
        passed_ms = row.time_ms - self._before
        now = math.ceil(passed_ms / self._unit_ms)
        most = min(now + _FURTHER, _MOST_TRIED)
        fitting = set().union(*(units_that_fit(state, most) for state in states.values()))
        if now >= _MOST_TRIED and _MOST_TRIED - 1 in fitting:
            return Fits(passed_ms, None, None)  # It may fit for longer than was tried.
        # So many units lie between two samples that are less than a unit farther apart, or nearer.
        later = [(n - 1) * self._unit_ms for n in fitting if n >= now]
        sooner = [(n + 1) * self._unit_ms for n in fitting if n < now]
        return Fits(passed_ms, min(later, default=None), max(sooner, default=None))
