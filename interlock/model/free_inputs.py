"""Inputs of the program that no sensor is given for: any value in any scan.

A free input becomes a control that anybody may set at any moment without taking a turn, and a
sensor that reads it. So the engines, the judge and the bench see nothing new.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from interlock.base.errors import Place, nearest
from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr
from interlock.kernel.system import MoveKind
from interlock.model.controller import Controller
from interlock.model.model import Formula, Machine, ModelMove, Sensor
from interlock.model.names import Names
from interlock.model.value_classes import MOST_CLASSES, Domain, ValueClass, value_classes
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.any_values import without_unread
from interlock.st.evaluate import operands_of
from interlock.st.idle import without_idle
from interlock.st.layout import Settings, lay_out
from interlock.st.lower import lower_expression, lower_program
from interlock.st.mixed_values import with_any_values
from interlock.st.typed_parts import expressions_in
from interlock.st.types import (
    BOOL,
    BoolType,
    EnumType,
    IntType,
    Type,
    domain_of,
    label_of,
    span_of,
)

# Of types with more values only those are tried that the program and the model tell apart.
_FEW = 8


@dataclass(frozen=True)
class FreeInput:
    """An input that no sensor is given for, as a control with its moves and a sensor."""

    machine: Machine
    moves: tuple[ModelMove, ...]
    sensor: Sensor


def machine_name(name: str) -> str:
    """The control that stands for the free input called `name`; no expression can name it."""
    return f"{name} (free)"


Classes = dict[str, tuple[ValueClass, ...]]


def read_free_inputs(
    names: Names, controllers: Sequence[Controller], classes: Classes
) -> list[FreeInput]:
    """Every input of the programs that the model gives no sensor for.

    One with too many values that matter is a mistake; `classes` has those of all others that have
    more than a few.
    """
    free = _free(names, controllers)
    wide = [declared for declared in free if _every_value(declared.type) is None]
    for declared in wide if len(controllers) == 1 else ():
        if declared.name not in classes:
            names.mistakes.add(*too_many(declared, names, controllers[0].program))
    for declared in wide if len(controllers) > 1 else ():
        says = f"beside several controllers an input with more than {_FEW} values is never free"
        says = f"'{declared.name}' has no sensor in the model, and {says}; give it a sensor"
        names.mistakes.add(declared.place, f"{says}, or declare it with a range")
    said = {name.casefold(): shape.says for name, shape in names.shape.sensors.items()}
    found = []
    for declared in free:
        values = _every_value(declared.type) or classes.get(declared.name)
        if values is not None:
            machine = _machine(declared, values)
            moves = tuple(_moves(declared, machine, said.get(declared.name.casefold(), "")))
            found.append(FreeInput(machine, moves, _sensor(declared, machine, values)))
    return found


def _free(names: Names, controllers: Sequence[Controller]) -> list[ty.Declared]:
    given = {name.casefold() for name in names.read_by_sensors}
    inputs = {sensor: v for one in controllers for sensor, v in one.inputs.items()}
    unread = {sensor: v for sensor, v in inputs.items() if sensor.casefold() not in given}
    return [v if v.name == sensor else replace(v, name=sensor) for sensor, v in unread.items()]


def _every_value(type_: Type) -> tuple[ValueClass, ...] | None:
    """Each value of a type by itself, or None where there are many."""
    domain = domain_of(type_)
    if not isinstance(type_, EnumType | BoolType) and domain.size > _FEW:
        return None
    return tuple(ValueClass(v, v, v, True) for v in range(domain.lo, domain.hi + 1))


def with_classes(
    names: Names, one: Controller, needed: Collection[str]
) -> tuple[ty.Program, Classes, tuple[sx.Note, ...]]:
    """The only controller's program, with classes for each of its inputs that is free and wide.

    What mixes inputs that have none is taken as any value, as long as that helps; inputs are then
    still without classes only where requirements mix them.

    Parameters
    ----------
    names : Names
    one : Controller
    needed : collection of str
        As for `interlock.st.idle.without_idle`; the notes are from there, too.
    """
    program, left_out = one.program, tuple[sx.Note, ...]()
    while True:
        wide = [
            v for v in _free(names, [replace(one, program=program)]) if not _every_value(v.type)
        ]
        classes = _classes_of(wide, names, program, one.settings) if wide else {}
        unclassed = {v.name for v in wide if v.name not in classes}
        changed = with_any_values(program, unclassed) if unclassed else None
        if changed is None:
            return program, classes, left_out
        program, more = without_idle(changed, needed)
        program = without_unread(program)
        left_out = (*left_out, *more)


def _classes_of(
    wide: Sequence[ty.Declared], names: Names, program: ty.Program, settings: Settings
) -> Classes:
    asked = _Asked(names, program, settings)
    found = {}
    for declared in wide:
        values = asked.classes(declared)
        if values is not None:
            found[declared.name] = values
    return found


class _Asked:
    """What a program and the formulas of its model ask of inputs."""

    def __init__(self, names: Names, program: ty.Program, settings: Settings) -> None:
        lowered = lower_program(program, settings)
        layout = lay_out(program, settings)
        env = _Anything({v.name.casefold(): ex.var(f"input.{v.name}") for v in program.inputs})
        env |= {v.name.casefold(): ex.var(v.name) for v in lowered.variables}
        for path in names.inside:
            name = path[len(program.name) + 1 :].casefold()
            if name in layout.names:
                env[path.casefold()] = ex.var(layout.names[name])
        self._roots = [lower_expression(formula.tree, env) for formula in names.formulas]
        self._roots += [flaw.when for flaw in lowered.flaws]
        self._roots += [move.guard for move in lowered.timer_moves]
        domains = {v.name: Domain(v.domain.lo, v.domain.hi, v.initial) for v in lowered.variables}
        domains |= {f"input.{v.name}": Domain(*span_of(v.type)) for v in program.inputs}
        self._updates = _that_matter(self._roots, lowered.updates, domains)
        self._domains = domains

    def classes(self, declared: ty.Declared) -> tuple[ValueClass, ...] | None:
        """The classes of an input's values; None where there are too many."""
        name, span = f"input.{declared.name}", span_of(declared.type)
        return value_classes(name, span, self._roots, self._updates, self._domains)


