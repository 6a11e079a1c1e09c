"""Reading what a model file says of time, and what cannot be counted in it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from fractions import Fraction

from interlock.base.errors import Place
from interlock.kernel.system import MoveKind
from interlock.model.controller import Controller
from interlock.model.model import Duration, ModelMove
from interlock.model.names import Mistakes, Names
from interlock.model.schema_time import EXACT
from interlock.model.timing import MOST_UNITS, Spacing, Timing, ms_of
from interlock.model.yaml import Path
from interlock.st.layout import Timers

_TIME = re.compile(r"([0-9]+(?:\.[0-9]+)?) *(ms|s)")


def milliseconds(text: str) -> Fraction | None:
    """What '500 ms' or '1.5 s' says, in milliseconds; None for anything else."""
    match = _TIME.fullmatch(text)
    if match is None:
        return None
    return Fraction(match[1]) * (1000 if match[2] == "s" else 1)


def read_timing(
    names: Names, moves: Iterable[ModelMove], controllers: Sequence[Controller]
) -> Timing | None:
    """The time that a model file asks for, None where it asks for none; mistakes are noted."""
    document, shape, mistakes = names.document, names.shape, names.mistakes
    given = shape.run.time
    if given is None:
        return None
    path: Path = ("run", "time")
    or_exact = f" or, where nothing is to be rounded, '{EXACT}'"
    unit = _whole_ms(given.unit, document.place((*path, "unit")), mistakes, or_exact)
    if shape.controllers:
        spacings = tuple(_spacing_of(names, one) for one in controllers)
    else:
        is_given = "scan_ms" in shape.run.model_fields_set
        period = shape.run.scan_ms if is_given else None
        spacings = (_spacing(names, "", given.scan, period, path),)
    for one in controllers:
        if one.settings.timers is Timers.COUNTED:
            said = (
                "with time, timers are given their preset times, and no scans are counted: leave "
                "'timers: counted' out, and ET unread"
            )
            mistakes.add(one.place or document.key_place(path), said)
    if unit is None:
        return None
    least = min(one.least_ms for one in spacings)
    greatest = max(one.greatest_ms for one in spacings)
    several = spacings if shape.controllers else ()
    adds = given.delays == "added"
    timing = Timing(unit, least, greatest, document.key_place(path), several, adds)
    _check_durations(timing, list(moves), controllers, mistakes)
    return timing


def _spacing_of(names: Names, one: Controller) -> Spacing:
    """How far apart the scans of one of several controllers are; else as those of any are."""
    shape, path = names.shape, ("controllers", one.name)
    given = shape.controllers[one.name]
    period, beyond = given.scan_ms, ""
    task = None if one.project is None else one.project.task
    if task is not None and task.interval_ms is not None:
        period = task.interval_ms
        beyond = f"the program's task runs every {period} ms, see {task.place}, which these times "
        beyond += "leave out"
    if given.scan is not None or period is not None:
        return _spacing(names, one.name, given.scan, period, path, beyond)
    scan = None if shape.run.time is None else shape.run.time.scan
    period = shape.run.scan_ms if "scan_ms" in shape.run.model_fields_set else None
    return _spacing(names, one.name, scan, period, path if scan is None else ("run", "time"))


def _spacing(
    names: Names,
    controller: str,
    scan: Sequence[str] | None,
    period: int | None,
    path: Path,
    beyond: str = "",
) -> Spacing:
    """What is given of the scans of a controller at `path`; what is wrong with it is noted.

    `beyond` is said where the period lies outside.
    """
    document, mistakes = names.document, names.mistakes
    if scan is None:
        if period is None:
            at = "'scan_ms' or 'scan' here" if controller else "'run: {scan_ms: …}', or 'scan' here"
            said = f"time needs the period of the scan: {at}"
            mistakes.add(document.key_place(path), said)
        fixed = period or names.shape.run.scan_ms
        return Spacing(controller, fixed, fixed)
    place = document.place((*path, "scan"))
    least, greatest = (
        _whole_ms(text, document.place((*path, "scan", n)), mistakes) for n, text in enumerate(scan)
    )
    if least is None or greatest is None:
        fixed = period or names.shape.run.scan_ms
        return Spacing(controller, fixed, fixed)
    if not least <= greatest:
        mistakes.add(place, "the least time from scan to scan is longer than the greatest")
    elif period is not None and not least <= period <= greatest:
        mistakes.add(place, beyond or f"'scan_ms: {period}' lies outside it")
    return Spacing(controller, least, greatest)


def _check_durations(
    timing: Timing,
    moves: Sequence[ModelMove],
    controllers: Iterable[Controller],
    mistakes: Mistakes,
) -> None:
    """Note every duration, the time from scan to scan among them, that has too many units."""
    given = [(timing.place, Fraction(timing.scan_greatest_ms))]
    given += [(m.place, ms_of(_counted(m, m.takes))) for m in moves if m.takes is not None]
    given += [(m.place, m.stays.ms) for m in moves if m.stays is not None]
    instances = [i for one in controllers for i in one.program.instances]
    given += [(i.place, Fraction(i.preset_ms)) for i in instances]
    for place, ms in given:
        n_units = -(-ms // timing.unit_ms)
        if n_units > MOST_UNITS:
            said = (
                f"{float(ms) / 1000:g} s are {n_units:,} units of {timing.unit_ms} ms, and a clock "
                f"counts up to {MOST_UNITS:,}; a greater unit is sound, too"
            )
            mistakes.add(place, said)


def _counted(move: ModelMove, takes: Duration) -> float:
    """How far the clock of a move counts, in seconds: what people do is never owed."""
    return takes.greatest if move.kind is MoveKind.PLANT else takes.least


def _whole_ms(text: str, place: Place, mistakes: Mistakes, or_else: str = "") -> int | None:
    ms = milliseconds(text)
    if ms is None or ms.denominator != 1 or ms < 1:
        said = f"'{text}' is no whole number of milliseconds; write '100 ms'"
        said += f", '0.5 s'{or_else}" if or_else else " or '0.5 s'"
        mistakes.add(place, said)
        return None
    return int(ms)
