"""A replayed run in the trade's words: who does what, what changes, which lines decided."""

from __future__ import annotations

from dataclasses import dataclass, replace

from interlock.base.errors import Place
from interlock.independent_judge.happenings import Change, Happening
from interlock.independent_judge.judge import Replayed
from interlock.kernel.system import MoveKind
from interlock.model.model import Model

WHO = {
    MoveKind.PLANT: "plant",
    MoveKind.OPERATOR: "operator",
    MoveKind.DRIVER: "driver",
    MoveKind.INPUT: "input",
    MoveKind.TIMER: "timer",
    MoveKind.FAULT: "fault",
    MoveKind.HUMAN: "human error",
    MoveKind.BUS: "bus",
    MoveKind.EFFECT: "output",
    MoveKind.SCAN: "controller",
    MoveKind.TIME: "time",
}


@dataclass(frozen=True)
class Line:
    """One line of a story.

    Attributes
    ----------
    number : int
        The step's number, counted from 1.
    who, says : str
    changes : tuple of str
        ``"lift DOWN -> MID"`` for machines, ``"green on"`` for outputs.
    decided : tuple of Place
        Places in the program that decided changed outputs.
    loop : bool
        Whether the step is part of the endless loop.
    """

    number: int
    who: str
    says: str
    changes: tuple[str, ...]
    decided: tuple[Place, ...]
    loop: bool


def tell(model: Model, run: Replayed, quiet_scans: bool = False) -> list[Line]:
    """The lines of a run.

    Parameters
    ----------
    quiet_scans : bool
        Whether to tell scans that changed nothing to be seen, and each unit of time that passes.
        In a loop they are always told.
    """
    lines = []
    for number, happening in enumerate(run.happenings, 1):
        loop = run.loop_start is not None and number > run.loop_start
        changed = [change_in_words(model, change) for change in happening.changes]
        changed += [f"{change_in_words(model, order)}, ordered" for order in happening.ordered]
        if happening.kind is MoveKind.SCAN and not changed and not loop and not quiet_scans:
            continue
        says = happening.says or happening.move
        decided = _decided(happening) if happening.kind is MoveKind.SCAN else ()
        lines.append(Line(number, WHO[happening.kind], says, tuple(changed), decided, loop))
    return lines if quiet_scans else _in_spans(model, lines)


def tell_to_the_end(model: Model, run: Replayed) -> list[Line]:
    """As `tell`, and the last step even if it is a scan that changed nothing to be seen.

    For runs whose point is what the last scan did not do.
    """
    lines = tell(model, run, quiet_scans=True)
    return _in_spans(model, [line for line in lines if not _is_quiet(line) or line is lines[-1]])


def count_untold(model: Model, run: Replayed) -> int:
    """How many scans `tell_to_the_end` leaves out."""
    return sum(map(_is_quiet, tell(model, run, quiet_scans=True)[:-1]))


def _is_quiet(line: Line) -> bool:
    return not line.changes and line.who == WHO[MoveKind.SCAN] and not line.loop


def _in_spans(model: Model, lines: list[Line]) -> list[Line]:
    """The lines with units of time that pass one after the other told as one, the last of them."""
    found: list[Line] = []
    n_units = 0
    for line in lines:
        is_time = line.who == WHO[MoveKind.TIME] and not line.loop
        n_units = n_units + 1 if is_time else 0
        if n_units > 1:
            found.pop()
            assert model.timing is not None
            line = replace(line, says=f"{n_units * model.timing.unit_ms / 1000:g} s pass")
        found.append(line)
    return found


def change_in_words(model: Model, change: Change) -> str:
    """``lift DOWN → MID`` for a machine, ``green on`` for an output."""
    if change.name in model.outputs and {change.before, change.after} == {"TRUE", "FALSE"}:
        return f"{change.name} {'on' if change.after == 'TRUE' else 'off'}"
    return f"{change.name} {change.before} → {change.after}"


def _decided(happening: Happening) -> tuple[Place, ...]:
    assert happening.scan is not None
    shown = {change.name for change in (*happening.changes, *happening.ordered)}
    places = [decision.place for decision in happening.scan.decided if decision.name in shown]
    return tuple({place.short: place for place in places}.values())
