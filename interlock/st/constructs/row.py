"""What is said of one construct of a program."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum


class Fate(Enum):
    """What becomes of a construct."""

    TAKEN = "taken"
    LEFT_OUT = "left out"
    REFUSED = "refused"


@dataclass(frozen=True)
class Construct:
    """One construct: what becomes of it, its meaning or the reason, and an example that is tried.

    Attributes
    ----------
    name : str
    fate : Fate
        ``LEFT_OUT``: the program is taken without it, and this is told with its place.
    says : str
        The meaning that was chosen, or why it has none here.
    example : str
        A whole file; without a unit's head it is a PROGRAM.
    gives : mapping of str to int
        Values of outputs behind the first scan, all inputs FALSE and 0.
    told : str
        Part of what is told of the example: a note, a mistake, or a flaw in its scan.
    also : tuple of str
        Other words by which it is looked for.
    """

    name: str
    fate: Fate
    says: str
    example: str
    gives: Mapping[str, int] = field(default_factory=dict)
    told: str = ""
    also: tuple[str, ...] = ()


def taken(
    name: str, says: str, example: str, *also: str, told: str = "", **gives: int
) -> Construct:
    """A construct that is taken."""
    return Construct(name, Fate.TAKEN, says, example, gives, told, also)


def left_out(name: str, says: str, example: str, told: str, *also: str) -> Construct:
    """A construct that the program is taken without."""
    return Construct(name, Fate.LEFT_OUT, says, example, {}, told, also)


def refused(name: str, says: str, example: str, told: str, *also: str) -> Construct:
    """A construct that makes a program bad input."""
    return Construct(name, Fate.REFUSED, says, example, {}, told, also)
