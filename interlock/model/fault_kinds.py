"""What a fault can do: one row of `FAULT_KINDS` for each kind of effect.

A declared fault is a list of effects, each of one kind at one place. The builder and, written
apart, the judge's player read the facts of a row; model files, explanations and reports take its
keys and words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum


class Site(Enum):
    """Where a fault sits."""

    SIGNAL = "sensor"
    OUTPUT = "output"
    MACHINE = "machine"
    CONTROLLER = "controller"


@dataclass(frozen=True)
class FaultKind:
    """A kind of effect, as facts; how a model file asks for it, and how it is worded.

    Attributes
    ----------
    name : str
        What it is called, and what a signal or an output is that it holds.
    key : str
        Key of a fault in the model file that asks for it.
    says : mapping of Site to str
        What it does at each place where it can sit, in words: ``{name}`` is what it sits at, and
        ``{where}`` the states in which a machine is held.
    value : str or None
        For signals and outputs: value of `key`.
    key_says : str
        For machines and the controller: what an editor says of `key`.
    only_in : str or None
        For machines: a key that limits it to some of the states; `only_in_says` describes it.
    shows : (int, int) or None
        What a signal or an output is in its place where it would be FALSE and where TRUE.
    holds : bool
        That is said of the value at the strike, not of that of the moment.
    blocks : bool
        Its machine stays where it is.
    restarts : bool
        The controller starts again at the strike; RETAIN is kept.
    may_clear : bool
        An ``intermittent`` fault may do it.
    by_hand : tuple of Site
        Where hands at the terminals can do the same, if the model does not say otherwise.
    """

    name: str
    key: str
    says: Mapping[Site, str] = field(compare=False)
    value: str | None = None
    key_says: str = ""
    only_in: str | None = None
    only_in_says: str = ""
    shows: tuple[int, int] | None = None
    holds: bool = False
    blocks: bool = False
    restarts: bool = False
    may_clear: bool = True
    by_hand: tuple[Site, ...] = ()

    @property
    def constant(self) -> int | None:
        """The one value that it always shows; None where there is none."""
        if self.shows is None or self.shows[0] != self.shows[1]:
            return None
        return self.shows[0]


STUCK_TRUE = FaultKind(
    "stuck at TRUE",
    key="stuck",
    value="TRUE",
    says={Site.SIGNAL: "{name} reads TRUE", Site.OUTPUT: "{name} is on"},
    shows=(1, 1),
    by_hand=(Site.SIGNAL,),
)
STUCK_FALSE = FaultKind(
    "stuck at FALSE",
    key="stuck",
    value="FALSE",
    says={Site.SIGNAL: "{name} reads FALSE", Site.OUTPUT: "{name} is off"},
    shows=(0, 0),
    by_hand=(Site.SIGNAL, Site.OUTPUT),
)
FAULT_KINDS = (
    STUCK_TRUE,
    STUCK_FALSE,
    FaultKind(
        "frozen",
        key="stuck",
        value="frozen",
        says={
            Site.SIGNAL: "{name} stays at what it read",
            Site.OUTPUT: "{name} stays as it was",
        },
        shows=(0, 1),
        holds=True,
    ),
    FaultKind(
        "jams",
        key="machine",
        key_says="A machine that stays in the state it is in.",
        only_in="jams_in",
        only_in_says="Only in these states does the machine stay.",
        says={Site.MACHINE: "{name} stays {where}"},
        blocks=True,
    ),
    FaultKind(
        "restart",
        key="restart",
        key_says="The controller restarts: memory is lost, RETAIN is kept.",
        says={Site.CONTROLLER: "the program starts again"},
        restarts=True,
        by_hand=(Site.CONTROLLER,),
    ),
)
"""Every kind there is."""

BY_VALUE = {kind.value: kind for kind in FAULT_KINDS if kind.value is not None}
"""The kinds at signals and outputs, by what a model file calls them."""


def kinds_at(site: Site) -> tuple[FaultKind, ...]:
    """The kinds that can sit at `site`, in the order of the table."""
    return tuple(kind for kind in FAULT_KINDS if site in kind.says)
