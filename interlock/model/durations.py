"""How long things take, as a model says it."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from interlock.st.typed import Expression


@dataclass(frozen=True)
class Duration:
    """How long something takes: least and greatest, in seconds, and where that comes from."""

    least: float
    greatest: float
    source: str | None
    assumed: bool


@dataclass(frozen=True)
class Delay:
    """The greatest delay of a signal or an output; `in_scans` where the signal's age is it."""

    ms: float
    source: str | None
    assumed: bool
    in_scans: bool = False


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
