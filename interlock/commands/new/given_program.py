"""The program that a new model is made for: its files, and where they lie in the model's folder.

They are copied into ``program``, so that the model is complete in itself and what was verified
stays what it was. Files that lie in the model's folder already are named where they are.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from interlock.base.errors import InputError, Mistake, Place
from interlock.exchange.files import load_project
from interlock.model.files import ENDINGS
from interlock.model.program_files import MOST_FILES, ProgramTexts
from interlock.st.load import Loaded
from interlock.st.wired import NOT_WIRED, wired_by

FOLDER = "program"


@dataclass(frozen=True)
class GivenProgram:
    """A program as it was given.

    Attributes
    ----------
    project : Loaded
    copies : dict of str to str
        What is to be written into the model's folder, by name.
    controller : list of str
        What the model file names as its program.
    root : str
        The unit that is executed in each scan; empty where it is one made of several.
    told : list of str
        Which files were not in the usual encoding.
    texts : dict of str to str
        What was read, by file.
    """

    project: Loaded
    copies: dict[str, str]
    controller: list[str]
    root: str
    told: list[str]
    texts: dict[str, str]

    def with_wired(self, inputs: Iterable[str], outputs: Iterable[str]) -> GivenProgram:
        """The program with plain variables of these names as inputs and outputs."""
        project = self.project
        wired = wired_by(project.program, project.files, project.root, inputs, outputs)
        if wired == NOT_WIRED:
            return self
        again = load_project(self.texts, self.root or None, wired=wired)
        return replace(self, project=replace(again, notes=(*project.notes, *again.notes)))


def read_given(given: Sequence[Path], folder: Path, root: str | None) -> GivenProgram:
    """Read the program in files and folders.

    Parameters
    ----------
    given : sequence of Path
    folder : Path
        The model's own.
    root : str, optional
        The unit that is executed in each scan.

    Raises
    ------
    InputError
        Where a file cannot be read, two have one name, or the program is not right.
    """
    program = ProgramTexts()
    texts = program.texts
    copies: dict[str, str] = {}
    controller: list[str] = []
    called: dict[str, Path] = {}
    for file, inner in (found for path in given for found in _files(path)):
        place = Place(str(file), 1, 1)
        if str(file) in texts:
            continue
        before = called.setdefault(file.name.casefold(), file)
        if before != file:
            says = f"{before} has the same name; files of a program need own names"
            raise InputError([Mistake(place, says)])
        if len(texts) >= MOST_FILES:
            raise InputError([Mistake(place, f"more than {MOST_FILES} files of a program")])
        program.add(file)
        if file.resolve().is_relative_to(folder.resolve()):
            controller.append(file.resolve().relative_to(folder.resolve()).as_posix())
        else:
            copies[f"{FOLDER}/{inner}"] = texts[str(file)]
    if not texts:
        says = f"there is no program in it; files of programs end in {', '.join(ENDINGS[:4])}"
        raise InputError([Mistake(Place(str(given[0]), 1, 1), says)])
    project = load_project(texts, root, Place(str(given[0]), 1, 1))
    project = replace(project, notes=(*program.notes, *project.notes))
    in_files = {unit.name.casefold() for file in project.files for unit in file.units}
    is_whole = all(Path(name).suffix.casefold() in ENDINGS for name in copies)
    controller += [FOLDER] if copies and is_whole else list(copies)
    return GivenProgram(
        project,
        copies,
        controller,
        project.root if project.root.casefold() in in_files else "",
        [f"{Path(note.place.file).name}: {note.says}" for note in program.notes],
        texts,
    )


def _files(path: Path) -> Iterator[tuple[Path, str]]:
    """The files of a program below `path`, each with its name inside the folder of copies."""
    if not path.is_dir():
        yield path, path.name
        return
    found = (file for file in path.rglob("*") if file.suffix.casefold() in ENDINGS)
    for file in sorted(found, key=lambda f: (f.as_posix().casefold(), f.as_posix())):
        inner = file.relative_to(path)
        if not any(part.startswith(".") for part in inner.parts):
            yield file, inner.as_posix()
