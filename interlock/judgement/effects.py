"""What each single fault does: to signals, to outputs, to the plant, and how it shows.

Everything is asked of one exploration in which any one fault may strike: in which reachable
states does the next scan, or what the plant and people can do, differ from what it would be with
the fault taken away there and then?
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from interlock.judgement.detection import Comparison, Difference, IncompleteError, Telling
from interlock.kernel.expr import FALSE, Expr, and_
from interlock.kernel.projected import Projected
from interlock.kernel.query import Reach
from interlock.kernel.system import Origin
from interlock.model.build import Built
from interlock.model.fault import Fault
from interlock.model.model import Output


@dataclass(frozen=True)
class FaultEffects:
    """What a fault was seen to do in some run in which it strikes alone.

    Attributes
    ----------
    fault : Fault
    reads : tuple of str
        What it does where it sits: to signals, outputs, a machine or the program's memory.
    outputs_on, outputs_off : tuple of str
        Outputs, alarms apart, that come on because of it; those, lamps apart, that stay off.
    enables, prevents : tuple of str
        Moves of the plant and of people that it makes possible or impossible.
    alarms : tuple of str
        Lamps and sounding outputs that it brings on.
    darkened : tuple of str
        Other lamps that it keeps off.
    muted : tuple of str
        Alarms that it keeps off.
    told_by : frozenset of str
        Outputs that tell of it: alarms on, others off, where a machine without any fault with the
        same machines and people may show them otherwise.
    """

    fault: Fault
    reads: tuple[str, ...]
    outputs_on: tuple[str, ...]
    outputs_off: tuple[str, ...]
    enables: tuple[str, ...]
    prevents: tuple[str, ...]
    alarms: tuple[str, ...]
    darkened: tuple[str, ...]
    muted: tuple[str, ...]
    told_by: frozenset[str]

    @property
    def is_effective(self) -> bool:
        """Whether it makes any difference in any run."""
        return bool(
            self.outputs_on
            or self.outputs_off
            or self.enables
            or self.prevents
            or self.alarms
            or self.darkened
            or self.muted
        )

    @property
    def telling(self) -> Telling:
        """The loudest that it ever gets by itself; silent is latent."""
        if self.warnings:
            return Telling.ALARM
        is_refused = self.refusals and not self.fault.restart
        return Telling.REFUSAL if is_refused else Telling.SILENT

    @property
    def refusals(self) -> tuple[str, ...]:
        """What it keeps from coming on and whose absence tells: motions, leaves, lamps."""
        return tuple(name for name in self.outputs_off + self.darkened if name in self.told_by)

    @property
    def warnings(self) -> tuple[str, ...]:
        """The alarms that it brings on and that tell of it."""
        return tuple(name for name in self.alarms if name in self.told_by)

    @property
    def usual(self) -> tuple[str, ...]:
        """The alarms that it brings on where they are on without any fault as well."""
        return tuple(name for name in self.alarms if name not in self.told_by)


def find_effects(built: Built, explored: Projected, ids: Mapping[str, str]) -> list[FaultEffects]:
    """The effects of every live fault of `built`, whose class is any one fault.

    Raises
    ------
    IncompleteError
        Where a limit left an answer open.
    """
    comparison = Comparison(built, explored)
    asking = _Asking(explored, ids)
    seen = comparison.by_flags()
    outputs, told = asking.all(seen), asking.all(comparison.telling(seen))
    moves = asking.all(comparison.guards())
    for fault in comparison.live:
        if fault.restart:
            strike = built.system.event(Origin.strike(fault.id)).guard
            lost = comparison.by_restart(fault)
            for found, differences in ((outputs, lost), (told, comparison.telling(lost))):
                for name, difference in differences.items():
                    asking.note(found, name, fault.id, difference, strike)
    return [_effects(built, fault, outputs, moves, told) for fault in comparison.live]


_Found = dict[str, tuple[set[str], set[str]]]
"""For each output or move the faults that bring it on and those that keep it off."""


class _Asking:
    def __init__(self, explored: Projected, ids: Mapping[str, str]) -> None:
        self._explored = explored
        self._ids = list(ids.values())

    def all(self, differences: Mapping[str, Difference]) -> _Found:
        return {name: (self._faults(d.on), self._faults(d.off)) for name, d in differences.items()}

    def _faults(self, where: Expr) -> set[str]:
        if where is FALSE:
            return set()
        found = self._explored.occurring(Reach(where))
        if found is None:
            raise IncompleteError(self._explored.limit)
        return {id_ for row in found for id_, is_set in zip(self._ids, row, strict=True) if is_set}

    def note(
        self, found: _Found, name: str, fault: str, difference: Difference, where: Expr
    ) -> None:
        for side, expr in enumerate((difference.on, difference.off)):
            rows = self._explored.occurring(Reach(and_(where, expr)), ())
            if rows is None:
                raise IncompleteError(self._explored.limit)
            if rows:
                found[name][side].add(fault)


def _effects(
    built: Built, fault: Fault, outputs: _Found, moves: _Found, told: _Found
) -> FaultEffects:
    declared = built.model.outputs
    on = [name for name, sides in outputs.items() if fault.id in sides[0]]
    off = [name for name, sides in outputs.items() if fault.id in sides[1]]
    return FaultEffects(
        fault=fault,
        reads=tuple(local_readings(built, fault)),
        outputs_on=tuple(name for name in on if not declared[name].announces),
        outputs_off=tuple(name for name in off if not _is_shown(declared[name])),
        enables=tuple(name for name, sides in moves.items() if fault.id in sides[0]),
        prevents=tuple(name for name, sides in moves.items() if fault.id in sides[1]),
        alarms=tuple(name for name in on if declared[name].announces),
        darkened=tuple(n for n in off if _is_shown(declared[n]) and not declared[n].announces),
        muted=tuple(name for name in off if declared[name].announces),
        told_by=frozenset(name for name, sides in told.items() if fault.id in sides[0] | sides[1]),
    )


def _is_shown(output: Output) -> bool:
    return output.lamp is not None or output.sounds or output.announces


def local_readings(built: Built, fault: Fault) -> Iterable[str]:
    """What a fault does where it sits, in words."""
    for effect in fault.effects:
        machine = built.model.machines.get(effect.name)
        yield effect.says(() if machine is None else machine.states)
    if not fault.effects:
        yield fault.says
