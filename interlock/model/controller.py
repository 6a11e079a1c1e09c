"""One of the controllers of a model: its program, and what its signals and outputs are called.

A model with one controller gives it no name, and everything of it has the name that its program
gives. Of several, each has a memory of its own, whose names begin with the controller's.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from interlock.base.errors import InternalError, Place
from interlock.st.layout import PREFIX, Settings
from interlock.st.load import Loaded
from interlock.st.scans import ScanResult
from interlock.st.typed import Declared, Expression, Program

SCAN = "scan"
STILL = "nothing happens"
"""Where no controller scans a run may stand still for ever; where one does, its scans go on."""


@dataclass(frozen=True)
class Controller:
    """A controller.

    Attributes
    ----------
    name : str
        Empty where the model has no other.
    program : Program
    settings : Settings
    project : Loaded or None
        As in `interlock.model.model.Model`.
    signals : mapping of str to str
        The sensor that gives each input, by the input's declared name; of those left out it is
        called like the input.
    outputs : mapping of str to str
        What the model calls each output, likewise.
    scans_while : Expression or None
        Where it scans at all, over the truth and the faults; None for always.
    place : Place or None
    """

    name: str
    program: Program
    settings: Settings
    project: Loaded | None = field(default=None, compare=False, repr=False)
    signals: Mapping[str, str] = field(default_factory=dict)
    outputs: Mapping[str, str] = field(default_factory=dict)
    scans_while: Expression | None = None
    place: Place | None = field(default=None, compare=False)

    @property
    def scan(self) -> str:
        """The name of its scan, as a move."""
        return f"{SCAN} of {self.name}" if self.name else SCAN

    @property
    def says(self) -> str:
        """Its scan in words."""
        return f"{self.name} scans" if self.name else "scans"

    def inside(self, name: str) -> str:
        """What something inside its program is called beside that of other controllers."""
        return f"{self.name}.{name}" if self.name else name

    def variable(self, name: str) -> str:
        """What a variable of its program's memory is called in the system."""
        if name.startswith(PREFIX):
            return PREFIX + self.inside(name.removeprefix(PREFIX))
        return self.outputs.get(name, name)

    def signal(self, declared: str) -> str:
        """The sensor that gives an input."""
        return self.signals.get(declared, declared)

    def told(self, result: ScanResult) -> ScanResult:
        """What a scan did, in the names of the model."""
        if not self.outputs:
            return result
        outputs = {self.variable(name): value for name, value in result.outputs.items()}
        decided = tuple(replace(d, name=self.variable(d.name)) for d in result.decided)
        return replace(result, outputs=outputs, decided=decided)

    @cached_property
    def inputs(self) -> dict[str, Declared]:
        """Its inputs, by the sensor that gives them."""
        return {self.signal(declared.name): declared for declared in self.program.inputs}

    @cached_property
    def written(self) -> dict[str, Declared]:
        """Its outputs, by what the model calls them."""
        declared = [v for v in self.program.variables if v.kind == "VAR_OUTPUT"]
        return {self.outputs.get(v.name, v.name): v for v in declared}


class OfSeveral:
    """Stands where a model with several controllers has no one program.

    Whoever asks it anything believes that there is only one, and would be wrong about the model:
    so nothing is answered.
    """

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        raise InternalError(f"'{name}' is asked of one controller, and the model has several")


OF_SEVERAL: Any = OfSeveral()
