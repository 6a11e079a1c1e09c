"""A model's program as Structured Text laid out anew; read again it means the same."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from interlock.base.errors import InputError, InternalError, Mistake, Place
from interlock.exchange.files import ENDING, load_project, read_files
from interlock.model.model import Model
from interlock.st import syntax as sx
from interlock.st.write import write_file
from interlock.st.write_project import write_project

_LAYOUT = "comments, pragmas and layout"


@dataclass(frozen=True)
class Written:
    """What was written.

    Attributes
    ----------
    texts : mapping of str to str
        By the names of files without folders; of one text alone it does not matter.
    losses : tuple of str
        What it does not carry.
    """

    texts: Mapping[str, str]
    losses: tuple[str, ...]


def of_each_file(model: Model) -> Written:
    """Each file of the program by itself."""
    # A drawn file becomes a text of its name, and each list of globals in it another.
    paths = [PurePath(name) for name in model.program_files]
    kept = {path.stem.casefold(): path.name for path in paths if path.suffix.casefold() != ENDING}
    texts = {
        kept.get(file.name.casefold(), f"{file.name}.st"): write_file(file)
        for file in _files_of(model)
    }
    if not _mean_the_same(model, texts):
        raise _not_the_same(model)
    return Written(texts, (_LAYOUT,))


def in_one_text(model: Model) -> Written:
    """All files of the program as one text.

    Raises
    ------
    InputError
        Where names then mean something else.
    """
    file, files = model.program.place.file, _files_of(model)
    text = write_project(files)
    is_one = len(files) == 1
    # It is text now, whatever the program was read from.
    name = str(PurePath(file).with_suffix(".st"))
    if not _mean_the_same(model, {name: text}):
        if is_one:
            raise _not_the_same(model)
        says = (
            "names of this project, such as those of lists of globals, do not mean the same in one "
            "text; name a folder with -o, and each file is written by itself"
        )
        raise InputError([Mistake(Place(file, 1, 1), says)])
    losses = (_LAYOUT,) if is_one else (_LAYOUT, "in which file each part stands")
    return Written({name: text}, losses)


def _files_of(model: Model) -> Sequence[sx.SourceFile]:
    # Not those of the project: what a configuration makes of several programs has no text.
    return read_files(model.program_texts)


def _not_the_same(model: Model) -> Exception:
    """Why what was written anew is not what it was, where that is known; else it is our defect."""
    file = model.program.place.file
    if any(not taken.says for taken in model.program.any_values):
        says = (
            "the program calls code that is not in its files, so what is written anew cannot be "
            "compared with it; add these files"
        )
        return InputError([Mistake(Place(file, 1, 1), says)])
    return InternalError(f"{file}: the program written anew does not mean the same")


def _mean_the_same(model: Model, texts: Mapping[str, str]) -> bool:
    assert model.project is not None, "a model that was loaded has its project"
    named = [unit.name for file in _files_of(model) for unit in file.units]
    root = model.project.root if model.project.root in named else None
    try:
        written = load_project(texts, root).program
    except InputError:
        return False
    # Places are no part of what is compared: names, types, values and statements are.
    return written == load_project(model.program_texts, root).program
