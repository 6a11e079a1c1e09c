"""Variables inside the program that requirements may name by their path."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from pathlib import Path

from interlock.model.controller import Controller
from interlock.model.files import is_read
from interlock.model.model import Model
from interlock.st.blocks import BLOCKS
from interlock.st.layout import lay_out
from interlock.st.load import Loaded
from interlock.st.typed import Program
from interlock.st.types import BOOL, Type

_BESIDE = (".yaml", ".svg")
_COMMENT = re.compile(r"^[ \t]*#.*$", re.MULTILINE)


def inside_names(program: Program, called: str = "") -> dict[str, Type]:
    """Types by path, as ``program.block.step`` and ``program.timer.Q``.

    Inputs have none: what they read is the truth or a signal. Of several controllers the path
    begins with what the controller is `called`.
    """
    found = {v.name: v.type for v in program.variables if v.kind in ("VAR", "VAR_OUTPUT")}
    for instance in program.instances:
        for output, type_ in BLOCKS[instance.block].outputs.items():
            if type_ == BOOL:
                found[f"{instance.name}.{output}"] = BOOL
    return {f"{called or program.name}.{name}": type_ for name, type_ in found.items()}


def other_names(controller: Controller) -> dict[str, tuple[str, ...]]:
    """Further ways to write what a program has, casefolded, each with what it may be called.

    Its variables without the name of the program, and what a list of globals has behind the name
    of the list. The path of one of several controllers is never cut short.
    """
    program, project = controller.program, controller.project
    if controller.name or project is None:
        return {}
    path = {v.name: f"{program.name}.{v.name}" for v in program.variables}
    found: dict[str, tuple[str, ...]] = {n.casefold(): (whole,) for n, whole in path.items()}
    found |= {whole.partition(".")[2].casefold(): (whole,) for whole in inside_names(program)}
    for other, name in _of_started(project, path).items():
        found.setdefault(other, (name, path[name]))
    hidden = _declared_by_root(project)
    for file in project.files:
        listed = {name.text.casefold() for d in file.globals for name in d.names} - hidden
        for name in path:
            if re.split(r"[.\[]", name.casefold(), maxsplit=1)[0] in listed:
                found.setdefault(f"{file.name}.{name}".casefold(), (name, path[name]))
    return found


def _of_started(project: Loaded, names: Iterable[str]) -> dict[str, str]:
    """What programs of one task have, without the instance or by the program, where it is one."""
    made = project.files[-1]
    if [instance.name for instance in made.instances] != [project.root]:
        return {}
    own = (d for unit in made.units for d in unit.declarations if d.kind == "VAR")
    program_of = {name.text.casefold(): d.type.name for d in own for name in d.names}
    found: dict[str, list[str]] = {}
    for name in names:
        instance, _, rest = name.casefold().partition(".")
        if rest and instance in program_of:
            found.setdefault(rest, []).append(name)
            found.setdefault(f"{program_of[instance].casefold()}.{rest}", []).append(name)
    return {other: meant[0] for other, meant in found.items() if len(meant) == 1}


def _declared_by_root(project: Loaded) -> set[str]:
    """The names that the root declares itself, or a base of it: they hide globals."""
    units = {unit.name.casefold(): unit for file in project.files for unit in file.units}
    found: set[str] = set()
    unit = units.pop(project.root.casefold(), None)
    while unit is not None:
        own = (d for d in unit.declarations if d.kind != "VAR_EXTERNAL")
        found |= {name.text.casefold() for d in own for name in d.names}
        unit = units.pop(unit.extends.rpartition(".")[2].casefold(), None)
    return found


def names_beside(folder: Path, texts: Iterable[str], names: Iterable[str]) -> set[str]:
    """Those of `names` that stand somewhere in `texts` or in a model's or drawing's file.

    A comment asks for nothing.
    """
    is_read(folder, _BESIDE)
    beside = [file for file in folder.iterdir() if file.suffix in _BESIDE and file.is_file()]
    for file in beside:
        is_read(file)
    read = [file.read_text("utf-8", errors="replace") for file in beside]
    said = [_COMMENT.sub("", text) for text in (*texts, *read)]
    words = {word.casefold() for text in said for word in re.findall(r"\w+", text)}
    return {name for name in names if set(re.findall(r"\w+", name.casefold())) <= words}


def variables_inside(model: Model) -> dict[str, str]:
    """The kernel's variable behind each path inside the program that a requirement names."""
    if not model.inside:
        return {}
    found = {}
    for one in model.controllers:
        names = lay_out(one.program, one.settings).names
        for path, name in inside_of(one, model.inside).items():
            found[path] = one.variable(names[name])
    return found


def inside_of(controller: Controller, inside: Mapping[str, str]) -> dict[str, str]:
    """Those of the paths in `inside` that lead into the program of `controller`."""
    begins = f"{controller.name.casefold()}." if controller.name else ""
    return {path: name for path, name in inside.items() if path.startswith(begins)}
