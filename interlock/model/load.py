"""Reading a model folder: ``model.yaml`` and the controller's program beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path as FilePath
from typing import Any

from interlock.base.errors import nearest
from interlock.model.between import BetweenScans
from interlock.model.build import ARITHMETIC, TIME
from interlock.model.controller import OF_SEVERAL, Controller
from interlock.model.effect_matrix import EffectMatrix
from interlock.model.exact_unit import with_its_unit
from interlock.model.faults import read_faults
from interlock.model.files import MODEL_FILE
from interlock.model.free_inputs import Classes, read_free_inputs, with_classes
from interlock.model.inside import inside_names, inside_of, names_beside, other_names
from interlock.model.lost_messages import with_lost_messages
from interlock.model.machines import read_machines, read_moves
from interlock.model.matrix_entries import check_lines, with_matrix
from interlock.model.model import (
    Formula,
    Hazard,
    Machine,
    Model,
    Output,
    Sensor,
    Statement,
    Supply,
)
from interlock.model.names import Mistakes, Names
from interlock.model.read_ages import read_ages
from interlock.model.read_controllers import ReadPrograms, read_controllers
from interlock.model.read_delays import check_delays, delay_of
from interlock.model.read_quantities import Edges
from interlock.model.read_timing import read_timing
from interlock.model.revise import Read, read_model_file
from interlock.model.scaled import read_scaled
from interlock.model.schema import ModelShape
from interlock.model.shape import shape_of
from interlock.model.side_view import ReadView, read_side_view
from interlock.model.statements import read_statement
from interlock.model.timing import Timing
from interlock.model.wiring import periods_of, shared_by, usual_age, wired
from interlock.model.yaml import Document, Path
from interlock.st.any_values import notes_of, without_unread
from interlock.st.evaluate import reads_of
from interlock.st.idle import without_idle, without_real_outputs
from interlock.st.joined_counts import with_less_memory
from interlock.st.types import BOOL, Type

# Red danger, yellow abnormal, blue mandatory action (IEC 60073).
_ABNORMAL = ("red", "yellow", "blue")


def load(folder: FilePath | str, joins_counts: bool = False) -> Model:
    """Read and check the model in `folder`, with the model that it revises where it does.

    Parameters
    ----------
    folder : path
        A model folder, or the ``model.yaml`` in it.
    joins_counts : bool
        Whether the program may do more than it does, and remember less, where it counts on without
        an end (`interlock.st.joined_counts`); what no requirement and no plant needs is left out.

    Raises
    ------
    InputError
        With every mistake of the files, each with its place.
    """
    folder = FilePath(folder)
    if folder.name == MODEL_FILE:
        folder = folder.parent
    found = read_model_file(folder)
    shape = shape_of(found.document)
    mistakes = Mistakes()
    document, shape, matrix = with_matrix(found.document, shape, mistakes)
    document, shape = with_lost_messages(document, shape, mistakes)
    if not shape.requirements and not mistakes.found:
        mistakes.add(document.key_place(()), "'requirements' is missing")
    beside = "" if matrix is None else matrix.text
    programs = read_controllers(found.document, shape, mistakes, beside)
    programs = replace(programs, joins_counts=joins_counts)
    found = replace(found, document=document)
    model = None
    if len(programs.controllers) == max(1, len(shape.controllers)):
        # Without the outputs' names, the model's expressions could not be judged.
        def resolve(shape: ModelShape) -> Model | None:
            return _resolved(folder, found, replace(programs, shape=shape), mistakes, matrix)

        model = with_its_unit(resolve, document, programs.shape, mistakes)
        for one in programs.controllers:
            mistakes.explain(one.program.left_out)
    mistakes.raise_if_any()
    assert model is not None, "a model that is not resolved has mistakes"
    return model


def _resolved(
    folder: FilePath,
    found: Read,
    programs: ReadPrograms,
    mistakes: Mistakes,
    matrix: EffectMatrix | None,
) -> Model | None:
    """The model, its quantities parted wherever the program tells apart what it reads of them."""
    edges: dict[str, set[Fraction]] = {}
    while True:
        model = _resolve(folder, found, programs, mistakes, matrix, edges)
        if isinstance(model, Model) or model is None:
            return model
        edges = {name: edges.get(name, set()) | more for name, more in model.items()} | {
            name: known for name, known in edges.items() if name not in model
        }


def _resolve(
    folder: FilePath,
    found: Read,
    programs: ReadPrograms,
    mistakes: Mistakes,
    matrix: EffectMatrix | None,
    edges: Edges,
) -> Model | Mapping[str, set[Fraction]] | None:
    """The model, or at which more numbers its quantities are to be parted first."""
    document, shape, texts = found.document, programs.shape, programs.texts
    machines = read_machines(document, shape, edges, mistakes)
    real = [replace(one, program=without_real_outputs(one.program)) for one in programs.controllers]
    controllers: Sequence[Controller] = wired(real, document, shape, mistakes)
    names = _names(document, shape, mistakes, machines, controllers)
    moves = read_moves(names)
    timing = read_timing(names, moves, controllers)
    sensors = _sensors(names, controllers, timing)
    controllers = _scanning(names, controllers)
    _check_outputs(names)
    check_delays(names, sensors, timing, shared_by(controllers))
    faults = read_faults(names)
    statements = _statements(names, matrix)
    for number, name in enumerate(shape.map):
        names.known(name, machines, ("map", number), "a machine")
    side_view = read_side_view(names)
    supplies = _supplies(names)
    if mistakes.found:
        return None
    scaled = read_scaled(names, controllers)
    if mistakes.found or scaled.missing:
        return None if mistakes.found else scaled.missing
    sensors |= {n: replace(sensors[n], reads=reads) for n, reads in scaled.reads.items()}
    read = _inside_read(statements, names.inside)
    beside = names_beside(folder, found.texts.values(), names.outputs)
    asked = names if len(controllers) == 1 else None
    joins = programs.joins_counts
    sliced = [_sliced(one, beside, read, asked, joins) for one in controllers]
    controllers, classes = [one for one, _ in sliced], sliced[0][1]
    free = read_free_inputs(names, controllers, classes)
    machines |= {one.machine.name: one.machine for one in free}
    moves += [move for one in free for move in one.moves]
    sensors |= {one.sensor.name: _described(names, one.sensor) for one in free}
    if mistakes.found:
        return None
    return Model(
        title=shape.title,
        says=shape.says,
        folder=folder,
        assumptions=tuple(shape.assumptions),
        cautions=tuple(shape.cautions),
        between_scans=BetweenScans.read(shape.run.between_scans),
        machines=machines,
        moves=tuple(moves),
        sensors=sensors,
        outputs={n: _output(names, n) for one in controllers for n in one.written},
        terms={name: names.terms[name] for name in shape.terms} | _free_truth(names, sensors),
        hazards=_hazards(shape),
        faults=faults,
        statements=statements,
        **_programs(controllers),
        program_files=tuple(texts),
        map_machines=tuple(shape.map) or tuple(shape.plant),
        unsafe=_unsafe(names),
        sources={**found.texts, **texts, **_beside(matrix, side_view)},
        revises=found.revises,
        changes=tuple(shape.changes),
        expected_violated=tuple(shape.expected.violated),
        expected_vacuous=tuple(shape.expected.vacuous),
        expected_under={fault: tuple(ids) for fault, ids in shape.expected.under.items()},
        side_view=None if side_view is None else side_view.moving,
        supplies=supplies,
        inside=read,
        matrix=matrix,
        timing=timing,
    )


def _names(
    document: Document,
    shape: ModelShape,
    mistakes: Mistakes,
    machines: Mapping[str, Machine],
    controllers: Sequence[Controller],
) -> Names:
    """Every name of the model, its terms checked."""
    inputs = {name: v.type for one in controllers for name, v in one.inputs.items()}
    outputs = {name: v.type for one in controllers for name, v in one.written.items()}
    inside = _inside(controllers)
    others = other_names(controllers[0])
    names = Names(document, shape, mistakes, machines, inputs, outputs, inside, others)
    names.check_unique()
    # What a shared name stands for is not known, so nothing more could be said rightly.
    mistakes.raise_if_any()
    for term in shape.terms:
        names.term(term, document.key_place(("terms", term)))
    return names


def _beside(matrix: EffectMatrix | None, side_view: ReadView | None) -> dict[str, str]:
    """The texts of what the model file names besides its program."""
    found = {} if side_view is None else dict(side_view.source)
    return found if matrix is None else {**found, matrix.source_name: matrix.text}


def _hazards(shape: ModelShape) -> dict[str, Hazard]:
    return {
        id_: Hazard(id_, h.says, h.severity, h.exposure, h.avoidance)
        for id_, h in shape.hazards.items()
    }


def _programs(controllers: Sequence[Controller]) -> dict[str, Any]:
    """The fields of a model that hold its programs."""
    if len(controllers) > 1:
        nobody = dict.fromkeys(("program", "settings", "project"), OF_SEVERAL)
        return {**nobody, "several": tuple(controllers)}
    (one,) = controllers
    return {"program": one.program, "settings": one.settings, "project": one.project}


def _inside(controllers: Sequence[Controller]) -> dict[str, Type]:
    """What requirements may name inside programs, by path; what has a name already, by that."""
    found: dict[str, Type] = {}
    for one in controllers:
        found |= inside_names(one.program, one.name)
    taken = {name.casefold() for one in controllers for name in one.written}
    return {path: type_ for path, type_ in found.items() if path.casefold() not in taken}


def _sliced(
    one: Controller, beside: set[str], read: Mapping[str, str], names: Names | None, joins: bool
) -> tuple[Controller, Classes]:
    """The controller without numbers that nothing reads, with a note of each.

    With `names`, of the only controller, also the classes of its free inputs; what has none is then
    taken as any value, as far as it can be.
    """
    named = {
        *inside_of(one, read).values(),
        *(v.name for n, v in one.written.items() if n in beside),
    }
    needed = {name.casefold() for name in named}
    program, left_out = without_idle(one.program, needed)
    if joins:
        program, more = with_less_memory(program, needed, one.settings)
        left_out = (*left_out, *more)
    program = without_unread(program)
    classes: Classes = {}
    if names is not None:
        program, classes, more = with_classes(names, replace(one, program=program), needed)
        left_out = (*left_out, *more)
    assert one.project is not None
    notes = (*one.project.notes, *left_out, *notes_of(program))
    project = replace(one.project, program=program, notes=notes)
    return replace(one, program=program, project=project), classes


def _scanning(names: Names, controllers: Sequence[Controller]) -> list[Controller]:
    """The controllers with the condition under which each scans at all."""
    found = []
    for one in controllers:
        shape = names.shape.controllers.get(one.name)
        if shape is not None and shape.scans_while is not None:
            path: Path = ("controllers", one.name, "scans_while")
            condition = names.formula(path, shape.scans_while, names.physical())
            one = one if condition is None else replace(one, scans_while=condition.tree)
        found.append(one)
    return found


def _inside_read(statements: Mapping[str, Statement], inside: Mapping[str, Type]) -> dict[str, str]:
    """The program's own names of what requirements name inside it."""
    known = {path.casefold() for path in inside}
    formulas = (f for s in statements.values() for f in (s.p, s.s, s.when, s.opens, s.closes))
    read = {r.name.casefold() for f in formulas if f is not None for r in reads_of(f.tree)}
    return {path: path.partition(".")[2] for path in sorted(read & known)}


