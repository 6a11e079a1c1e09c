"""The controllers of a model file, each with its program: one, or several with names."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from interlock.base.errors import Place
from interlock.exchange.files import load_project
from interlock.model.controller import Controller
from interlock.model.names import Mistakes, is_reserved
from interlock.model.program_files import read_program_files
from interlock.model.read_timing import milliseconds
from interlock.model.schema import ModelShape
from interlock.model.schema_wired import ControllerShape
from interlock.model.yaml import Document, Path, Plain
from interlock.st import syntax as sx
from interlock.st.idle import without_idle, without_real_outputs
from interlock.st.layout import Settings, Timers, lay_out
from interlock.st.load import Loaded
from interlock.st.real_inputs import Limits
from interlock.st.typed import Program
from interlock.st.wired import NOT_WIRED, Wired, wired_by

CONTROLLER: Path = ("controller",)
_SEVERAL = "a model with several controllers"


@dataclass(frozen=True)
class ReadPrograms:
    """What was read of a model's controllers.

    Attributes
    ----------
    shape : ModelShape
        With what the program of a single one says of how it is run.
    controllers : tuple of Controller
        Without those whose program has mistakes.
    texts : mapping of str to str
        The text of every file of the programs, by its name.
    joins_counts : bool
        Whether more may be explored than they do, so that less has to be remembered.
    """

    shape: ModelShape
    controllers: tuple[Controller, ...]
    texts: Mapping[str, str]
    joins_counts: bool = False


def read_controllers(
    document: Document, shape: ModelShape, mistakes: Mistakes, beside: str = ""
) -> ReadPrograms:
    """Read and check the program of each controller; what is wrong is noted.

    Parameters
    ----------
    document : Document
    shape : ModelShape
    mistakes : Mistakes
    beside : str
        What else the model asks, beside its own file.

    Raises
    ------
    InputError
        Where the files of a program cannot be read.
    """
    asked = (*_texts(document.value), beside)
    if not shape.controllers:
        return _read_one(document, shape, mistakes, asked)
    _check_keys(document, shape, mistakes)
    found: list[Controller] = []
    read: dict[str, dict[str, str]] = {}
    for name, given in shape.controllers.items():
        path: Path = ("controllers", name)
        files = read_program_files(document, (*path, "program"), given.program)
        read[name] = files.texts
        with mistakes.collected():
            at = path if given.root is None else (*path, "root")
            place = document.place(at) if given.root else document.key_place(at)
            project = files.noted(_load(read[name], given.root, place, asked))
            found.append(_controller(document, shape, name, given, project, mistakes))
    _check_globals(document, found, read, mistakes)
    return ReadPrograms(
        shape, tuple(found), {k: v for texts in read.values() for k, v in texts.items()}
    )


def _read_one(
    document: Document, shape: ModelShape, mistakes: Mistakes, asked: Sequence[str]
) -> ReadPrograms:
    if shape.controller is None:
        # Null where it is given, as a revision with several controllers may.
        given = isinstance(document.value, dict) and CONTROLLER[0] in document.value
        place = document.place(CONTROLLER) if given else document.key_place(())
        mistakes.add(place, "'controller' is missing")
        return ReadPrograms(shape, (), {})
    files = read_program_files(document, CONTROLLER, shape.controller)
    texts = files.texts
    with mistakes.collected():
        key = "controller" if shape.root is None else "root"
        place = document.place((key,))
        project = _load(texts, shape.root, place, asked)
        named = (shape.sensors, shape.outputs)
        wired = wired_by(project.program, project.files, project.root, *named)
        if wired != NOT_WIRED:
            project = _load(texts, shape.root, place, asked, wired)
        project = files.noted(project)
        shape, project = _with_interval(shape, project, document, mistakes)
        # What nothing reads goes, however many values it has.
        needed = without_idle(without_real_outputs(project.program))[0]
        shape, project = _with_counting(shape, project, needed)
        settings = settings_of(shape)
        lay_out(needed, settings)
        return ReadPrograms(shape, (Controller("", project.program, settings, project),), texts)
    return ReadPrograms(shape, (), texts)


def _load(
    texts: Mapping[str, str],
    root: str | None,
    place: Place,
    asked: Sequence[str],
    wired: Wired = NOT_WIRED,
) -> Loaded:
    """Read a project; what the model asks for is not left out where there is another way."""
    limits = _limits(asked)
    project = load_project(texts, root, place, limits=limits, wired=wired)
    lost = {one.name.casefold() for one in project.program.left_out}
    if not lost:
        return project
    words = {word.casefold() for text in asked for word in re.findall(r"\w+", text)}
    named = {name for name in lost if set(re.findall(r"\w+", name)) <= words}
    return load_project(texts, root, place, named, limits, wired) if named else project


_PROSE = ("title", "says", "assumptions", "cautions")
_NAME = r"([^\W\d]\w*(?:\.\w+|\[[^\]]*\])*)"
_NUMBER = r"(-?\s*\d[\d_]*(?:\.\d[\d_]*)?(?:[eE][+-]?\d+)?)"
_SIGN = r"\s*(<=|>=|<>|<|>|=)\s*"
_LIMIT = re.compile(f"{_NAME}{_SIGN}{_NUMBER}")
_TURNED = re.compile(rf"(?<![\w.]){_NUMBER}{_SIGN}{_NAME}")
_TURN = {"<": ">", "<=": ">=", ">": "<", ">=": "<="}


def _limits(asked: Sequence[str]) -> Limits:
    """The numbers that the model compares inputs with; nothing else is called like these."""
    found: dict[str, set[tuple[str, float]]] = {}
    for text in asked:
        compared = _LIMIT.findall(text)
        compared += [
            (n, _TURN.get(sign, sign), number) for number, sign, n in _TURNED.findall(text)
        ]
        for name, sign, number in compared:
            limit = float(re.sub(r"[\s_]", "", number))
            found.setdefault("".join(name.casefold().split()), set()).add((sign, limit))
    return found


def _texts(value: Plain) -> Iterator[str]:
    """The texts of a model file but for what is written for people."""
    match value:
        case str():
            yield value
        case list():
            for part in value:
                yield from _texts(part)
        case dict():
            for key, part in value.items():
                yield key
                yield from _texts(part) if key not in _PROSE else ()
        case _:
            pass


def settings_of(shape: ModelShape) -> Settings:
    """How programs run, as the model file says."""
    return Settings(
        timers=Timers(shape.run.timers),
        scan_ms=shape.run.scan_ms,
        edges=1 if shape.run.edges == "first edition" else 2,
        overflow=shape.run.overflow,
    )


def _check_keys(document: Document, shape: ModelShape, mistakes: Mistakes) -> None:
    """Refuse what has no meaning beside several controllers, or none yet."""
    if len(shape.controllers) < 2:
        says = "one controller is given as 'controller: FILE'; 'controllers' has two or more"
        mistakes.add(document.key_place(("controllers",)), says)
    for name in shape.controllers:
        if is_reserved(name):
            says = f"'{name}' is a reserved word and cannot be a name"
            mistakes.add(document.key_place(("controllers", name)), says)
    if shape.controller is not None:
        says = "give 'controller' or 'controllers', not both"
        mistakes.add(document.key_place(CONTROLLER), says)
    if shape.root is not None:
        says = "each of 'controllers' has a 'root' of its own"
        mistakes.add(document.key_place(("root",)), says)
    for name, given in shape.controllers.items():
        if given.scan is not None and shape.run.time is None:
            says = "'scan' needs a model with time: 'run: {time: …}'; without, give 'scan_ms'"
            mistakes.add(document.key_place(("controllers", name, "scan")), says)
    if shape.matrix is not None:
        says = f"{_SEVERAL} takes no matrix so far: whose scan it is judged after is not said"
        mistakes.add(document.key_place(("matrix",)), says)


def _controller(
    document: Document,
    shape: ModelShape,
    name: str,
    given: ControllerShape,
    project: Loaded,
    mistakes: Mistakes,
) -> Controller:
    """One of several controllers, not yet wired."""
    path: Path = ("controllers", name)
    settings, notes = settings_of(shape), list(project.notes)
    period, task = given.scan_ms, project.task
    if task is not None and task.interval_ms is not None:
        if period not in (None, task.interval_ms):
            says = (
                f"the program's task runs every {task.interval_ms} ms, see {task.place}; "
                "give the same period here or none"
            )
            mistakes.add(document.place((*path, "scan_ms")), says)
        says = f"the period of {name}'s scan is the interval of its task: {task.interval_ms} ms"
        notes += [] if given.scan_ms else [sx.Note(task.place, says)]
        period = task.interval_ms
    settings = replace(settings, scan_ms=period or settings.scan_ms)
    needed = without_idle(without_real_outputs(project.program))[0]
    if needed.elapsed_reads and "timers" not in shape.run.model_fields_set:
        settings = replace(settings, timers=Timers.COUNTED)
        notes.append(_counted(needed, settings.scan_ms))
    lay_out(needed, settings)
    project = replace(project, notes=tuple(notes))
    return Controller(name, project.program, settings, project, place=document.key_place(path))


def _check_globals(
    document: Document,
    found: Sequence[Controller],
    read: Mapping[str, Mapping[str, str]],
    mistakes: Mistakes,
) -> None:
    """Refuse globals that two tasks seem to share: here each controller has its own memory.

    Two controllers with the same root are two of a kind, each with its own globals.
    """
    for number, later in enumerate(found):
        for first in found[:number]:
            shared = read[first.name].keys() & read[later.name].keys()
            assert first.project is not None
            assert later.project is not None
            if first.project.root == later.project.root:
                continue
            name = next(_globals_in(first.project, shared), None)
            if name is not None:
                says = (
                    f"'{name}' is a global in a file of both {first.name} and {later.name}, and "
                    "each controller has a memory of its own; make it an output of one and an "
                    "input of the other"
                )
                mistakes.add(document.key_place(("controllers", later.name)), says)


def _globals_in(project: Loaded, files: set[str]) -> Iterator[str]:
    for file in project.files:
        for declared in file.globals:
            if not declared.constant and declared.place.file in files:
                yield from (name.text for name in declared.names)


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
    run = shape.run.model_copy(update={"timers": "counted"})
    told = replace(project, notes=(*project.notes, _counted(needed, shape.run.scan_ms)))
    return shape.model_copy(update={"run": run}), told


def _counted(needed: Program, scan_ms: int) -> sx.Note:
    says = f"timers are counted, in scans of {scan_ms} ms, since ET is read here"
    return sx.Note(needed.elapsed_reads[0], says)
