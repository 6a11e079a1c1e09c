"""A declared fault, and the things that it does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from interlock.base.errors import Place
from interlock.model.fault_kinds import FaultKind, Site


@dataclass(frozen=True)
class Effect:
    """One of the things that a fault does.

    Attributes
    ----------
    kind : FaultKind
    site : Site
    name : str
        Declared name of the signal, output or machine; empty for the controller.
    states : tuple of int
        For a machine: the states in which it is so; all of them where empty.
    """

    kind: FaultKind
    site: Site
    name: str = ""
    states: tuple[int, ...] = ()

    def says(self, labels: Sequence[str]) -> str:
        """What it does, in words; for a machine with the `labels` of its states."""
        at = " or ".join(labels[number] for number in self.states)
        where = f"in {at}" if at else "where it is"
        return self.kind.says[self.site].format(name=self.name, where=where)

    def blocks(self, machine: str, state: int) -> bool:
        """Whether it keeps `machine`, which is in `state`, where it is."""
        here = self.kind.blocks and self.name == machine
        return here and (not self.states or state in self.states)


@dataclass(frozen=True)
class Fault:
    """A declared component fault, or a common cause.

    Attributes
    ----------
    effects : tuple of Effect
        What it does: at signals, then at outputs, at machines, at the controller. Where empty,
        only who reads it as a BOOL tells.
    intermittent : bool
        It may clear and strike again.
    common_cause : bool
    rate : float or None
        Failures per hour.
    probability : float or None
        Per conversion.
    exposure_h : float or None
        Hours for which it may stay hidden.
    excluded : str or None
        Reason of its exclusion; an excluded fault never strikes.
    injectable : bool or None
        Whether it can be brought about in a yard; None where its sort tells.
    """

    id: str
    says: str
    effects: tuple[Effect, ...]
    intermittent: bool
    common_cause: bool
    rate: float | None
    probability: float | None
    exposure_h: float | None
    source: str | None
    assumed: bool
    excluded: str | None
    place: Place
    injectable: bool | None = None

    @property
    def sensors(self) -> dict[str, FaultKind]:
        """What it does to signals, by name."""
        return {e.name: e.kind for e in self.effects if e.site is Site.SIGNAL}

    @property
    def outputs(self) -> dict[str, FaultKind]:
        """What it does to outputs, by name."""
        return {e.name: e.kind for e in self.effects if e.site is Site.OUTPUT}

    @property
    def restart(self) -> bool:
        """Whether the controller restarts at the moment it strikes."""
        return any(effect.kind.restarts for effect in self.effects)

    @property
    def does(self) -> tuple[object, ...]:
        """The same for two faults exactly if they have the same effects."""
        each = {(e.kind, e.site, e.name, frozenset(e.states)) for e in self.effects}
        return frozenset(each), self.intermittent