def _free_truth(names: Names, sensors: Mapping[str, Sensor]) -> dict[str, Formula]:
    """Free inputs as terms: no sensor stands between them and what requirements speak of."""
    known = names.truth()
    return {n: s.reads for n, s in sensors.items() if s.is_free and n in known}


def _statements(names: Names, matrix: EffectMatrix | None) -> dict[str, Statement]:
    found = {}
    unclear = frozenset() if matrix is None else check_lines(names, matrix)
    for id_, shape in names.shape.requirements.items():
        if id_ in unclear:
            continue
        if id_ == ARITHMETIC or (id_ == TIME and names.shape.run.time is not None):
            place = names.document.key_place(("requirements", id_))
            names.mistakes.add(place, f"'{id_}' is a requirement that interlock adds itself")
        statement = read_statement(names, id_, shape)
        if statement is not None:
            found[id_] = statement
    expected = names.shape.expected
    for kind, ids in (("violated", expected.violated), ("vacuous", expected.vacuous)):
        for number, id_ in enumerate(ids):
            path: Path = ("expected", kind, number)
            names.known(id_, names.shape.requirements, path, "a requirement")
    for fault, ids in expected.under.items():
        names.known(fault, names.shape.faults, ("expected", "under", fault), "a fault")
        for number, id_ in enumerate(ids):
            path = ("expected", "under", fault, number)
            names.known(id_, names.shape.requirements, path, "a requirement")
    return found


