"""A recorded run against a model: explained to its end, or not from some sample on."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Generic, Protocol, TypeVar

from interlock.base.errors import Place
from interlock.commands.replay.columns import AS_NAMED, Mapped, Observed, observable
from interlock.commands.replay.record import Row, mistake
from interlock.commands.replay.record_file import opened
from interlock.commands.replay.track import ANY_NUMBER, Nearest, TooManyError, Tracker, Values
from interlock.commands.replay.track_by_diagrams import SetTracker
from interlock.commands.replay.units import At, Fits, Since
from interlock.kernel.expr import Expr
from interlock.kernel.query import DeclinedError
from interlock.kernel.system import Move, System
from interlock.model.build import FAULT_FREE, RunClass, build
from interlock.model.model import Model

MOVES_BETWEEN = 3
# Measured on the demo vehicle, 2,000 rows with six columns: 4 s of CPU and 180 MB; 13 s and 720 MB
# where up to 200,000 states are listed before sets are taken.
MOST_STATES = 20_000
# So many samples without a time are held back until the next time tells what is missing.
MOST_UNTIMED = 1_000
# After so long a silence every number of moves is possible.
LONG_GAP = 100
REPORT_EVERY = 20_000


@dataclass(frozen=True)
class Difference:
    """Where the nearest explanation differs from a sample."""

    name: str
    recorded: str
    explained: str


@dataclass(frozen=True)
class Deviation:
    """The first sample that nothing explains.

    Attributes
    ----------
    row : Row
    n_moves : int or None
        How many moves were allowed since the sample before; None for any number.
    possible : mapping of str to tuple of str
        For each machine, control, output and fault the values that were possible before, by the
        record up to there.
    n_possible : int
        How many states these were.
    differences : tuple of Difference
        Where the nearest state that is possible differs from the sample.
    way : tuple of Move
        How the nearest state comes about.
    fits : Fits or None
        When it would be explained, where only its time is not.
    """

    row: Row
    n_moves: int | None
    possible: dict[str, tuple[str, ...]]
    n_possible: int
    differences: tuple[Difference, ...]
    way: tuple[Move, ...]
    fits: Fits | None = None


@dataclass(frozen=True)
class Explained:
    """What became of a record.

    Attributes
    ----------
    model : Model
    run_class : RunClass
    observed : tuple of str
        What the record shows.
    moves_between : int
    n_rows : int
        Samples explained.
    n_gaps : int
        Times longer than the nominal period between two of them.
    most_possible : int
        The most states that were possible after one of them.
    deviation : Deviation or None
    limit : str or None
        Why it was not followed to its end.
    stopped_at : Row or None
        The sample that could not be followed.
    """

    model: Model
    run_class: RunClass
    observed: tuple[str, ...]
    moves_between: int
    n_rows: int
    n_gaps: int
    most_possible: int
    deviation: Deviation | None = None
    limit: str | None = None
    stopped_at: Row | None = None


def explain(
    model: Model,
    log: Path,
    mapped: Mapped = AS_NAMED,
    run_class: RunClass = FAULT_FREE,
    moves_between: int = MOVES_BETWEEN,
    anywhere: bool = False,
    most_states: int = MOST_STATES,
    progress: Callable[[int], None] | None = None,
) -> Explained:
    """Follow the record in `log` as far as `model` explains it.

    Parameters
    ----------
    model : Model
    log : Path
        CSV, or a value change dump.
    mapped : Mapped
        How the record reads.
    run_class : RunClass
        Which faults may explain it, too.
    moves_between : int
        How many moves of the plant and of people may lie between two samples; in a gap, so many
        for each sample that is missing.
    anywhere : bool
        The record may begin in any reachable state, not only at power-up.
    most_states : int
        How many possible states are listed one by one; where there are more at one time, the
        record is followed once more, with sets of them.
    progress : callable, optional
        Called with the number of rows every now and then.

    Raises
    ------
    InputError
        At the first place where the record is malformed, or where it shows no value at all.
    """
    built = build(model, run_class)
    known = observable(built)

    def followed(make: Callable[[System, list[Expr]], _Tracking[S]]) -> Explained:
        with opened(log, known, mapped) as record:
            tracker = make(built.system, [o.expr for o in record.observed])
            follower = _Follower(
                model, run_class, tracker, record.observed, mapped, moves_between, str(log)
            )
            return follower.follow(record.rows, anywhere, progress)

    listed = followed(partial(Tracker, after_scan=mapped.after_scan, most_states=most_states))
    if listed.limit is None:
        return listed
    try:
        return followed(partial(SetTracker, after_scan=mapped.after_scan))
    except (DeclinedError, MemoryError):
        return listed


S = TypeVar("S")


class _Tracking(Protocol[S]):
    """What follows the states that a system may be in; `S` is a set of them."""

    def start(self) -> S: ...
    def everywhere(self) -> S: ...
    def after(self, states: S, n_moves: int, values: Values, n_units: int, /) -> S: ...
    def together(self, some: S, others: S, /) -> S: ...
    def units_that_fit(self, states: S, n_moves: int, values: Values, most: int, /) -> set[int]: ...
    def count(self, states: S, /) -> int: ...
    def possible(self, states: S, /) -> dict[str, tuple[str, ...]]: ...
    def nearest(
        self, states: S, n_moves: int, values: Values, n_units: int, /
    ) -> Nearest | None: ...


class _Follower(Generic[S]):
    def __init__(
        self,
        model: Model,
        run_class: RunClass,
        tracker: _Tracking[S],
        observed: Sequence[Observed],
        mapped: Mapped,
        moves_between: int,
        file: str,
    ) -> None:
        self._model = model
        self._run_class = run_class
        self._tracker = tracker
        self._observed = observed
        self._period = mapped.period_ms
        self._moves_between = moves_between
        self._file = file
        self._since: Since[S] = Since(model.timing)
        self._last: float | None = None
        # Rows without a time that were not held back, since the last time.
        self._n_unclear = 0
        self._n_rows = self._n_gaps = self._n_values = self._most_possible = 0

    def follow(
        self, rows: Iterator[Row], anywhere: bool, progress: Callable[[int], None] | None
    ) -> Explained:
        first = self._tracker.start()
        row: Row | None = None
        try:
            if anywhere:
                first = self._tracker.everywhere()
            states: At[S] = {0: first}
            for row, n_moves in self._with_moves(rows):
                found = self._followed(row, states, n_moves)
                if not found:
                    return self._result(deviation=self._deviation(row, states, n_moves))
                states = found
                self._since.note(row)
                self._n_rows += 1
                self._n_values += len(row.values) - row.values.count(None)
                n_possible = sum(map(self._tracker.count, found.values()))
                self._most_possible = max(self._most_possible, n_possible)
                if progress is not None and self._n_rows % REPORT_EVERY == 0:
                    progress(self._n_rows)
        except TooManyError as error:
            return self._result(limit=str(error), stopped_at=row)
        if not self._n_values:
            raise mistake(Place(self._file, 1, 1), "the record shows no value of the model")
        return self._result()

    def _followed(self, row: Row, states: At[S], n_moves: int) -> dict[int, S]:
        """What is possible at a row, by the units of time that have passed; empty if nothing is."""
        tracker, possible = self._tracker, {}
        for units, ways in self._since.steps(row, states):
            found: S | None = None
            for before, n_units in ways:
                more = tracker.after(before, n_moves, row.values, n_units)
                found = more if found is None else tracker.together(found, more)
            if found is not None and tracker.count(found):
                possible[units] = found
        return possible

    def _result(
        self,
        deviation: Deviation | None = None,
        limit: str | None = None,
        stopped_at: Row | None = None,
    ) -> Explained:
        return Explained(
            self._model,
            self._run_class,
            tuple(o.name for o in self._observed),
            self._moves_between,
            self._n_rows,
            self._n_gaps,
            self._most_possible,
            deviation,
            limit,
            stopped_at,
        )

    def _with_moves(self, rows: Iterator[Row]) -> Iterator[tuple[Row, int]]:
        """Each row, and how many moves may have happened since the one before.

        Between two times there may be rows without one; what is missing may be missing before any
        of them.
        """
        untimed: list[Row] = []
        for row in rows:
            if row.time_ms is None and self._period is not None and len(untimed) < MOST_UNTIMED:
                untimed.append(row)
                continue
            n_missing = self._missing(row, len(untimed))
            n_moves = self._moves_between * (1 + n_missing)
            if n_missing >= LONG_GAP:
                n_moves = ANY_NUMBER
            for either in (*untimed, row):
                yield either, n_moves
            untimed = []
        for row in untimed:
            yield row, self._moves_between

    def _missing(self, row: Row, n_untimed: int) -> int:
        """How many samples are missing between the last time and this row."""
        if row.time_ms is None:
            self._n_unclear += n_untimed + 1
            return 0
        n_missing = 0
        if self._last is not None and self._period is not None:
            n_periods = round((row.time_ms - self._last) / self._period)
            n_missing = max(0, n_periods - 1 - n_untimed - self._n_unclear)
        self._last, self._n_unclear = row.time_ms, 0
        self._n_gaps += n_missing > 0
        return n_missing

    def _deviation(self, row: Row, states: At[S], n_moves: int) -> Deviation:
        tracker, ways = self._tracker, list(self._since.steps(row, states))
        near = [
            nearest
            for _, found in ways
            for before, n_units in found
            if (nearest := tracker.nearest(before, n_moves, row.values, n_units)) is not None
        ]
        differences: list[Difference] = []
        nearest = min(near, key=lambda one: self._far(one, row.values), default=None)
        if nearest is not None:
            for observed, seen, wanted in zip(
                self._observed, nearest.sight, row.values, strict=True
            ):
                if wanted is not None and seen != wanted:
                    show = observed.domain.show
                    differences.append(Difference(observed.name, show(wanted), show(seen)))
        before, *others = states.values()
        for other in others:
            before = tracker.together(before, other)
        return Deviation(
            row,
            None if n_moves == ANY_NUMBER else n_moves,
            tracker.possible(before),
            tracker.count(before),
            tuple(differences),
            () if nearest is None else tuple(nearest.way),
            self._since.when_it_fits(
                row,
                states,
                lambda s, most: tracker.units_that_fit(s, n_moves, row.values, most),
            ),
        )

    @staticmethod
    def _far(nearest: Nearest, values: Values) -> tuple[int, tuple[int, ...]]:
        pairs = zip(nearest.sight, values, strict=True)
        return sum(w is not None and w != s for s, w in pairs), nearest.sight
