"""How long things take, as a model says it."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from interlock.base.errors import Place
from interlock.st.typed import Expression

STARTS_AGAIN, GOES_ON = INTERRUPTED = ("starts again", "goes on")
"""What becomes of what is interrupted, in a model file's words."""


@dataclass(frozen=True)
class Duration:
    """How long something takes: least and greatest, in seconds, and where that comes from.

    What is interrupted starts again, or `goes_on`: all that it was under way counts for its least.
    """

    least: float
    greatest: float
    source: str | None
    assumed: bool
    goes_on: bool = False


@dataclass(frozen=True)
class Span:
    """For how long something waits, in milliseconds; `greatest_ms` is None where it may wait on."""

    least_ms: Fraction
    greatest_ms: Fraction | None
    place: Place = field(default=Place("", 0, 0), compare=False)


@dataclass(frozen=True)
class Delay:
    """The greatest delay of a signal or an output.

    Attributes
    ----------
    ms : float
    source : str or None
    assumed : bool
    in_scans : bool
        The signal's age is it.
    in_time : bool
        It is counted in units of time, and decides what can happen.
    """

    ms: float
    source: str | None
    assumed: bool
    in_scans: bool = False
    in_time: bool = False
    place: Place = field(default=Place("", 0, 0), compare=False)


@dataclass(frozen=True)
class Stay:
    """What keeps something from happening until it has lasted for a time without a break.

    Where it is not so, nothing is waited for; what is so at first has lasted long enough.

    Attributes
    ----------
    name : str
        Alike for all that wait for the same.
    ms : Fraction
    condition : Expression
        What lasts, over the plant.
    """

    name: str
    ms: Fraction
    condition: Expression = field(compare=False)