def classes_of(
    declared: ty.Declared, names: Names, controller: Controller
) -> tuple[ValueClass, ...] | None:
    """What of an input's values program and model tell apart; None where that is too many."""
    return _Asked(names, controller.program, controller.settings).classes(declared)


def _that_matter(
    roots: Iterable[Expr],
    updates: Mapping[str, Expr],
    domains: Mapping[str, Domain],
) -> dict[str, Expr]:
    """The updates of all variables but numbers that nothing asks for, not by others either."""
    is_few = {name for name in updates if domains[name].hi - domains[name].lo < _FEW}
    found: dict[str, Expr] = {}
    stack = [*ex.variables_of(roots), *is_few]
    while stack:
        name = stack.pop()
        if name in updates and name not in found:
            found[name] = updates[name]
            stack += ex.variables_of([updates[name]])
    return found


class _Anything(dict[str, Expr]):
    """What names stand for; those of no interest here for themselves."""

    def __missing__(self, name: str) -> Expr:
        return ex.var(name)


def too_many(declared: ty.Declared, names: Names, program: ty.Program) -> tuple[Place, str]:
    """The line that needs more values of an input than can be tried, and what to do."""
    known = [name for name in names.shape.sensors if name.casefold() != declared.name.casefold()]
    near = nearest(declared.name, known)
    hint = near if "did you mean" in near and len(known) == len(names.shape.sensors) else ""
    at = _first_wide_read(program, declared.name) or declared.place
    if any(one.input == declared.name for one in program.any_values):
        # It has a name of its own only here.
        of = declared.name.partition(".any")[0]
        return at, (
            f"here more than {MOST_CLASSES} values of what is computed of '{of}' matter, since a "
            f"requirement asks for them; give '{of}' a sensor, or declare it with a range"
        )
    return at, (
        f"'{declared.name}' has no sensor in the model, and here more than {MOST_CLASSES} values "
        f"of it matter; give it a sensor, or declare it with a range{hint}"
    )


