"""The plant of a model as a state chart in the W3C's exchange format.

Source: State Chart XML (SCXML): State Machine Notation for Control Abstraction, W3C Recommendation,
1 September 2015. Every machine is a region of one ``<parallel>``; guards ask the states of other
machines with the predicate ``In()`` and outputs of the controller as data.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from xml.sax.saxutils import escape, quoteattr

from interlock.base.errors import InputError, Mistake
from interlock.commands.export.xml_elements import NAMESPACE, OWN_NAMESPACE
from interlock.model.durations import GOES_ON
from interlock.model.model import Machine, Model, ModelMove
from interlock.st import typed as ty
from interlock.st.types import EnumType
from interlock.st.untype import expression_text

_OPERATORS = {"=": "==", "<>": "!=", "XOR": "!=", "MOD": "%"}
# Names that are none in ECMAScript, where names of Structured Text are allowed to be these.
_NO_NAMES = re.compile(
    "await|break|catch|class|const|continue|debugger|default|delete|enum|eval|export|extends|"
    "finally|function|import|in|instanceof|let|new|null|package|private|protected|public|static|"
    "super|switch|this|throw|try|typeof|undefined|void|with"
)


class _NotToldError(Exception):
    """An expression that a guard of the chart cannot say."""


@dataclass(frozen=True)
class Chart:
    """A chart and what it does not carry.

    Attributes
    ----------
    text : str
    losses : tuple of str
    """

    text: str
    losses: tuple[str, ...]


def event_names(model: Model) -> dict[str, str]:
    """The event of each move: its name, as an event may be written."""
    used: set[str] = set()
    found = {}
    for move in model.moves:
        base = re.sub(r"[^A-Za-z0-9_]+", "_", move.name).strip("_") or "move"
        # What a chart raises by itself is called so.
        base += "_" * (base in ("done", "error"))
        name, number = base, 1
        while name in used:
            number += 1
            name = f"{base}_{number}"
        used.add(name)
        found[move.name] = name
    return found


def to_scxml(model: Model) -> Chart:
    """The machines and controls of `model` as one chart.

    Raises
    ------
    InputError
        Where the model has a quantity.
    """
    if model.quantities:
        says = "a state chart has no quantities; 'export' writes the program of such a model alone"
        raise InputError([Mistake(model.quantities[0].places[0], says)])
    writer = _Writer(model)
    body = list(writer.lines())
    losses = [*writer.losses, *_general_losses(model)]
    head = [
        '<?xml version="1.0" encoding="utf-8"?>',
        f'<scxml xmlns="{NAMESPACE}" xmlns:model="{OWN_NAMESPACE}" version="1.0" '
        f'datamodel="ecmascript" name={quoteattr(model.name)}>',
        f"  <!-- {_comment(model.title)} -->",
        *(f"  <!-- not carried: {_comment(loss)} -->" for loss in losses),
    ]
    return Chart("\n".join([*head, *body, "</scxml>"]) + "\n", tuple(losses))


def _comment(text: str) -> str:
    return escape(" ".join(text.split())).replace("--", "- -")


def _general_losses(model: Model) -> Iterator[str]:
    yield "the controller's program, its sensors and the requirements; outputs are data to be set"
    yield "that plant moves surely happen, and what may happen between two scans"
    if any(move.may for move in model.moves):
        yield "that some moves of the plant need not happen"
    if any(move.bounces for move in model.moves):
        yield "that some controls bounce"
    if model.timing is not None:
        yield "time: how long moves, timers and delays take, and how far apart scans are"
    elif model.late_sensors:
        yield "that some signals may be late"
    if model.free_inputs:
        yield f"{len(model.free_inputs)} inputs of the program without a sensor"
    if model.faults:
        yield f"{len(model.faults)} faults; guards that ask them find none"
    if any(move.also for move in model.moves):
        yield "that machines carried along change in the same instant: they follow one step later"


@dataclass
class _Writer:
    model: Model
    losses: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._events = event_names(self.model)
        self._by_fold = {name.casefold(): name for name in self.model.machines}
        self._outputs = {name.casefold(): name for name in self.model.outputs}
        self._terms = {name.casefold(): f.tree for name, f in self.model.terms.items()}
        # The machine that is being moved, which is in no state meanwhile, and its source.
        self._moving: tuple[str, int | None] = ("", None)
        self._followed: dict[str, set[int]] = {}
        for move in self.model.moves:
            for name in move.also:
                machine = self.model.machines[name]
                self._followed.setdefault(name, set()).update(range(len(machine.states)))

    def lines(self) -> Iterator[str]:
        """The data and the regions."""
        if self.model.outputs:
            yield "  <datamodel>"
            yield from (
                f'    <data id="{n}" expr="{self._initial(n)}"/>' for n in self.model.outputs
            )
            yield "  </datamodel>"
        yield f'  <parallel id="{self._unused("plant")}">'
        for machine in self.model.machines.values():
            if not machine.is_free:
                yield from self._region(machine)
        yield "  </parallel>"

    def _unused(self, name: str) -> str:
        return self._unused(f"{name}_") if name in self.model.machines else name

    def _initial(self, output: str) -> str:
        declared = next(v for v in self.model.program.variables if v.name == output)
        if isinstance(declared.type, EnumType):
            return f"'{declared.type.labels[declared.initial]}'"
        is_bool = str(declared.type) == "BOOL"
        return str(bool(declared.initial)).lower() if is_bool else str(declared.initial)

    def _region(self, machine: Machine) -> Iterator[str]:
        initial = f"{machine.name}.{machine.states[machine.initial]}"
        says = f" model:says={quoteattr(machine.says)}" if machine.says else ""
        control = ' model:control="true"' if machine.is_control else ""
        if machine.released is not None and not machine.is_bool:
            control += f' model:released="{machine.states[machine.released]}"'
        yield f'    <state id="{machine.name}" initial="{initial}"{says}{control}>'
        for number, state in enumerate(machine.states):
            inner = list(self._transitions(machine, number))
            if inner:
                yield f'      <state id="{machine.name}.{state}">'
                yield from inner
                yield "      </state>"
            else:
                yield f'      <state id="{machine.name}.{state}"/>'
        yield "    </state>"

    def _transitions(self, machine: Machine, number: int) -> Iterator[str]:
        for move in self.model.moves:
            stays = move.source is None and move.target == number
            leaves = move.source in (None, number) and not stays
            if move.machine == machine.name and leaves:
                yield from self._transition(machine, move)
        for target in sorted(self._followed.get(machine.name, ())):
            if target != number:
                name = f"{machine.name}.{machine.states[target]}"
                follows = f'event="follow.{name}" target="{name}" model:follows="true"'
                yield f"        <transition {follows}/>"

    def _transition(self, machine: Machine, move: ModelMove) -> Iterator[str]:
        target = f"{machine.name}.{machine.states[move.target]}"
        attributes = f'event="{self._events[move.name]}"'
        if move.when is not None:
            try:
                attributes += f" cond={quoteattr(self._cond(move.when.tree))}"
            except _NotToldError as reason:
                self.losses.append(f"the guard of '{move.name}' ({reason}); it is always open here")
        attributes += f' target="{target}" model:by="{move.kind.value}"'
        if move.says:
            attributes += f" model:says={quoteattr(move.says)}"
        if move.takes is not None:
            attributes += f' model:seconds="{move.takes.least!r} {move.takes.greatest!r}"'
            if move.takes.source is not None:
                attributes += f" model:source={quoteattr(move.takes.source)}"
            attributes += ' model:assumed="true"' * move.takes.assumed
            attributes += f' model:interrupted="{GOES_ON}"' * move.takes.goes_on
        self._moving = (move.machine, move.source)
        follows = [
            line for name, f in move.also.items() for line in self._follow(name, f.tree, move)
        ]
        self._moving = ("", None)
        if not follows:
            yield f"        <transition {attributes}/>"
            return
        yield f"        <transition {attributes}>"
        yield from follows
        yield "        </transition>"

    def _follow(self, name: str, tree: ty.Expression, move: ModelMove) -> Iterator[str]:
        """Raise the event on which another machine goes to the state that `tree` gives."""
        machine = self.model.machines[name]
        for number, state in enumerate(machine.states):
            try:
                here = self._equals(tree, number)
            except _NotToldError as reason:
                self.losses.append(f"what '{move.name}' does to {name} ({reason})")
                return
            raised = f'<raise event="follow.{name}.{state}"/>'
            if here == "true":
                yield f"          {raised}"
            elif here != "false":
                yield f"          <if cond={quoteattr(here)}>{raised}</if>"

    def _cond(self, e: ty.Expression) -> str:
        """An expression as ECMAScript."""
        match e:
            case ty.Constant():
                return self._constant(e)
            case ty.Read():
                return self._read(e)
            case ty.Unary():
                return f"{'!' if e.op == 'NOT' else e.op}({self._cond(e.operand)})"
            case ty.Junction():
                sign = " && " if e.op == "AND" else " || "
                return "(" + sign.join(self._cond(o) for o in e.operands) + ")"
            case ty.Binary():
                return self._binary(e)
            case ty.Call() if e.function.upper() == "SEL" and str(e.type) == "BOOL":
                choice, off, on = (self._cond(a) for a in e.arguments)
                return _either(choice, on, off)
            case _:
                raise _NotToldError(f"{e.function}() has no counterpart")

    def _constant(self, e: ty.Constant) -> str:
        if isinstance(e.type, EnumType):
            return f"'{e.type.labels[e.value]}'"
        return str(bool(e.value)).lower() if str(e.type) == "BOOL" else str(e.value)

    def _read(self, e: ty.Read) -> str:
        name = e.name.casefold()
        if name in self._by_fold:
            machine = self.model.machines[self._by_fold[name]]
            if machine.is_bool:
                return self._in(machine, 1)
            raise _NotToldError(f"the state of {machine.name} by itself is no truth value")
        if name in self._terms:
            return self._cond(self._terms[name])
        output = self._outputs.get(name, "false")  # what is no output is a fault
        if _NO_NAMES.fullmatch(output):
            raise _NotToldError(f"'{output}' cannot name anything in ECMAScript")
        return output

    def _in(self, machine: Machine, state: int) -> str:
        """Whether a machine is in a state; of one that is being moved, that is known beforehand."""
        if machine.is_free:
            raise _NotToldError("it asks an input of the program that no sensor is given for")
        name, source = self._moving
        if machine.name == name and source is not None:
            return str(source == state).lower()
        return f"In('{machine.name}.{machine.states[state]}')"

    def _binary(self, e: ty.Binary) -> str:
        for one, other in ((e.left, e.right), (e.right, e.left)):
            machine = self._machine_of(one)
            if machine is None or not isinstance(other, ty.Constant):
                continue
            if e.op in ("=", "<>"):
                asked = self._in(machine, other.value)
                return asked if e.op == "=" else f"!({asked})"
        if e.op == "/" or (e.op == "MOD" and not isinstance(e.right, ty.Constant)):
            raise _NotToldError(f"{e.op} of whole numbers has no counterpart")
        return f"({self._cond(e.left)} {_OPERATORS.get(e.op, e.op)} {self._cond(e.right)})"

    def _machine_of(self, e: ty.Expression) -> Machine | None:
        if isinstance(e, ty.Read) and e.name.casefold() in self._by_fold:
            machine = self.model.machines[self._by_fold[e.name.casefold()]]
            return None if machine.is_bool else machine
        return None

    def _equals(self, e: ty.Expression, value: int) -> str:
        """That an expression has a value, as ECMAScript; ``true`` and ``false`` are folded."""
        machine = self._machine_of(e)
        match e:
            case ty.Constant():
                return str(e.value == value).lower()
            case ty.Read() if machine is not None:
                return self._in(machine, value)
            case ty.Call() if e.function.upper() == "SEL":
                choice = self._cond(e.arguments[0])
                off, on = (self._equals(a, value) for a in e.arguments[1:])
                if on == off or choice == "true":
                    return on
                if choice == "false":
                    return off
                simple: Mapping[tuple[str, str], str] = {
                    ("true", "false"): choice,
                    ("false", "true"): f"!({choice})",
                }
                return simple.get((on, off), _either(choice, on, off))
            case _:
                raise _NotToldError(f"{expression_text(e)} has no counterpart")


def _either(choice: str, on: str, off: str) -> str:
    return f"(({choice}) && ({on}) || !({choice}) && ({off}))"
