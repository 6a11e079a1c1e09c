"""The plant's machines, the controls, and the moves of both."""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

from interlock.base.errors import Place, nearest
from interlock.kernel.system import Event, MoveKind
from interlock.model.build import SCAN
from interlock.model.controller import STILL
from interlock.model.durations import GOES_ON
from interlock.model.model import Duration, Formula, Machine, ModelMove
from interlock.model.names import Mistakes, Names, is_reserved, type_of
from interlock.model.read_quantities import Edges, quantity_moves, read_quantities
from interlock.model.schema import ControlShape, MachineShape, ModelShape, MoveShape
from interlock.model.timing import TICK
from interlock.model.yaml import Document, Path

# Names that the builder and the program's timers give to moves. Nobody reads them as such; but a
# reader of a run would, and no two moves of a system have one name.
_OWN_MOVES = (SCAN, STILL)
_OWN_ENDINGS = tuple(f" {event.value}" for event in Event)


def read_machines(
    document: Document, shape: ModelShape, edges: Edges, mistakes: Mistakes
) -> dict[str, Machine]:
    """The plant's machines, its quantities and the controls, in the order of the model."""
    found: dict[str, Machine] = {}
    for name, machine in shape.plant.items():
        path: Path = ("plant", name)
        states = _distinct(machine.states, document, (*path, "states"), mistakes)
        initial = _state(machine.initial, states, document, (*path, "initial"), mistakes)
        places = _places(document, (*path, "states"), states)
        found[name] = Machine(name, machine.says, states, initial or 0, places=places)
    found |= read_quantities(document, shape, edges, mistakes)
    for name, control in shape.controls.items():
        found[name] = _control(name, control, document, mistakes)
    return found


def _control(name: str, control: ControlShape, document: Document, mistakes: Mistakes) -> Machine:
    path: Path = ("controls", name)
    if control.positions is None:
        states: tuple[str, ...] = ("FALSE", "TRUE")
    else:
        states = _distinct(control.positions, document, (*path, "positions"), mistakes)
    initial = _state(control.initial, states, document, (*path, "initial"), mistakes)
    released = _state(control.released, states, document, (*path, "released"), mistakes)
    is_bool = control.positions is None
    places = _places(document, (*path, "positions"), states)
    if is_bool:
        released, places = 0, (document.key_place(path),) * 2
    return Machine(name, control.says, states, initial or 0, True, is_bool, released, places)


def _places(document: Document, path: Path, states: tuple[str, ...]) -> tuple[Place, ...]:
    return tuple(document.place((*path, number)) for number in range(len(states)))


def _distinct(
    states: list[str], document: Document, path: Path, mistakes: Mistakes
) -> tuple[str, ...]:
    seen: set[str] = set()
    for number, state in enumerate(states):
        place = document.place((*path, number))
        if state.casefold() in seen:
            mistakes.add(place, f"'{state}' is given twice")
        elif is_reserved(state):
            mistakes.add(place, f"'{state}' is a reserved word and cannot name a state")
        seen.add(state.casefold())
    return tuple(states)


def _state(
    state: str | None,
    states: tuple[str, ...],
    document: Document,
    path: Path,
    mistakes: Mistakes,
) -> int | None:
    if state is None:
        return None
    folded = [s.casefold() for s in states]
    if state.casefold() in folded:
        return folded.index(state.casefold())
    mistakes.add(document.place(path), f"'{state}' is not a state{nearest(state, states)}")
    return None


def read_moves(names: Names) -> list[ModelMove]:
    """Every move of the plant and of the people, each with a name of its own."""
    found: list[ModelMove] = []
    used: set[str] = set(_OWN_MOVES)
    for name, machine in names.shape.plant.items():
        for number, move in enumerate(machine.moves):
            path: Path = ("plant", name, "moves", number)
            found += _moves_of(names, names.machines[name], machine, move, path, used)
    found += quantity_moves(names, lambda wanted: _unused(wanted, used))
    for name, control in names.shape.controls.items():
        found += _settings_of(names, names.machines[name], control, used)
    return found


def _unused(wanted: str, used: set[str]) -> str:
    """`wanted`, numbered where it is used already."""
    name, number = wanted, 1
    while name in used:
        number += 1
        name = f"{wanted} ({number})"
    used.add(name)
    return name