def _unsafe(names: Names) -> Formula | None:
    if names.shape.unsafe is None:
        return None
    return names.formula(("unsafe",), names.shape.unsafe, names.truth())


def _supplies(names: Names) -> dict[str, Supply]:
    found = {}
    for name, shape in names.shape.power.items():
        formula = names.formula(("power", name, "while"), shape.while_, names.physical())
        if formula is not None:
            found[name] = Supply(name, shape.says, formula)
    return found


def _output(names: Names, name: str) -> Output:
    written = {key.casefold(): key for key in names.shape.outputs}.get(name.casefold())
    if written is None:
        return Output(name, "")
    given = names.shape.outputs[written]
    announces = given.announces
    if announces is None:
        announces = given.sounds or given.lamp in _ABNORMAL
    delay = delay_of(names, "outputs", written)
    address, terminal = given.address or "", given.terminal or ""
    return Output(name, given.says, given.lamp, given.sounds, announces, delay, address, terminal)


def _sensors(
    names: Names, controllers: Sequence[Controller], timing: Timing | None
) -> dict[str, Sensor]:
    inputs = {name.casefold(): (name, type_) for name, type_ in names.inputs.items()}
    document, mistakes = names.document, names.mistakes
    found: dict[str, Sensor] = {}
    ages = read_ages(names, periods_of(controllers, names.shape, timing), shared_by(controllers))
    for name, shape in names.shape.sensors.items():
        path: Path = ("sensors", name)
        place = document.key_place(path)
        declared = inputs.pop(name.casefold(), None)
        if declared is None:
            mistakes.add(place, _no_input(names, name))
        if shape.pair is not None:
            here = (*path, "pair")
            names.known(shape.pair, names.shape.sensors, here, "a sensor")
            if shape.pair == name:
                mistakes.add(document.place(here), "a sensor cannot be its own other channel")
        if shape.reads is None:
            continue
        # What is scaled is any number so far, of any type.
        expected = None if shape.scaled else declared[1] if declared is not None else BOOL
        reads = names.formula((*path, "reads"), shape.reads, names.physical(), expected)
        if reads is not None and declared is not None:
            age, bus = ages.get(name.casefold()) or usual_age(names, controllers, name, reads)
            sensor = Sensor(declared[0], shape.says, reads, shape.pair, place, age=age, bus=bus)
            found[sensor.name] = _described(names, sensor)
    return found


def _no_input(names: Names, name: str) -> str:
    """Why what a sensor is called is no input of the program."""
    if name.casefold() in names.others:
        return (
            f"'{name}' is not an input: one is a VAR_INPUT, at an address %I, or a plain variable "
            "of the PROGRAM, or a global, that nothing in the program writes"
        )
    return f"'{name}' is not a VAR_INPUT of the program{nearest(name, list(names.inputs))}"


def _described(names: Names, sensor: Sensor) -> Sensor:
    """The sensor with what the model file says of it besides what it reads."""
    written = {name.casefold(): name for name in names.shape.sensors}.get(sensor.name.casefold())
    if written is None:
        return sensor
    entry = names.shape.sensors[written]
    return replace(
        sensor,
        says=entry.says or sensor.says,
        pair=entry.pair,
        delay=delay_of(names, "sensors", written),
        address=entry.address or "",
        terminal=entry.terminal or "",
    )


def _check_outputs(names: Names) -> None:
    known = {name.casefold() for name in names.outputs}
    for name in names.shape.outputs:
        if name.casefold() not in known:
            said = f"'{name}' is not a VAR_OUTPUT of the program{nearest(name, names.outputs)}"
            names.mistakes.add(names.document.key_place(("outputs", name)), said)
