"""Models with time, chance, late signals, several controllers or values that are taken as any.

For who cannot take these yet they are refused by name.
"""

from __future__ import annotations

from pathlib import Path

from interlock.base.errors import InputError, Mistake
from interlock.kernel.patterns import PATTERNS
from interlock.model import patterns
from interlock.model.load import load
from interlock.model.model import Model


def load_untimed(folder: Path | str, who: str, takes_any_values: bool = False) -> Model:
    """As `interlock.model.load.load`, for `who` would be wrong about a model with time.

    Raises
    ------
    InputError
        As for `load`, and where the model has time, several controllers or a value taken as any.
    """
    model = load_single(folder, who, takes_any_values)
    refuse_time(model, who)
    return model


def refuse_untimed(model: Model, who: str) -> None:
    """Refuse a model with time, several controllers or a value that is taken as any.

    Raises
    ------
    InputError
        As each of these.
    """
    refuse_time(model, who)
    refuse_several(model, who)
    refuse_any_values(model, who)


def load_single(folder: Path | str, who: str, takes_any_values: bool = False) -> Model:
    """As `interlock.model.load.load`, for `who` would be wrong about several controllers.

    Raises
    ------
    InputError
        As for `load`, and where the model has several controllers or a value taken as any.
    """
    model = load(folder)
    refuse_several(model, who)
    if not takes_any_values:
        refuse_any_values(model, who)
    return model


def refuse_any_values(model: Model, who: str) -> None:
    """Refuse a model with a program that does less than what is explored, or a plant, if asked.

    What it is seen to do may be nothing that it does, so no run may be shown for one of it. A plant
    that does less matters where it is asked what can be reached.

    Raises
    ------
    InputError
        With the place of a value that was taken as any, or of what asks what can be reached.
    """
    taken = [v for one in model.controllers for v in one.program.any_values if v.says]
    if taken:
        says = f"{who} cannot take what is taken as any value; 'verify' can: here {taken[0].says}"
        raise InputError([Mistake(taken[0].place, says)])
    reaching = [s for s in model.statements.values() if not PATTERNS[s.pattern].is_of_runs]
    if model.timing is not None and model.quantities and reaching:
        says = f"{who} cannot take '{patterns.PATTERNS[reaching[0].pattern].key}' of a model with "
        says += "time and quantities, of which bands alone are known; 'verify' can"
        raise InputError([Mistake(reaching[0].place, says)])


def refuse_several(model: Model, who: str) -> None:
    """Refuse a model with several controllers.

    Raises
    ------
    InputError
        With the place of the first of them.
    """
    places = [one.place for one in model.several if one.place is not None]
    if places:
        says = f"{who} cannot take several controllers; 'verify' and 'faults' can, and 'replay' "
        raise InputError([Mistake(places[0], says + "their run files")])


def refuse_time(model: Model, who: str) -> None:
    """Refuse a model with time.

    Raises
    ------
    InputError
        With the place where the model asks for time.
    """
    if model.timing is not None:
        says = f"{who} does not reckon with time; 'verify', 'compare', 'report' and 'replay' do"
        raise InputError([Mistake(model.timing.place, says)])


def refuse_chance(model: Model, who: str) -> None:
    """Refuse a model with moves of the plant that may happen and need not.

    Raises
    ------
    InputError
        With the place of each such move.
    """
    found = dict.fromkeys(move.place for move in model.moves if move.may)
    if found:
        says = f"{who} cannot take a move that 'may' happen: what is seen at rest must be sure"
        raise InputError([Mistake(place, says) for place in found])


def refuse_late(model: Model, who: str) -> None:
    """Refuse a model with signals of which a scan may read an older value.

    Raises
    ------
    InputError
        With the place of each such signal.
    """
    if model.late_sensors:
        says = f"{who} cannot take a signal with an age: what is seen at rest must be sure"
        raise InputError([Mistake(sensor.place, says) for sensor in model.late_sensors])
