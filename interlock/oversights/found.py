"""What the study of a model's oversights finds, as plain data."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import Enum

from interlock.base.errors import Place


class Kind(Enum):
    """What sort of thing is worth a look."""

    MOVE_NEVER = "move never possible"
    STATE_NEVER = "state never reached"
    SENSOR_STILL = "sensor that never changes"
    MOVES_ALIKE = "two moves alike"
    MOVE_IDLE = "move that changes nothing"
    GUARD_FALSE = "guard that contradicts itself"
    FAULTS_ALIKE = "two faults alike"
    KEPT_BY_WORDS = "requirement kept whatever happens"
    SENSOR_UNREAD = "sensor never read"
    INPUT_UNREAD = "input never read"
    VARIABLE_UNREAD = "variable never read"
    VARIABLE_UNWRITTEN = "variable never written"
    OUTPUT_UNWRITTEN = "output never written"
    OUTPUT_TWICE = "output written twice in a scan"
    BLOCK_UNUSED = "function block without use"
    BLOCK_UNCALLED = "function block never called"


@dataclass(frozen=True)
class Oversight:
    """One thing that is worth a look.

    Attributes
    ----------
    place : Place
    says : str
        One sentence, without its full stop.
    kind : Kind
    """

    place: Place
    says: str
    kind: Kind

    def __str__(self) -> str:
        return f"{self.place}: {self.says}"


@dataclass(frozen=True)
class Looked:
    """Everything that is worth a look, and what could not be decided.

    Attributes
    ----------
    oversights : tuple of Oversight
        Sorted by place.
    undecided : tuple of str
        Sentences about what a limit left open; none of that is among the oversights.
    """

    oversights: tuple[Oversight, ...]
    undecided: tuple[str, ...] = ()


NOTHING = Looked(())
"""Nothing that is worth a look."""


def because_of_strict(looked: Looked) -> str:
    """Why a command ends with 1 although every requirement holds."""
    n = len(looked.oversights)
    things = "one thing is" if n == 1 else f"{n} things are"
    return f"Ends with 1 because of --strict alone: {things} worth a look."


def in_order(found: Iterable[Oversight]) -> tuple[Oversight, ...]:
    """Each of them once, sorted by place, and each in one line."""
    in_a_line = {replace(one, says=_printable(one.says)) for one in found}
    return tuple(sorted(in_a_line, key=lambda one: (one.place, one.says)))


def _printable(text: str) -> str:
    # A move's name may be any text; it must neither break the line nor turn it round.
    return "".join(c if c.isprintable() else "?" for c in text)


def seen_from(here: Place, there: Place) -> str:
    """``in line 12``, and of which file where that is another one, as in a revision.

    No folders: a report is the same wherever it is made.

    >>> seen_from(Place("a.yaml", 1, 1), Place("a.yaml", 12, 3))
    'in line 12'
    >>> seen_from(Place("b/a.yaml", 1, 1), Place("c/a.yaml", 12, 3))
    'in line 12 of another a.yaml'
    """
    at = f"in line {there.line}"
    name = there.file.replace("\\", "/").rpartition("/")[2]
    return at if here.file == there.file else f"{at} of another {name}"