def _machine(declared: ty.Declared, values: Sequence[ValueClass]) -> Machine:
    """The control for a free input that takes `values`."""
    states = tuple(_label(declared, value) for value in values)
    holds = [n for n, one in enumerate(values) if one.least <= declared.initial <= one.greatest]
    return Machine(
        name=machine_name(declared.name),
        says=f"the input {declared.name}, which no sensor is given for",
        states=states,
        initial=next((n for n in holds if values[n].is_whole), 0),
        is_control=True,
        is_bool=declared.type == BOOL,
        places=(declared.place,) * len(states),
        is_free=True,
    )


def _moves(declared: ty.Declared, machine: Machine, said: str) -> list[ModelMove]:
    """Setting the input to each of its values; `said` is what the model file says of it."""
    called = f"{declared.name} ({said})" if said else declared.name
    return [
        ModelMove(
            name=f"{declared.name} becomes {state}",
            machine=machine.name,
            source=None,
            target=number,
            when=None,
            also={},
            kind=MoveKind.INPUT,
            says=f"the input {called} becomes {state}",
            place=declared.place,
        )
        for number, state in enumerate(machine.states)
    ]


def _sensor(declared: ty.Declared, machine: Machine, values: Sequence[ValueClass]) -> Sensor:
    """What reads the control."""
    type_ = EnumType(machine.name, machine.states)
    at: ty.Expression = ty.Read(machine.name, BOOL if machine.is_bool else type_, declared.place)
    if not machine.is_bool:
        labels = [label_of(declared.type, one.value) for one in values]
        constants = [
            ty.Constant(one.value, declared.type, label, declared.place)
            for one, label in zip(values, labels, strict=True)
        ]
        at = chosen_by_number(at, constants, declared.type)
    reads = Formula(f"any value of {declared.name}", declared.place, at)
    stands_for = tuple(
        (lo, hi, one.value)
        for one in values
        if one.least < one.greatest
        for lo, hi in one.spans or ((one.least, one.greatest),)
    )
    name, place = declared.name, declared.place
    return Sensor(name, machine.says, reads, None, place, is_free=True, stands_for=stands_for)


def _label(declared: ty.Declared, one: ValueClass) -> str:
    return label_of(declared.type, one.value) if one.least == one.greatest else one.says


def chosen_by_number(
    at: ty.Expression, values: Sequence[ty.Expression], type_: Type
) -> ty.Expression:
    """One of `values` by the number of the state that `at` is."""
    number = ty.Call("NUMBER", (at,), IntType(0, len(values) - 1), at.place)
    return _halved(number, 0, values, type_)


def _halved(
    number: ty.Expression, first: int, values: Sequence[ty.Expression], type_: Type
) -> ty.Expression:
    """One of `values` by its number, the first of which is `first`; no chain of a hundred tests."""
    if len(values) == 1:
        return values[0]
    half = len(values) // 2
    last = ty.Constant(first + half - 1, IntType(0, first + half), str(first), number.place)
    is_low = ty.Binary("<=", number, last, BOOL, number.place)
    low = _halved(number, first, values[:half], type_)
    high = _halved(number, first + half, values[half:], type_)
    return ty.Call("SEL", (is_low, high, low), type_, number.place)


_COMPARISONS = frozenset(("=", "<>", "<", ">", "<=", ">="))


def _first_wide_read(program: ty.Program, name: str) -> Place | None:
    """Where an input is first read by something else than a comparison with a constant."""
    for e in expressions_in(program.body):
        for operand in operands_of(e) or (e,):
            is_it = isinstance(operand, ty.Read) and operand.name == name
            compared = isinstance(e, ty.Binary) and e.op in _COMPARISONS
            if is_it and not (compared and any(isinstance(o, ty.Constant) for o in operands_of(e))):
                return operand.place
    return None
