"""What a commissioning sheet says: its rows, and what is covered, impossible or left open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from interlock.commands.testsheet.goals import Force, Goal
from interlock.model.model import Model


class Do(Enum):
    """Sorts of actions."""

    MOVE = "move"  # of a person, or of the plant while one waits
    FORCE = "force"  # at the terminals
    LOOK = "look"


class After(Enum):
    """What follows an action at the terminals."""

    NOTHING = "nothing"
    RESTORE = "restore"
    RESTART = "restore and restart"  # what the program remembers would not go by itself
    COLD_START = "restore and cold start"  # what RETAIN keeps is cleared


@dataclass(frozen=True)
class Row:
    """One row of a sheet.

    Attributes
    ----------
    number : int
        From 1.
    anew : bool
        It begins at power-up, everything in its initial place.
    prepare : tuple of str
        Moves of people, and of the plant while one waits, from where the row before ended.
    do : Do
    move : str or None
        The move that is tried.
    force : Force or None
        What is held at the terminals.
    after : After
    in_motion : bool
        The plant moves meanwhile.
    covers : tuple of str
        Ids of the goals that this row is the first to show; set by the measurement.
    shows : tuple of str
        Ids of all goals that it shows; set by the measurement.
    """

    number: int
    anew: bool
    prepare: tuple[str, ...]
    do: Do
    move: str | None = None
    force: Force | None = None
    after: After = After.NOTHING
    in_motion: bool = False
    covers: tuple[str, ...] = ()
    shows: tuple[str, ...] = ()


@dataclass(frozen=True)
class Expected:
    """What must be seen in a row.

    Attributes
    ----------
    changes : mapping of str to str
        Outputs that change, with their new value.
    lit : tuple of str
        Lamps and sounders that are on in the end.
    moves : tuple of str
        Machines that may be moving in the end; every other one must stand still.
    remains : mapping of str to str
        Outputs that are otherwise than before once it was let go, with their value then.
    flashing : tuple of str
        Outputs that keep changing in the end.
    """

    changes: Mapping[str, str]
    lit: tuple[str, ...]
    moves: tuple[str, ...]
    remains: Mapping[str, str]
    flashing: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """A commissioning sheet.

    Attributes
    ----------
    model : Model
    rows : tuple of Row
    expected : tuple of Expected
        For each row, as measured.
    goals : tuple of Goal
    impossible : frozenset of str
        Ids of goals that nothing shows which plant and people bring about, with one action at the
        terminals, once the program has come to rest; by exhaustive exploration.
    open : mapping of str to str
        Ids of goals that are not shown, each with the reason.
    not_injectable : tuple of str
        Ids of faults that cannot be brought about in a yard.
    left_out : tuple of str
        Inputs and outputs with more than two values: a terminal cannot be opened or bridged there.
    n_states : int
        States explored.
    n_moves_one_by_one : int
        Moves it would take to go to each goal from power-up on its own.
    n_least_rows, n_least_moves : int
        No sheet that stays in reachable states has fewer rows at the terminals, and none fewer
        moves; 0 where unknown.
    """

    model: Model
    rows: tuple[Row, ...]
    expected: tuple[Expected, ...]
    goals: tuple[Goal, ...]
    impossible: frozenset[str]
    open: Mapping[str, str]
    not_injectable: tuple[str, ...]
    left_out: tuple[str, ...]
    n_states: int
    n_moves_one_by_one: int = 0
    n_least_rows: int = 0
    n_least_moves: int = 0

    @property
    def covered(self) -> frozenset[str]:
        """Ids of the goals that the rows show, as measured."""
        return frozenset(id_ for row in self.rows for id_ in row.covers)

    @property
    def n_moves(self) -> int:
        """Moves of people and plant in all rows."""
        return sum(len(row.prepare) + (row.move is not None) for row in self.rows)

    @property
    def n_forced(self) -> int:
        """Rows with an action at the terminals."""
        return sum(row.force is not None for row in self.rows)

    @property
    def n_sequences(self) -> int:
        """How often the sheet begins at power-up."""
        return sum(row.anew for row in self.rows)
