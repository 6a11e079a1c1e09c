"""Which requirements lose tolerance if a sensor is removed or its pair merged?

A removed sensor leaves its input at one value for good: as if a fault of it were there already,
the worse of its two. Of every set that holds one of its faults, one fault less is needed then.
Merging a pair makes of its two channels one: what takes one takes both, and what was a common
cause is a fault like others.

Common causes are left out on both sides but for those of the merged pair.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from interlock.judgement.fault_sets import RequirementSets, Tolerance
from interlock.model.fault import Effect, Fault
from interlock.model.fault_kinds import STUCK_FALSE, STUCK_TRUE, FaultKind, Site
from interlock.model.model import Model, Sensor


@dataclass(frozen=True)
class Loss:
    """A requirement that loses tolerance by a change.

    Attributes
    ----------
    requirement : str
    before, after : Tolerance
    by : tuple of tuple of str
        Sets of faults that are enough after the change and were not before; the empty one where
        none is needed.
    """

    requirement: str
    before: Tolerance
    after: Tolerance
    by: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Change:
    """A sensor removed or a pair merged, and what that costs.

    Attributes
    ----------
    sensors : tuple of str
        One that is removed, or two that are merged.
    losses : tuple of Loss
    n_faults : int
        Declared or added faults of the sensors, on which the answer rests.
    """

    sensors: tuple[str, ...]
    losses: tuple[Loss, ...]
    n_faults: int

    @property
    def says(self) -> str:
        """The change in words."""
        if len(self.sensors) == 1:
            return f"{self.sensors[0]} removed"
        return f"{' and '.join(self.sensors)} merged"


def pairs_of(model: Model) -> list[tuple[str, str]]:
    """The declared pairs of sensors, each once."""
    found = []
    by_name = {name.casefold(): name for name in model.sensors}
    for name, sensor in model.sensors.items():
        if sensor.pair is not None:
            other = by_name[sensor.pair.casefold()]
            if (other, name) not in found:
                found.append((name, other))
    return found


def with_sensor_faults(
    model: Model, antivalent: Mapping[tuple[str, str], bool], single: bool = True
) -> Model:
    """`model` with what its own faults lack: each sensor stuck either way, each pair merged.

    Parameters
    ----------
    model : Model
    antivalent : mapping of (str, str) to bool
        Whether a pair's channels differ while they work.
    single : bool
        Whether to add faults of single sensors, too.
    """
    present = {_effect(fault) for fault in model.live_faults}
    added: dict[str, Fault] = {}
    for name, sensor in model.sensors.items() if single else ():
        for kind in (STUCK_TRUE, STUCK_FALSE):
            fault = _added(f"{name} at {kind.value}", sensor, {name: kind}, common=False)
            if _effect(fault) not in present:
                added[fault.id] = fault
    for (first, second), differ in antivalent.items():
        for kind, opposite in ((STUCK_TRUE, STUCK_FALSE), (STUCK_FALSE, STUCK_TRUE)):
            other = opposite if differ else kind
            id_ = f"{first} {kind.value} with {second} {other.value}"
            held = {first: kind, second: other}
            fault = _added(id_, model.sensors[first], held, common=True)
            if _effect(fault) not in present:
                added[id_] = fault
    return replace(model, faults={**model.faults, **added})


def _effect(fault: Fault) -> frozenset[tuple[str, FaultKind]] | None:
    """What it does to signals; None where it does anything else, or nothing."""
    sensors = fault.sensors
    is_more = fault.intermittent or len(sensors) < len(fault.effects)
    return None if is_more or not sensors else frozenset(sensors.items())


def _added(id_: str, sensor: Sensor, held: Mapping[str, FaultKind], common: bool) -> Fault:
    return Fault(
        id=id_,
        says="added for the question what a sensor is worth",
        effects=tuple(Effect(kind, Site.SIGNAL, name) for name, kind in held.items()),
        intermittent=False,
        common_cause=common,
        rate=None,
        probability=None,
        exposure_h=None,
        source=None,
        assumed=True,
        excluded=None,
        place=sensor.place,
    )


def by_change(model: Model) -> dict[tuple[str, ...], frozenset[str]]:
    """The faults of each sensor that may be removed and of each pair that may be merged."""
    own = {fault.id: _effect(fault) for fault in model.live_faults}
    return {
        sensors: frozenset(
            id_ for id_, effect in own.items() if effect and {n for n, _ in effect} == set(sensors)
        )
        for sensors in [*((name,) for name in model.sensors), *pairs_of(model)]
    }


def losses_by_change(
    model: Model,
    added: Iterable[str],
    sets_with: Callable[[frozenset[str]], Mapping[str, RequirementSets]],
) -> list[Change]:
    """What every removal and every merger costs.

    Parameters
    ----------
    model : Model
        With the added faults.
    added : iterable of str
        Which those are.
    sets_with : callable
        The sets of the model's own faults, common causes included or not, and of those given;
        maybe of more.
    """
    common = {id_ for id_, fault in model.faults.items() if fault.common_cause}
    outside = common | set(added)
    changes = []
    for sensors, faults in by_change(model).items():
        cost = _removed if len(sensors) == 1 else _merged
        found = sets_with(faults & outside).values()
        losses = [cost(one, faults, outside) for one in found]
        changes.append(Change(sensors, tuple(loss for loss in losses if loss), len(faults)))
    return changes


def _removed(found: RequirementSets, faults: frozenset[str], outside: set[str]) -> Loss | None:
    relevant = found.without(outside - faults)
    left = [tuple(id_ for id_ in one if id_ not in faults) for one in relevant.sets]
    # A set of two of the sensor's own faults is no set: its signal has one value.
    single = [
        rest for rest, one in zip(left, relevant.sets, strict=True) if len(one) - len(rest) <= 1
    ]
    return _loss(found, single, outside, 1)


def _merged(found: RequirementSets, faults: frozenset[str], outside: set[str]) -> Loss | None:
    return _loss(found, list(found.without(outside - faults).sets), outside, 0)


def _loss(
    found: RequirementSets, after: list[tuple[str, ...]], outside: set[str], spent: int
) -> Loss | None:
    """`spent`: how many of the faults that were looked for the change itself uses up."""
    if found.limit is not None:
        return None
    before = found.without(outside).tolerance
    least = min(map(len, after), default=None)
    if least is None or (found.bound is not None and least > found.bound - spent):
        return None
    if not least - 1 < before.rank:
        return None
    by = tuple(dict.fromkeys(one for one in after if len(one) == least))
    return Loss(found.requirement.id, before, Tolerance(least - 1, exact=True), by)
