"""Reading a model folder: ``model.yaml`` and the controller's program beside it."""

from __future__ import annotations

from pathlib import Path as FilePath

from interlock.base.errors import InputError, Mistake, Place, nearest
from interlock.kernel.system import MoveKind
from interlock.model.model import (
    Fault,
    Formula,
    Hazard,
    Machine,
    Model,
    ModelMove,
    Output,
    Sensor,
    Statement,
)
from interlock.model.names import Mistakes, Names, type_of
from interlock.model.schema import ControlShape, MachineShape, ModelShape, MoveShape
from interlock.model.shape import shape_of
from interlock.model.statements import read_statement
from interlock.model.yaml import Document, Path, read
from interlock.st.check import load_program
from interlock.st.layout import Settings, Timers, lay_out
from interlock.st.typed import Program
from interlock.st.types import BOOL

MODEL_FILE = "model.yaml"
MAX_BYTES = 2_000_000


def load(folder: FilePath | str) -> Model:
    """Read and check the model in `folder`.

    Parameters
    ----------
    folder : path
        A model folder, or the ``model.yaml`` in it.

    Raises
    ------
    InputError
        With every mistake of the files, each with its place.
    """
    folder = FilePath(folder)
    if folder.name == MODEL_FILE:
        folder = folder.parent
    yaml_file = folder / MODEL_FILE
    text = read_text(yaml_file)
    document = read(text, str(yaml_file))
    shape = shape_of(document)
    mistakes = Mistakes()
    controller_file = _controller_file(folder, shape, document, mistakes)
    mistakes.raise_if_any()
    controller_text = read_text(controller_file, document.place(("controller",)))
    program: Program | None = None
    with mistakes.collected():
        program = load_program(controller_text, str(controller_file))
        lay_out(program, _settings(shape))
    if program is None:
        # Without the outputs' names, the model's expressions cannot be judged.
        mistakes.raise_if_any()
        raise AssertionError("a program that is not checked has mistakes")
    model = _resolve(folder, document, shape, program, mistakes)
    mistakes.raise_if_any()
    model = model or _unreachable()
    sources = {str(yaml_file): text, str(controller_file): controller_text}
    object.__setattr__(model, "sources", sources)
    return model


def _unreachable() -> Model:
    raise AssertionError("a model that is not resolved has mistakes")


def read_text(file: FilePath, wanted_at: Place | None = None) -> str:
    """The text of `file`.

    Raises
    ------
    InputError
        Where it cannot be read, is not UTF-8 or is larger than `MAX_BYTES`.
    """
    place = wanted_at or Place(str(file), 1, 1)
    try:
        if file.stat().st_size > MAX_BYTES:
            raise InputError([Mistake(place, f"the file is larger than {MAX_BYTES:,} bytes")])
        text = file.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        near = ""
        if file.parent.is_dir():
            near = nearest(file.name, [p.name for p in file.parent.iterdir()])
        elif file.parent.parent.is_dir():
            near = nearest(file.parent.name, [p.name for p in file.parent.parent.iterdir()])
        raise InputError([Mistake(place, f"no such file: {file}{near}")]) from None
    except UnicodeDecodeError as error:
        said = f"not UTF-8 text (byte {error.start})"
        raise InputError([Mistake(Place(str(file), 1, 1), said)]) from None
    except OSError as error:
        raise InputError([Mistake(place, f"cannot be read: {error.strerror}")]) from None
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _controller_file(
    folder: FilePath, shape: ModelShape, document: Document, mistakes: Mistakes
) -> FilePath:
    name = FilePath(shape.controller)
    if name.is_absolute() or len(name.parts) != 1 or name.parts[0] == "..":
        mistakes.add(
            document.place(("controller",)),
            "the controller must be a file in the model's own folder, such as controller.st",
        )
    return folder / name


def _settings(shape: ModelShape) -> Settings:
    return Settings(
        timers=Timers(shape.run.timers),
        scan_ms=shape.run.scan_ms,
        edges=1 if shape.run.edges == "first edition" else 2,
    )


def _resolve(
    folder: FilePath,
    document: Document,
    shape: ModelShape,
    program: Program,
    mistakes: Mistakes,
) -> Model | None:
    machines = _machines(document, shape, mistakes)
    outputs = {v.name: v.type for v in program.variables if v.kind == "VAR_OUTPUT"}
    names = Names(document, shape, mistakes, machines, outputs)
    names.check_unique()
    for term in shape.terms:
        names.term(term, document.key_place(("terms", term)))
    moves = _moves(names)
    sensors = _sensors(names, program)
    _check_outputs(names)
    faults = _faults(names)
    statements: dict[str, Statement] = {}
    for id_, requirement in shape.requirements.items():
        statement = read_statement(names, id_, requirement)
        if statement is not None:
            statements[id_] = statement
    unsafe = None
    if shape.unsafe is not None:
        unsafe = names.formula(("unsafe",), shape.unsafe, names.truth())
    for number, name in enumerate(shape.map):
        names.known(name, machines, ("map", number), "a machine")
    if mistakes.found:
        return None
    return Model(
        title=shape.title,
        says=shape.says,
        folder=folder,
        assumptions=tuple(shape.assumptions),
        cautions=tuple(shape.cautions),
        moves_per_scan=shape.run.moves_per_scan,
        machines=machines,
        moves=tuple(moves),
        sensors=sensors,
        outputs={n: _output(shape, n) for n in outputs},
        terms={name: names.terms[name] for name in shape.terms},
        hazards={
            id_: Hazard(id_, h.says, h.severity, h.exposure, h.avoidance)
            for id_, h in shape.hazards.items()
        },
        faults=faults,
        statements=statements,
        program=program,
        settings=_settings(shape),
        map_machines=tuple(shape.map) or tuple(shape.plant),
        unsafe=unsafe,
    )


