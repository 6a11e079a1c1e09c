"""The controller that the judge executes: the project as it was written, wherever it can be.

A program that is one unit of scalars is executed as checked: nothing was made of it. Of any other
project the text itself is executed, apart from all that was elaborated, checked and lowered.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

from interlock.base.errors import InputError
from interlock.model.controller import Controller
from interlock.model.model import Model
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller as Interpreted
from interlock.st.layout import lay_out
from interlock.st.scans import ScanResult


class Executed(Protocol):
    """What a player asks of a controller."""

    def scan(self, inputs: Mapping[str, int], /) -> ScanResult:
        """Execute the program once."""
        ...

    def values(self) -> dict[str, Any]:
        """Every variable of the memory, outputs included, as the lowering knows them."""
        ...

    def names(self) -> tuple[str, ...]:
        """Every casefolded name that `read` knows."""
        ...

    def read(self, name: str, /) -> Any:
        """The value of a casefolded name of the program."""
        ...

    def exact_values(self) -> dict[str, Any]:
        """As `remember` takes them."""
        ...

    def remember(self, values: Mapping[str, Any], /) -> None:
        """Go back to what `exact_values` told."""
        ...

    def restart(self) -> None:
        """Switch off and on."""
        ...

    def running_timers(self) -> list[str]:
        """The instances whose time may be up now."""
        ...

    def elapse(self, instance: str, /) -> None:
        """Let the time of a running timer be up."""
        ...


def executed(controller: Controller) -> Executed:
    """One that executes the program of `controller`, in the state of power-up.

    Where a program was changed after it was read, or where it cannot be executed as written (it
    calls what is not in its files, or part of it was taken as any value), what was checked is
    executed.
    """
    as_written = _as_written(controller)
    if as_written is not None:
        return as_written
    return Interpreted(controller.program, controller.settings)


def is_executed_as_written(model: Model) -> bool:
    """Whether the judge executes the text of every project and not what was made of it."""
    return all(_as_written(one) is not None for one in model.controllers)


def _as_written(one: Controller) -> DirectController | None:
    project = one.project
    if project is None or project.is_plain or project.program is not one.program:
        return None
    if any(taken.says for taken in one.program.any_values):
        return None
    layout = lay_out(one.program, one.settings)
    spans = {v.name: (v.domain.lo, v.domain.hi) for v in layout.variables}
    stand_ins = one.program.stand_ins
    try:
        made = DirectController(
            project.files, project.root, one.settings, spans, layout.tables, stand_ins
        )
    except InputError:
        return None
    # Where elaboration has made variables or inputs of its own, states could not be compared.
    is_same = spans.keys() <= made.values().keys() and made.takes(
        v.name for v in one.program.inputs
    )
    return made if is_same and _can_scan(made, one) else None


def _can_scan(controller: DirectController, one: Controller) -> bool:
    """Whether a first scan comes to its end: a pointer may point to nothing."""
    before = controller.exact_values()
    try:
        controller.scan({v.name: v.initial for v in one.program.inputs})
    except InputError:
        return False
    controller.remember(before)
    return True
