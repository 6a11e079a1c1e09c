"""The programs of a model's controllers, executed side by side: each scans by itself.

Names are those of the model, in which several controllers have one each.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from interlock.base.errors import InternalError, Mistake
from interlock.independent_judge.controllers import Executed, executed
from interlock.model.inside import variables_inside
from interlock.model.model import Model
from interlock.st.layout import lay_out
from interlock.st.scans import ScanResult

Memories = Mapping[str, Mapping[str, Any]]
"""What each controller remembers exactly, by its name."""


class Programs:
    """Every controller of a model, in the state of power-up.

    Parameters
    ----------
    model : Model

    Attributes
    ----------
    scans : mapping of str to Controller
        By the name of the scan.
    """

    def __init__(self, model: Model) -> None:
        self.scans = {one.scan: one for one in model.controllers}
        self._of = {one.name: one for one in model.controllers}
        self._executed: dict[str, Executed] = {n: executed(one) for n, one in self._of.items()}
        self._inside = variables_inside(model)
        self._timers = {
            one.inside(instance.name): (one.name, instance.name)
            for one in model.controllers
            for instance in one.program.instances
        }
        # Beside others, only what the lowering knows, too, has a name of its own.
        self._known = {
            one.name: {v.name for v in lay_out(one.program, one.settings).variables}
            for one in model.several
        }

    @property
    def only(self) -> Executed:
        """The controller of a model with one."""
        if len(self._executed) > 1:
            raise InternalError("one controller is asked for, and the model has several")
        return next(iter(self._executed.values()))

    def put_only(self, controller: Executed) -> None:
        """Have another controller in place of the one that there is."""
        assert self.only is not controller
        self._executed = dict.fromkeys(self._executed, controller)

    def values(self) -> dict[str, Any]:
        """Every variable of the memories, outputs included, as the system calls them."""
        found: dict[str, Any] = {}
        for name, one in self._executed.items():
            values = one.values()
            known = self._known.get(name)
            if known is None:
                return dict(values)
            found |= {self._of[name].variable(n): v for n, v in values.items() if n in known}
        return found

    def inside(self) -> dict[str, Any]:
        """What requirements name inside the programs, by its path."""
        if not self._inside:
            return {}
        kept = self.values()
        return {path: kept[name] for path, name in self._inside.items()}

    def reading(self) -> dict[str, float]:
        """What the programs' variables hold, inner ones too, by casefolded path."""
        return {
            self._of[name].inside(path).casefold(): one.read(path)
            for name, one in self._executed.items()
            for path in one.names()
        }

    def exact_values(self) -> Memories:
        """As `remember` takes them."""
        return {name: one.exact_values() for name, one in self._executed.items()}

    def remember(self, values: Memories) -> None:
        """Go back to what `exact_values` told."""
        for name, one in self._executed.items():
            one.remember(values[name])

    def scan(self, scan: str, read: Mapping[str, int]) -> ScanResult:
        """Let one controller scan, given what its sensors read; told in the model's names."""
        one = self.scans[scan]
        inputs = {v.name: read[sensor] for sensor, v in one.inputs.items()}
        result = self._executed[one.name].scan(inputs)
        return one.told(result)

    def defects(self, scan: str, read: Mapping[str, int]) -> tuple[Mistake, ...]:
        """What a scan now would do that none should; nothing is changed by asking."""
        before = self.exact_values()
        result = self.scan(scan, read)
        self.remember(before)
        return result.defects

    def restart(self, name: str) -> None:
        """Switch a controller off and on."""
        self._executed[name].restart()

    def running_timers(self) -> Iterator[str]:
        """The timers whose time may be up now."""
        for name, one in self._executed.items():
            yield from map(self._of[name].inside, one.running_timers())

    def elapse(self, timer: str) -> None:
        """Let the time of a running timer be up; KeyError or ValueError where none runs."""
        name, instance = self._timers[timer]
        self._executed[name].elapse(instance)
