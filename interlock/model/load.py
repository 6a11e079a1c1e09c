"""Reading a model folder: ``model.yaml`` and the controller's program beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path as FilePath

from interlock.base.errors import nearest
from interlock.exchange.files import load_project
from interlock.model.between import BetweenScans
from interlock.model.build import ARITHMETIC, TIME
from interlock.model.effect_matrix import EffectMatrix
from interlock.model.faults import read_faults
from interlock.model.files import MODEL_FILE
from interlock.model.free_inputs import read_free_inputs
from interlock.model.inside import inside_names, names_beside
from interlock.model.machines import read_machines, read_moves
from interlock.model.matrix_entries import check_lines, with_matrix
from interlock.model.model import (
    Delay,
    Formula,
    Hazard,
    Model,
    Output,
    Sensor,
    Statement,
    Supply,
)
from interlock.model.names import Mistakes, Names
from interlock.model.program_files import read_program_files
from interlock.model.read_ages import read_ages
from interlock.model.read_timing import milliseconds, read_timing
from interlock.model.revise import Read, read_model_file
from interlock.model.schema import ModelShape
from interlock.model.schema_wired import OutputShape, SensorShape
from interlock.model.shape import shape_of
from interlock.model.side_view import ReadView, read_side_view
from interlock.model.statements import read_statement
from interlock.model.yaml import Document, Path
from interlock.st import syntax as sx
from interlock.st.evaluate import reads_of
from interlock.st.idle import without_idle, without_real_outputs
from interlock.st.layout import Settings, Timers, lay_out
from interlock.st.load import Loaded
from interlock.st.typed import Program
from interlock.st.types import BOOL, Type

# Red danger, yellow abnormal, blue mandatory action (IEC 60073).
_ABNORMAL = ("red", "yellow", "blue")


def load(folder: FilePath | str) -> Model:
    """Read and check the model in `folder`, with the model that it revises where it does.

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
    found = read_model_file(folder)
    shape = shape_of(found.document)
    mistakes = Mistakes()
    document, shape, matrix = with_matrix(found.document, shape, mistakes)
    if not shape.requirements and not mistakes.found:
        mistakes.add(document.key_place(()), "'requirements' is missing")
    texts = read_program_files(found.document, shape)
    found = replace(found, document=document)
    project: Loaded | None = None
    with mistakes.collected():
        key = "controller" if shape.root is None else "root"
        project = load_project(texts, shape.root, found.document.place((key,)))
        shape, project = _with_interval(shape, project, found.document, mistakes)
        # What nothing reads goes, however many values it has.
        needed = without_idle(without_real_outputs(project.program))[0]
        shape, project = _with_counting(shape, project, needed)
        lay_out(needed, _settings(shape))
    model = None
    if project is not None:
        # Without the outputs' names, the model's expressions could not be judged.
        model = _resolve(folder, found, shape, project, mistakes, texts, matrix)
        mistakes.explain(project.program.left_out)
    mistakes.raise_if_any()
    assert model is not None, "a model that is not resolved has mistakes"
    return model


def _lies_within(interval_ms: int, shape: ModelShape) -> bool:
    """Whether a task's interval is one of the times from scan to scan, where these are given."""
    scan = None if shape.run.time is None else shape.run.time.scan
    least, greatest = map(milliseconds, scan or ("", ""))
    if least is None or greatest is None:
        return True  # What is wrong with them is noted where they are read.
    return least <= interval_ms <= greatest


def _with_interval(
    shape: ModelShape, project: Loaded, document: Document, mistakes: Mistakes
) -> tuple[ModelShape, Loaded]:
    """The period of the scan from the program's task, where the model gives none."""
    task = project.task
    if task is None or task.interval_ms is None or task.interval_ms == shape.run.scan_ms:
        return shape, project
    if "scan_ms" in shape.run.model_fields_set:
        says = (
            f"the program's task runs every {task.interval_ms} ms, see {task.place}; "
            "give the same period here or none"
        )
        mistakes.add(document.place(("run", "scan_ms")), says)
        return shape, project
    if not _lies_within(task.interval_ms, shape):
        runs = f"the program's task runs every {task.interval_ms} ms, see {task.place}"
        says = f"{runs}, which these times leave out"
        mistakes.add(document.place(("run", "time", "scan")), says)
        return shape, project
    run = shape.run.model_copy(update={"scan_ms": task.interval_ms})
    note = sx.Note(task.place, f"the scan's period is the interval of its task: {run.scan_ms} ms")
    told = replace(project, notes=(*project.notes, note))
    return shape.model_copy(update={"run": run}), told


def _with_counting(
    shape: ModelShape, project: Loaded, needed: Program
) -> tuple[ModelShape, Loaded]:
    """Counted timers where ET is read, if the model does not say."""
    if not needed.elapsed_reads or "timers" in shape.run.model_fields_set:
        return shape, project
    says = f"timers are counted, in scans of {shape.run.scan_ms} ms, since ET is read here"
    note = sx.Note(needed.elapsed_reads[0], says)
    run = shape.run.model_copy(update={"timers": "counted"})
    told = replace(project, notes=(*project.notes, note))
    return shape.model_copy(update={"run": run}), told


def _settings(shape: ModelShape) -> Settings:
    return Settings(
        timers=Timers(shape.run.timers),
        scan_ms=shape.run.scan_ms,
        edges=1 if shape.run.edges == "first edition" else 2,
        overflow=shape.run.overflow,
    )


