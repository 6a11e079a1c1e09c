"""What a controller under test must offer, and how its values are read.

A controller is any object with two methods::

    class MyController:
        def reset(self):                # switched on for the first time
            ...
        def scan(self, inputs):         # one scan: {"ramp_home": True, …} -> {"pump": False, …}
            ...

`inputs` has a value for every ``VAR_INPUT`` of the model's program, and the answer must have one
for every ``VAR_OUTPUT``: ``True`` or ``False`` for BOOL, a label for an enumeration, a whole number
for INT. A controller with timers of its own has a third method, ``pass_time(ms)``: so much time has
passed since the last scan, or since it was last told. A scan itself takes no time. Where the
model's program keeps RETAIN values and a fault may restart it, a fourth is needed, ``restart()``:
switched off and on again, and what is retained stays.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

from interlock.base.errors import nearest
from interlock.model.model import Model
from interlock.st.interpret import Controller
from interlock.st.types import EnumType, IntType, Type
from interlock.testing.clock import Clock

Value = bool | int | str


class ControllerUnderTest(Protocol):
    """The two methods that every controller under test has."""

    def reset(self) -> None:
        """Switch on for the first time: the memory is as after power-up, what is retained too."""

    def scan(self, inputs: Mapping[str, Value]) -> Mapping[str, Value]:
        """Take `inputs`, execute once and give the outputs."""


class ControllerError(Exception):
    """The controller under test does not answer as it should; the text says how."""


def value_of(number: int, type_: Type) -> Value:
    """The value of `type_` with the kernel's `number`, as a controller under test takes it.

    >>> from interlock.st.types import BOOL
    >>> value_of(1, BOOL)
    True
    """
    if isinstance(type_, EnumType):
        return type_.labels[number]
    return number if isinstance(type_, IntType) else bool(number)


def number_of(value: Any, type_: Type) -> int | None:
    """The kernel's number of a controller's `value`, or None where it is none of `type_`.

    >>> from interlock.st.types import BOOL
    >>> number_of(True, BOOL), number_of(1, BOOL), number_of("on", BOOL)
    (1, 1, None)
    """
    if isinstance(type_, EnumType):
        return type_.value_of(value) if isinstance(value, str) else None
    if isinstance(type_, IntType):
        is_number = isinstance(value, int) and not isinstance(value, bool)
        return value if is_number and type_.lo <= value <= type_.hi else None
    return int(value) if isinstance(value, int) and value in (0, 1) else None


class Terminals:
    """The inputs and outputs of a model's program, as a controller under test sees them.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        declared = model.program.variables
        self.inputs = {v.name: v.type for v in declared if v.kind == "VAR_INPUT"}
        self.outputs = {v.name: v.type for v in declared if v.kind == "VAR_OUTPUT"}

    def given(self, signals: Mapping[str, int]) -> dict[str, Value]:
        """The inputs of a scan."""
        return {name: value_of(signals[name], type_) for name, type_ in self.inputs.items()}

    def taken(self, answer: Any) -> dict[str, int]:
        """The outputs in a controller's answer.

        Raises
        ------
        ControllerError
            Where one is missing, unknown or no value of its type.
        """
        if not isinstance(answer, Mapping):
            raise ControllerError(
                f"the scan gave {_short(answer)}; expected a mapping of outputs to values"
            )
        unknown = [name for name in answer if name not in self.outputs]
        if unknown:
            near = nearest(str(unknown[0]), self.outputs)
            raise ControllerError(f"the scan gave '{unknown[0]}', which is not an output{near}")
        missing = [name for name in self.outputs if name not in answer]
        if missing:
            raise ControllerError(f"the scan gave no value for the output '{missing[0]}'")
        found = {}
        for name, type_ in self.outputs.items():
            number = number_of(answer[name], type_)
            if number is None:
                raise ControllerError(
                    f"the scan gave {_short(answer[name])} for '{name}'; expected {_wanted(type_)}"
                )
            found[name] = number
        return found


def _wanted(type_: Type) -> str:
    if isinstance(type_, EnumType):
        return "one of " + ", ".join(type_.labels)
    if isinstance(type_, IntType):
        return f"a whole number in {type_.lo}..{type_.hi}"
    return "True or False"


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


class ProgramController:
    """A model's own Structured Text program as a controller under test.

    It is executed by the interpreter, statement by statement.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self._terminals = Terminals(model)
        self._presets = {i.name: i.preset_ms for i in model.program.instances}
        self.reset()

    def reset(self) -> None:
        """Power up with initial values, RETAIN included: the first power-up of all."""
        self._controller = Controller(self._model.program, self._model.settings)
        self._clock = Clock(self._presets, self._model.settings.scan_ms)

    def restart(self) -> None:
        """Switch off and on: RETAIN keeps its values."""
        self._controller.restart()
        self._clock.follow(self._controller.running_timers())

    def scan(self, inputs: Mapping[str, Value]) -> dict[str, Value]:
        """Execute the program once."""
        types = self._terminals.inputs
        numbers = {name: number_of(inputs[name], type_) for name, type_ in types.items()}
        bad = next((name for name, number in numbers.items() if number is None), None)
        if bad is not None:
            raise ControllerError(f"{_short(inputs[bad])} is no value for the input '{bad}'")
        outputs = self._controller.scan({n: v for n, v in numbers.items() if v is not None}).outputs
        self._clock.follow(self._controller.running_timers())
        return {n: value_of(v, self._terminals.outputs[n]) for n, v in outputs.items()}

    def pass_time(self, ms: int) -> None:
        """Let `ms` milliseconds pass: free timers elapse when theirs are up; others count scans."""
        for name in self._clock.let_pass(ms):
            self._controller.elapse(name)
