"""What an engine can be asked, within which limits, and what it answers.

One call of `Engine.explore` explores a system once and answers every query. Every engine keeps
the same contract (`tests/contract`); an engine may decline a system by raising `DeclinedError`.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

from interlock.kernel.expr import TRUE, Expr
from interlock.kernel.system import MoveKind, System
from interlock.kernel.witness import Witness


@dataclass(frozen=True)
class Leg:
    """A part of a run that has to be gone through on the way to what a query asks for.

    A run goes along legs one after the other, the first from the initial state on. A leg begins
    in a state with `enter`; from a state of it the run goes on in it only where `inside` holds
    there, so its last state need not have that. The state that ends a leg begins the next, and
    one state may be all there is of a leg.

    Attributes
    ----------
    inside, enter : Expr
    scans : int
        At least so many scans are made in the leg before the next begins, or it has done its part.
    counted : MoveKind
        What is counted in the place of scans: units of time, where that is `MoveKind.TIME`.
    is_short : bool
        Whether no more than `scans` are made in the leg, rather than no fewer.
    """

    inside: Expr = TRUE
    enter: Expr = TRUE
    scans: int = 0
    counted: MoveKind = MoveKind.SCAN
    is_short: bool = False


Legs = tuple[Leg, ...]


@dataclass(frozen=True)
class Reach:
    """Can a state with `target` be reached? Found: a run of the fewest moves to one.

    With `along` it has to be a state of the last leg there, and such states are not counted.
    """

    target: Expr
    along: Legs = ()


@dataclass(frozen=True)
class Stay:
    """Is there a fair endless run that from a state with `start` on stays in `stay`?

    The state with `start` must lie in `stay` too, and need not be the first of the run; with
    `along` it has to be a state of the last leg there. Found: a run with a loop; its part up to
    the first such state from which the loop can be reached inside `stay` is a shortest one.
    """

    start: Expr
    stay: Expr
    along: Legs = ()


@dataclass(frozen=True)
class Trap:
    """Is there a reachable state from which no state with `goal` can be reached?

    Any move may be used to get to the goal but a fault's (`System.onward`): nobody counts on a
    fault to strike or to clear. Fairness plays no part. Found: a run of the fewest moves to such a
    state.
    """

    goal: Expr


@dataclass(frozen=True)
class Count:
    """In how many reachable states does `where` hold? Never 'found'."""

    where: Expr


@dataclass(frozen=True)
class Occurs:
    """Does `where` hold in some state of the last of the legs? Never 'found'.

    `Answer.n_states` is 1 if so and else 0.
    """

    where: Expr
    along: Legs


@dataclass(frozen=True)
class Values:
    """Which combinations of values do `exprs` take in reachable states with `where`?

    Never 'found'; the combinations are in `Answer.values`, sorted.
    """

    exprs: tuple[Expr, ...]
    where: Expr = TRUE


@dataclass(frozen=True)
class MostScans:
    """How many scans at most lie in the last of the legs before a state of it with `where`?

    The state need not have the leg's own `scans` behind it, but has no more: with these the run
    goes on no further. The last leg must not be a short one. Never 'found'; the number is the one
    value of `Answer.values`, which is empty where there is none.
    """

    where: Expr
    along: Legs


@dataclass(frozen=True)
class FewestScans:
    """How few scans lie in the last of the legs before a state of it with `where`?

    The last leg must be a short one: nothing is known of runs with more scans than it allows.
    Never 'found'; the number is the one value of `Answer.values`, empty where there is none.
    """

    where: Expr
    along: Legs


Query = Reach | Stay | Trap | Count | Occurs | Values | MostScans | FewestScans


@dataclass(frozen=True)
class Limits:
    """When an engine must give up; None is no limit. Giving up is never an answer.

    Attributes
    ----------
    max_states, max_seconds, max_bytes : number or None
        For one exploration.
    until : float or None
        When `max_seconds` end for all explorations together, on the clock of `time.monotonic`,
        which the processes of a machine share.
    """

    max_states: int | None = None
    max_seconds: float | None = None
    max_bytes: int | None = None
    until: float | None = field(default=None, compare=False)

    def elsewhere(self) -> Limits:
        """The same for another machine, whose clock is another: the seconds that are left."""
        if self.until is None:
            return self
        return replace(self, max_seconds=max(0.0, self.until - time.monotonic()), until=None)

    def from_now(self) -> Limits:
        """The same limits, their time for everything that is done from now on together."""
        if self.max_seconds is None:
            return self
        return replace(self, until=time.monotonic() + self.max_seconds)


@dataclass(frozen=True)
class Answer:
    """What became of one query.

    Attributes
    ----------
    found : bool or None
        True with a witness; False after everything reachable was looked at; None where a limit
        was hit before either.
    witness : Witness or None
    n_states : int
        For `Reach` without legs how many states satisfy the target, for `Count` how many satisfy
        `where`, for `Occurs` 1 if one does; for the others 0. A lower bound where the exploration
        was cut short.
    values : tuple of tuple of int
        For `Values` the combinations that occur, for `MostScans` and `FewestScans` the number;
        some may be missing where the exploration was cut short.
    """

    found: bool | None
    witness: Witness | None = None
    n_states: int = 0
    values: tuple[tuple[int, ...], ...] = ()


@dataclass(frozen=True)
class Exploration:
    """Everything one call of `explore` found.

    Attributes
    ----------
    engine : str
    answers : tuple of Answer
        One for each query, in order.
    n_states : int
        Reachable states (so far, if a limit was hit).
    n_moves : int or None
        Enabled (state, move) pairs of the explored states; None where an engine does not count
        them.
    depth : int or None
        Moves to the farthest state along shortest runs; None where the states were not found
        breadth first, as sets far too large for that are.
    limit : str or None
        The limit that was hit, such as ``"states 1,000,000"``, or None.
    seconds : float
        Wall time; never part of a report that must be the same twice.
    n_bytes : int
        Memory that the engine's own tables took, 0 where unknown.
    level_sizes : tuple of int
        New states at each depth; empty where `depth` is None.
    n_threads : int or None
        Threads there were, where the machine let fewer start than were to work; else None.
    because : str
        Why this engine was chosen; empty where nobody had to choose.
    """

    engine: str
    answers: tuple[Answer, ...]
    n_states: int
    n_moves: int | None
    depth: int | None
    limit: str | None
    seconds: float
    n_bytes: int = 0
    level_sizes: tuple[int, ...] = field(default=())
    n_threads: int | None = None
    because: str = ""


@dataclass(frozen=True)
class Progress:
    """Where a long exploration stands."""

    stage: str
    n_states: int
    depth: int
    seconds: float


ProgressSink = Callable[[Progress], None]


def labelled(progress: ProgressSink | None, label: str) -> ProgressSink | None:
    """A sink that says in front of each stage what it belongs to; None where nobody watches."""
    if progress is None:
        return None
    sink: ProgressSink = progress
    return lambda now: sink(replace(now, stage=f"{label}: {now.stage}"))


class DeclinedError(Exception):
    """An engine cannot take this system or query; the text says why."""


class TooManyValuesError(DeclinedError):
    """The engine makes something of each value of a variable, and there are too many."""


class TooMuchWorkError(DeclinedError):
    """The engine declines to go on.

    Attributes
    ----------
    n_states : int
        How many states it had surely found.
    """

    def __init__(self, text: str, n_states: int) -> None:
        super().__init__(text)
        self.n_states = n_states


class Engine(Protocol):
    """What every engine offers."""

    @property
    def name(self) -> str:
        """The engine's name, as a user gives it."""

    def explore(
        self,
        system: System,
        queries: Sequence[Query],
        limits: Limits = Limits(),
        progress: ProgressSink | None = None,
    ) -> Exploration:
        """Explore everything reachable in `system` and answer `queries`.

        Raises
        ------
        DeclinedError
            Where the engine cannot take the system or one of the queries.
        """