def _output(shape: ModelShape, name: str) -> Output:
    given = {key.casefold(): value for key, value in shape.outputs.items()}.get(name.casefold())
    if given is None:
        return Output(name, "")
    return Output(name, given.says, given.lamp, given.sounds)


def _machines(document: Document, shape: ModelShape, mistakes: Mistakes) -> dict[str, Machine]:
    found: dict[str, Machine] = {}
    for name, machine in shape.plant.items():
        path: Path = ("plant", name)
        states = _distinct(machine.states, document, (*path, "states"), mistakes)
        initial = _state(machine.initial, states, document, (*path, "initial"), mistakes)
        found[name] = Machine(name, machine.says, states, initial or 0)
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
    if control.positions is None:
        released = 0
    return Machine(
        name, control.says, states, initial or 0, True, control.positions is None, released
    )


def _distinct(
    states: list[str], document: Document, path: Path, mistakes: Mistakes
) -> tuple[str, ...]:
    seen: set[str] = set()
    for number, state in enumerate(states):
        if state.casefold() in seen:
            mistakes.add(document.place((*path, number)), f"'{state}' is given twice")
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


def _moves(names: Names) -> list[ModelMove]:
    found: list[ModelMove] = []
    used: dict[str, int] = {}
    for name, machine in names.shape.plant.items():
        for number, move in enumerate(machine.moves):
            path: Path = ("plant", name, "moves", number)
            found += _moves_of(names, names.machines[name], machine, move, path, used)
    for name, control in names.shape.controls.items():
        found += _settings_of(names, names.machines[name], control)
    return found


def _moves_of(
    names: Names,
    machine: Machine,
    shape: MachineShape,
    move: MoveShape,
    path: Path,
    used: dict[str, int],
) -> list[ModelMove]:
    document, mistakes = names.document, names.mistakes
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
    result = []
    for number, source_name in enumerate(move.from_):
        here = (*path, "from", number) if len(move.from_) > 1 else (*path, "from")
        source = _state(source_name, machine.states, document, here, mistakes)
        if source is None or target is None:
            continue
        base = move.name or (
            f"{machine.name}: {machine.states[source]} to {machine.states[target]}"
        )
        used[base] = used.get(base, 0) + 1
        name = base if used[base] == 1 else f"{base} ({used[base]})"
        result.append(
            ModelMove(
                name=name,
                machine=machine.name,
                source=source,
                target=target,
                when=when,
                also=also,
                kind=MoveKind(move.by or shape.by),
                says=move.says or "",
                place=document.place(path),
            )
        )
    return result


def _settings_of(names: Names, control: Machine, shape: ControlShape) -> list[ModelMove]:
    """One move for each position that a control can be set to."""
    path: Path = ("controls", control.name)
    when = None
    if shape.when is not None:
        when = names.formula((*path, "when"), shape.when, names.physical())
    return [
        ModelMove(
            name=f"{control.name} to {position}",
            machine=control.name,
            source=None,
            target=number,
            when=when,
            also={},
            kind=MoveKind(shape.by),
            says=_says_set(control, number),
            place=names.document.key_place(path),
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


def _sensors(names: Names, program: Program) -> dict[str, Sensor]:
    inputs = {v.name.casefold(): v for v in program.inputs}
    document, mistakes = names.document, names.mistakes
    found: dict[str, Sensor] = {}
    for name, shape in names.shape.sensors.items():
        path: Path = ("sensors", name)
        place = document.key_place(path)
        declared = inputs.pop(name.casefold(), None)
        if declared is None:
            known = [v.name for v in program.inputs]
            said = f"'{name}' is not a VAR_INPUT of the program{nearest(name, known)}"
            mistakes.add(place, said)
        if shape.pair is not None:
            names.known(shape.pair, names.shape.sensors, (*path, "pair"), "a sensor")
        expected = declared.type if declared is not None else BOOL
        reads = names.formula((*path, "reads"), shape.reads, names.physical(), expected)
        if reads is not None and declared is not None:
            found[declared.name] = Sensor(declared.name, shape.says, reads, shape.pair, place)
    for missing in inputs.values():
        near = nearest(missing.name, set(names.shape.sensors) - set(found))
        mistakes.add(missing.place, f"input '{missing.name}' has no sensor in the model{near}")
    return found


def _check_outputs(names: Names) -> None:
    known = {name.casefold() for name in names.outputs}
    for name in names.shape.outputs:
        if name.casefold() not in known:
            said = f"'{name}' is not a VAR_OUTPUT of the program{nearest(name, names.outputs)}"
            names.mistakes.add(names.document.key_place(("outputs", name)), said)


def _faults(names: Names) -> dict[str, Fault]:
    found: dict[str, Fault] = {}
    for id_, shape in names.shape.faults.items():
        path: Path = ("faults", id_)
        place = names.document.key_place(path)
        if shape.sensor is not None:
            names.known(shape.sensor, names.shape.sensors, (*path, "sensor"), "a sensor")
        if shape.output is not None:
            names.known(shape.output, names.outputs, (*path, "output"), "an output")
        if (shape.sensor or shape.output) and shape.stuck is None:
            names.mistakes.add(place, f"{id_}: 'stuck' is missing: TRUE, FALSE or frozen")
        if shape.stuck and not (shape.sensor or shape.output):
            names.mistakes.add(place, f"{id_}: 'stuck' needs a 'sensor' or an 'output'")
        found[id_] = Fault(
            id_,
            shape.says,
            shape.sensor,
            shape.output,
            shape.stuck,
            shape.rate,
            shape.source,
            place,
        )
    return found
