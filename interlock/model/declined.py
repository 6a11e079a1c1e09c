"""What of a model a command cannot take yet, so that it refuses the model by name."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from enum import Enum
from pathlib import Path

from interlock.base.errors import InputError, Mistake, Place
from interlock.kernel.patterns import PATTERNS
from interlock.model import patterns
from interlock.model.load import load
from interlock.model.model import Model


class Declined(Enum):
    """A part of what models may have."""

    TIME = "time"
    SEVERAL = "several controllers"
    ANY_VALUES = "a program that does less than what is explored, or a plant, if asked"
    TIMED_QUANTITIES = "quantities with time"
    DELAYED_OUTPUTS = "outputs that take effect late, with time"
    CHANCE = "moves of the plant that may happen and need not"
    LATE = "signals of which a scan may read an older value"


UNTIMED = (Declined.SEVERAL, Declined.ANY_VALUES, Declined.TIME)
"""What those decline that have learnt none of it."""

IN_TIME = (Declined.SEVERAL, Declined.ANY_VALUES, Declined.TIMED_QUANTITIES)
"""What those decline that have learnt how time passes for one controller, and no more."""


def load_for(who: str, folder: Path | str, *declined: Declined) -> Model:
    """As `interlock.model.load.load`, for `who` would be wrong about a model with what is declined.

    Raises
    ------
    InputError
        As for `load`, and as `decline`.
    """
    model = load(folder)
    decline(who, model, *declined)
    return model


def decline(who: str, model: Model, *declined: Declined) -> None:
    """Refuse a model with anything of this.

    Raises
    ------
    InputError
        With the places of the first of these that the model has.
    """
    for one in declined:
        found = [Mistake(place, f"{who} {says}") for place, says in _FOUND[one](model)]
        if found:
            raise InputError(found)


_Found = Iterator[tuple[Place, str]]


def _time(model: Model) -> _Found:
    if model.timing is not None:
        says = "does not reckon with time; 'verify', 'compare', 'report' and 'replay' do"
        yield model.timing.place, says


def _several(model: Model) -> _Found:
    for place in [one.place for one in model.several if one.place is not None][:1]:
        says = (
            "cannot take several controllers; 'verify', 'faults' and 'margins' can, and 'replay' "
        )
        yield place, says + "their run files"


def _any_values(model: Model) -> _Found:
    """What a program is seen to do may be nothing that it does, so no run of it may be shown.

    A plant that does less matters where it is asked what can be reached.
    """
    taken = [v for one in model.controllers for v in one.program.any_values if v.says]
    for value in taken[:1]:
        says = f"cannot take what is taken as any value; 'verify' can: here {value.says}"
        yield value.place, says
    reaching = [s for s in model.statements.values() if not PATTERNS[s.pattern].is_of_runs]
    if not taken and model.timing is not None and model.quantities and reaching:
        says = f"cannot take '{patterns.PATTERNS[reaching[0].pattern].key}' of a model with "
        says += "time and quantities, of which bands alone are known; 'verify' can"
        yield reaching[0].place, says


def _timed_quantities(model: Model) -> _Found:
    if model.timing is not None:
        for quantity in model.quantities[:1]:
            says = "cannot take quantities with time, of which bands alone are known; "
            yield quantity.places[0], says + "'verify' can"


def _delayed_outputs(model: Model) -> _Found:
    for output in model.delayed_outputs:
        if output.delay is not None:
            yield output.delay.place, "cannot take the delay of an output with time; 'verify' can"


def _chance(model: Model) -> _Found:
    says = "cannot take a move that 'may' happen: what is seen at rest must be sure"
    for place in dict.fromkeys(move.place for move in model.moves if move.may):
        yield place, says


def _late(model: Model) -> _Found:
    says = "cannot take a signal with an age: what is seen at rest must be sure"
    for sensor in model.late_sensors:
        yield sensor.place, says


_FOUND: dict[Declined, Callable[[Model], _Found]] = {
    Declined.TIME: _time,
    Declined.SEVERAL: _several,
    Declined.ANY_VALUES: _any_values,
    Declined.TIMED_QUANTITIES: _timed_quantities,
    Declined.DELAYED_OUTPUTS: _delayed_outputs,
    Declined.CHANCE: _chance,
    Declined.LATE: _late,
}
