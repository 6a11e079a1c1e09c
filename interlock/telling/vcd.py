"""Runs as value change dumps (IEEE 1364), for any viewer of waveforms; the door to ``pyvcd``.

One unit of time is one step of the run, since a run has an order and no clock. A BOOL is a wire;
what has more values is a register of as many bits as it needs, its values' names in the comment.
What a scan would read of an input that may be late has a scope of its own.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interlock.independent_judge.moments import Moment
from interlock.model.model import Model
from interlock.pictures.truth import types_of
from interlock.st.types import BOOL, BoolType, EnumType, IntType, Type, number_of


class NotInstalledError(Exception):
    """The library that writes the format is missing; the text names the extra that brings it."""


@dataclass(frozen=True)
class _Variable:
    scope: str
    name: str
    type: Type

    @property
    def n_bits(self) -> int:
        match self.type:
            case BoolType():
                return 1
            case EnumType():
                return max(1, (len(self.type.labels) - 1).bit_length())
            case IntType():
                sign = 1 if self.type.lo < 0 else 0
                return max(abs(self.type.lo).bit_length(), self.type.hi.bit_length()) + sign or 1
            case _:
                return 32  # TIME, in milliseconds

    def value(self, moment: Moment) -> int:
        match self.scope:
            case "inputs":
                number = moment.signals[self.name]
            case "read":
                number = moment.read[self.name]
            case "faults":
                number = int(self.name in moment.struck)
            case _:
                known = number_of(self.type, moment.shown[self.name])
                assert known is not None, "labels shown are those of the type"
                number = known
        return number % (1 << self.n_bits)  # negative ones as two's complement


def to_vcd(model: Model, moments: Sequence[Moment]) -> str:
    """The run as VCD text.

    Raises
    ------
    NotInstalledError
        Without ``pyvcd``.
    """
    try:
        from vcd import VCDWriter
    except ImportError:
        says = "VCD files need pyvcd: pip install 'interlock[report]'"
        raise NotInstalledError(says) from None
    text = io.StringIO()
    variables = list(_variables(model))
    comment = "\n".join(_comment(variables))
    with VCDWriter(text, timescale="1 ms", date="", comment=comment, version="interlock") as writer:
        written = [
            writer.register_var(
                variable.scope,
                variable.name,
                "wire" if variable.type == BOOL else "reg",
                variable.n_bits,
                variable.value(moments[0]),
            )
            for variable in variables
        ]
        for moment in moments[1:]:
            for variable, place in zip(variables, written, strict=True):
                writer.change(place, moment.number, variable.value(moment))
        # The last state is as long as any other.
        writer.close(moments[-1].number + 1)
    return text.getvalue()


def _variables(model: Model) -> Iterator[_Variable]:
    types = types_of(model)
    # A free input is among the inputs; the control that sets it has a blank in its name, which a
    # name of the format has not.
    for name, machine in ((n, m) for n, m in model.machines.items() if not m.is_free):
        yield _Variable("controls" if machine.is_control else "plant", name, types[name])
    yield from (_Variable("inputs", name, type_) for name, type_ in model.input_types.items())
    yield from (_Variable("read", sensor.name, BOOL) for sensor in model.late_sensors)
    yield from (_Variable("outputs", name, types[name]) for name in model.outputs)
    yield from (_Variable("faults", id_, BOOL) for id_ in model.faults)


def _comment(variables: Sequence[_Variable]) -> Iterator[str]:
    yield "One unit of time is one step of the run."
    for variable in variables:
        if isinstance(variable.type, EnumType):
            labels = ", ".join(f"{n} {label}" for n, label in enumerate(variable.type.labels))
            yield f"{variable.scope}.{variable.name}: {labels}"
