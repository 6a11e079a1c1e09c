"""Inputs of the program that no sensor is given for: any value in any scan.

A free input becomes a control that anybody may set at any moment without taking a turn, and a
sensor that reads it. So the engines, the judge and the bench see nothing new.
"""

from __future__ import annotations

from collections.abc import Sequence

from interlock.kernel.system import MoveKind
from interlock.model.model import Formula, Machine, ModelMove, Sensor
from interlock.st import typed as ty
from interlock.st.types import BOOL, EnumType, IntType, Type, label_of

# What an author can still survey; wider inputs need values to be given for them.
MOST_VALUES = 64


def machine_name(name: str) -> str:
    """The control that stands for the free input called `name`; no expression can name it."""
    return f"{name} (free)"


def values_of(type_: Type) -> Sequence[int] | None:
    """Every value of a free input of `type_`, or None where there are too many."""
    match type_:
        case EnumType():
            return range(len(type_.labels))
        case IntType():
            count = type_.hi - type_.lo + 1
            return range(type_.lo, type_.hi + 1) if count <= MOST_VALUES else None
        case _:
            return (0, 1) if type_ == BOOL else None


def free_machine(declared: ty.Declared, values: Sequence[int]) -> Machine:
    """The control for a free input that takes `values`."""
    states = tuple(label_of(declared.type, value) for value in values)
    initial = values.index(declared.initial) if declared.initial in values else 0
    return Machine(
        name=machine_name(declared.name),
        says=f"the input {declared.name}, which no sensor is given for",
        states=states,
        initial=initial,
        is_control=True,
        is_bool=declared.type == BOOL,
        places=(declared.place,) * len(states),
        is_free=True,
    )


def free_moves(declared: ty.Declared, machine: Machine) -> list[ModelMove]:
    """Setting the input to each of its values."""
    return [
        ModelMove(
            name=f"{declared.name} becomes {state}",
            machine=machine.name,
            source=None,
            target=number,
            when=None,
            also={},
            kind=MoveKind.INPUT,
            says=f"the input {declared.name} becomes {state}",
            place=declared.place,
        )
        for number, state in enumerate(machine.states)
    ]


def free_sensor(declared: ty.Declared, machine: Machine, values: Sequence[int]) -> Sensor:
    """What reads the control."""
    type_ = EnumType(machine.name, machine.states)
    at: ty.Expression = ty.Read(machine.name, BOOL if machine.is_bool else type_, declared.place)
    if not machine.is_bool:
        at = _chosen(at, type_, declared, values)
    reads = Formula(f"any value of {declared.name}", declared.place, at)
    return Sensor(declared.name, machine.says, reads, None, declared.place, is_free=True)


def _chosen(
    at: ty.Expression, type_: EnumType, declared: ty.Declared, values: Sequence[int]
) -> ty.Expression:
    place = declared.place
    *others, last = (
        ty.Constant(value, declared.type, label_of(declared.type, value), place) for value in values
    )
    found: ty.Expression = last
    for number, value in reversed(list(enumerate(others))):
        label = ty.Constant(number, type_, type_.labels[number], place)
        is_it = ty.Binary("=", at, label, BOOL, place)
        found = ty.Call("SEL", (is_it, found, value), declared.type, place)
    return found
