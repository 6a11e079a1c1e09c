"""Reading what a model file says of time, and what cannot be counted in it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from fractions import Fraction

from interlock.base.errors import Place
from interlock.kernel.system import MoveKind
from interlock.model.model import Duration, ModelMove
from interlock.model.names import Mistakes, Names
from interlock.model.timing import MOST_UNITS, Timing, ms_of
from interlock.model.yaml import Path
from interlock.st.layout import Timers
from interlock.st.typed import Program

_TIME = re.compile(r"([0-9]+(?:\.[0-9]+)?) *(ms|s)")


def milliseconds(text: str) -> Fraction | None:
    """What '500 ms' or '1.5 s' says, in milliseconds; None for anything else."""
    match = _TIME.fullmatch(text)
    if match is None:
        return None
    return Fraction(match[1]) * (1000 if match[2] == "s" else 1)


def read_timing(names: Names, moves: Iterable[ModelMove], program: Program) -> Timing | None:
    """The time that a model file asks for, None where it asks for none; mistakes are noted."""
    document, shape, mistakes = names.document, names.shape, names.mistakes
    given = shape.run.time
    if given is None:
        return None
    path: Path = ("run", "time")
    unit = _whole_ms(given.unit, document.place((*path, "unit")), mistakes)
    scan = (shape.run.scan_ms, shape.run.scan_ms)
    if given.scan is not None:
        least, greatest = (
            _whole_ms(text, document.place((*path, "scan", n)), mistakes)
            for n, text in enumerate(given.scan)
        )
        if least is not None and greatest is not None:
            scan = least, greatest
    elif "scan_ms" not in shape.run.model_fields_set:
        said = "time needs the period of the scan: 'run: {scan_ms: …}', or 'scan' here"
        mistakes.add(document.key_place(path), said)
    if not scan[0] <= scan[1]:
        said = "the least time from scan to scan is longer than the greatest"
        mistakes.add(document.place((*path, "scan")), said)
    elif "scan_ms" in shape.run.model_fields_set and not scan[0] <= shape.run.scan_ms <= scan[1]:
        said = f"'scan_ms: {shape.run.scan_ms}' lies outside it"
        mistakes.add(document.place((*path, "scan")), said)
    if Timers(shape.run.timers) is Timers.COUNTED:
        said = (
            "with time, timers are given their preset times, and no scans are counted: leave "
            "'timers: counted' out, and ET unread"
        )
        mistakes.add(document.key_place(path), said)
    if unit is None:
        return None
    timing = Timing(unit, *scan, document.key_place(path))
    _check_durations(timing, list(moves), program, mistakes)
    return timing


def _check_durations(
    timing: Timing, moves: Sequence[ModelMove], program: Program, mistakes: Mistakes
) -> None:
    """Note every duration, the time from scan to scan among them, that has too many units."""
    given = [(timing.place, Fraction(timing.scan_greatest_ms))]
    given += [(m.place, ms_of(_counted(m, m.takes))) for m in moves if m.takes is not None]
    given += [(m.place, m.stays.ms) for m in moves if m.stays is not None]
    given += [(i.place, Fraction(i.preset_ms)) for i in program.instances]
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


def _whole_ms(text: str, place: Place, mistakes: Mistakes) -> int | None:
    ms = milliseconds(text)
    if ms is None or ms.denominator != 1 or ms < 1:
        said = f"'{text}' is no whole number of milliseconds; write '100 ms' or '0.5 s'"
        mistakes.add(place, said)
        return None
    return int(ms)