def _moves_of(
    names: Names,
    machine: Machine,
    shape: MachineShape,
    move: MoveShape,
    path: Path,
    used: set[str],
) -> list[ModelMove]:
    document, mistakes = names.document, names.mistakes
    own = _OWN_MOVES if names.shape.run.time is None else (*_OWN_MOVES, TICK)
    like_own = move.name is not None and move.name.startswith(f"{SCAN} of ")
    if move.name is not None and (like_own or move.name in own or move.name.endswith(_OWN_ENDINGS)):
        said = f"'{move.name}' reads like a move of interlock's own; choose another name"
        mistakes.add(document.place((*path, "name")), said)
    target = _state(move.to, machine.states, document, (*path, "to"), mistakes)
    when = None
    if move.when is not None:
        when = names.formula((*path, "when"), move.when, names.physical())
    also: dict[str, Formula] = {}
    for other, text in move.also.items():
        here = (*path, "also", other)
        if other == machine.name or not names.known(other, names.shape.plant, here, "a machine"):
            if other == machine.name:
                mistakes.add(document.key_place(here), "the machine itself moves by 'to'")
            continue
        formula = names.formula(here, text, names.physical(), type_of(names.machines[other]))
        if formula is not None:
            also[other] = formula
    takes = _duration_of(move, document, path, mistakes)
    if move.may and (move.by or shape.by) != "plant":
        said = "only moves of the plant 'may' happen; people owe nothing anyway"
        mistakes.add(document.key_place((*path, "may")), said)
    if move.may and move.seconds is not None:
        said = "what need not happen takes no 'seconds'"
        mistakes.add(document.key_place((*path, "may")), said)
    result = []
    _distinct(move.from_, document, (*path, "from"), mistakes)
    for number, source_name in enumerate(move.from_):
        here = (*path, "from", number)
        source = _state(source_name, machine.states, document, here, mistakes)
        if source is None or target is None:
            continue
        base = move.name or (
            f"{machine.name}: {machine.states[source]} to {machine.states[target]}"
        )
        result.append(
            ModelMove(
                name=_unused(base, used),
                machine=machine.name,
                source=source,
                target=target,
                when=when,
                also=also,
                kind=MoveKind(move.by or shape.by),
                says=move.says or "",
                place=document.place(path),
                takes=takes,
                may=move.may,
            )
        )
    return result


def _duration_of(
    move: MoveShape, document: Document, path: Path, mistakes: Mistakes
) -> Duration | None:
    takes = read_duration(move, document, path, mistakes)
    if takes is not None:
        return replace(takes, goes_on=move.interrupted == GOES_ON)
    if move.interrupted is not None:
        said = "only what takes 'seconds' can be interrupted"
        mistakes.add(document.key_place((*path, "interrupted")), said)
    return None


class _Timed(Protocol):
    """What a move, or a step of a procedure, says of its duration."""

    @property
    def seconds(self) -> list[float] | None: ...
    @property
    def source(self) -> str | None: ...
    @property
    def assumed(self) -> bool: ...


def read_duration(
    shape: _Timed, document: Document, path: Path, mistakes: Mistakes
) -> Duration | None:
    """The duration that is given at `path`; what is wrong with it is noted."""
    if shape.seconds is None:
        return None
    place = document.place((*path, "seconds"))
    least, greatest = shape.seconds
    if least > greatest:
        mistakes.add(place, "the least duration is longer than the greatest")
    if not shape.assumed and shape.source is None:
        mistakes.add(place, "a duration needs its 'source', or 'assumed: true'")
    return Duration(least, greatest, shape.source, shape.assumed)


def _settings_of(
    names: Names, control: Machine, shape: ControlShape, used: set[str]
) -> list[ModelMove]:
    """One move for each position that a control can be set to."""
    path: Path = ("controls", control.name)
    when = None
    if shape.when is not None:
        when = names.formula((*path, "when"), shape.when, names.physical())
    return [
        ModelMove(
            name=_unused(f"{control.name} to {position}", used),
            machine=control.name,
            source=None,
            target=number,
            when=when,
            also={},
            kind=MoveKind(shape.by),
            says=_says_set(control, number),
            place=names.document.key_place(path),
            bounces=shape.bounces,
        )
        for number, position in enumerate(control.states)
    ]


def _says_set(control: Machine, position: int) -> str:
    called = control.says or control.name
    if control.is_bool:
        return f"presses {called}" if position else f"lets go of {called}"
    if position == control.released:
        return f"lets go of {called}"
    return f"sets {called} to {control.states[position]}"