def _resolve(
    folder: FilePath,
    found: Read,
    shape: ModelShape,
    project: Loaded,
    mistakes: Mistakes,
    texts: Mapping[str, str],
    matrix: EffectMatrix | None,
) -> Model | None:
    document, program = found.document, without_real_outputs(project.program)
    settings, machines = _settings(shape), read_machines(document, shape, mistakes)
    inputs = {v.name: v.type for v in program.inputs}
    outputs = {v.name: v.type for v in program.variables if v.kind == "VAR_OUTPUT"}
    inside = inside_names(program)
    names = Names(document, shape, mistakes, machines, inputs, outputs, inside)
    names.check_unique()
    # What a shared name stands for is not known, so nothing more could be said rightly.
    mistakes.raise_if_any()
    for term in shape.terms:
        names.term(term, document.key_place(("terms", term)))
    moves = read_moves(names)
    timing = read_timing(names, moves, program)
    sensors = _sensors(names, program)
    _check_outputs(names)
    _check_delays(names)
    faults = read_faults(names)
    statements = _statements(names, matrix)
    for number, name in enumerate(shape.map):
        names.known(name, machines, ("map", number), "a machine")
    side_view = read_side_view(names)
    supplies = _supplies(names)
    if mistakes.found:
        return None
    read = _inside_read(statements, inside, program)
    named = {*read.values(), *names_beside(folder, found.texts.values(), outputs)}
    program, left_out = without_idle(program, {name.casefold() for name in named})
    outputs = {v.name: v.type for v in program.variables if v.kind == "VAR_OUTPUT"}
    free = read_free_inputs(names, program, settings)
    machines |= {one.machine.name: one.machine for one in free}
    moves += [move for one in free for move in one.moves]
    sensors |= {one.sensor.name: _described(shape, one.sensor) for one in free}
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
        outputs={n: _output(names, n) for n in outputs},
        terms={name: names.terms[name] for name in shape.terms} | _free_truth(names, sensors),
        hazards=_hazards(shape),
        faults=faults,
        statements=statements,
        program=program,
        project=replace(project, program=program, notes=(*project.notes, *left_out)),
        program_files=tuple(texts),
        settings=settings,
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


def _beside(matrix: EffectMatrix | None, side_view: ReadView | None) -> dict[str, str]:
    """The texts of what the model file names besides its program."""
    found = {} if side_view is None else dict(side_view.source)
    return found if matrix is None else {**found, matrix.source_name: matrix.text}


def _hazards(shape: ModelShape) -> dict[str, Hazard]:
    return {
        id_: Hazard(id_, h.says, h.severity, h.exposure, h.avoidance)
        for id_, h in shape.hazards.items()
    }


def _inside_read(
    statements: Mapping[str, Statement], inside: Mapping[str, Type], program: Program
) -> dict[str, str]:
    """The program's own names of what requirements name inside it."""
    known = {path.casefold() for path in inside}
    formulas = (f for s in statements.values() for f in (s.p, s.s, s.when, s.opens, s.closes))
    read = {r.name.casefold() for f in formulas if f is not None for r in reads_of(f.tree)}
    cut = len(program.name) + 1
    return {path: path[cut:] for path in sorted(read & known)}


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
    delay = _delay(given)
    address, terminal = given.address or "", given.terminal or ""
    return Output(name, given.says, given.lamp, given.sounds, announces, delay, address, terminal)


def _delay(given: SensorShape | OutputShape) -> Delay | None:
    if given.delay_ms is None:
        return None
    return Delay(given.delay_ms, given.delay_source, given.delay_assumed)


def _check_delays(names: Names) -> None:
    for section in ("sensors", "outputs"):
        for name, given in getattr(names.shape, section).items():
            unfounded = not given.delay_assumed and given.delay_source is None
            if given.delay_ms is not None and unfounded:
                place = names.document.place((section, name, "delay_ms"))
                said = "a delay needs its 'delay_source', or 'delay_assumed: true'"
                names.mistakes.add(place, said)


def _sensors(names: Names, program: Program) -> dict[str, Sensor]:
    inputs = {v.name.casefold(): v for v in program.inputs}
    document, mistakes = names.document, names.mistakes
    found: dict[str, Sensor] = {}
    ages = read_ages(names)
    for name, shape in names.shape.sensors.items():
        path: Path = ("sensors", name)
        place = document.key_place(path)
        declared = inputs.pop(name.casefold(), None)
        if declared is None:
            known = list(names.inputs)
            said = f"'{name}' is not a VAR_INPUT of the program{nearest(name, known)}"
            mistakes.add(place, said)
        if shape.pair is not None:
            here = (*path, "pair")
            names.known(shape.pair, names.shape.sensors, here, "a sensor")
            if shape.pair == name:
                mistakes.add(document.place(here), "a sensor cannot be its own other channel")
        if shape.reads is None:
            continue
        expected = declared.type if declared is not None else BOOL
        reads = names.formula((*path, "reads"), shape.reads, names.physical(), expected)
        if reads is not None and declared is not None:
            age, bus = ages.get(name.casefold(), (0, ""))
            sensor = Sensor(declared.name, shape.says, reads, shape.pair, place, age=age, bus=bus)
            found[declared.name] = _described(names.shape, sensor)
    return found


def _described(shape: ModelShape, sensor: Sensor) -> Sensor:
    """The sensor with what the model file says of it besides what it reads."""
    given = {name.casefold(): entry for name, entry in shape.sensors.items()}
    entry = given.get(sensor.name.casefold())
    if entry is None:
        return sensor
    return replace(
        sensor,
        says=entry.says or sensor.says,
        pair=entry.pair,
        delay=_delay(entry),
        address=entry.address or "",
        terminal=entry.terminal or "",
    )


def _check_outputs(names: Names) -> None:
    known = {name.casefold() for name in names.outputs}
    for name in names.shape.outputs:
        if name.casefold() not in known:
            said = f"'{name}' is not a VAR_OUTPUT of the program{nearest(name, names.outputs)}"
            names.mistakes.add(names.document.key_place(("outputs", name)), said)
