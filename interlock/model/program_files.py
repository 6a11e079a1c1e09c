"""The files of a model's program: one file, or files and folders of a project."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

from interlock.base.errors import InputError, Mistake, MistakeList, Place, nearest
from interlock.model.files import (
    ENDINGS,
    MAX_BYTES,
    MAX_XML_BYTES,
    XML,
    check_inside,
    file_beside,
    is_read,
    read_program_text,
)
from interlock.model.yaml import Document
from interlock.model.yaml import Path as DocumentPath
from interlock.st import syntax as sx
from interlock.st.load import Loaded

# What files of programs are commonly called: Structured Text, or the open exchange format (.xml).
# A file of text that is named may end otherwise.
MOST_FILES = 500


@dataclass(frozen=True)
class ProgramTexts:
    """The files of a program.

    Attributes
    ----------
    texts : dict of str to str
        Each by its name, in the order in which they are given; those of a folder in the order of
        their names, with those of the folders in it.
    notes : list of syntax.Note
        Which were not in the usual encoding.
    """

    texts: dict[str, str] = field(default_factory=dict)
    notes: list[sx.Note] = field(default_factory=list)

    def add(self, file: Path, wanted_at: Place | None = None) -> None:
        """Read a file.

        Raises
        ------
        InputError
        """
        text, told = read_program_text(file, wanted_at)
        self.texts[str(file)] = text
        if told:
            self.notes.append(sx.Note(Place(str(file), 1, 1), told))

    def noted(self, project: Loaded) -> Loaded:
        """The project of these files, with what is to be told of them."""
        return replace(project, notes=(*self.notes, *project.notes))


def read_program_files(
    document: Document, path: DocumentPath, given: str | list[str]
) -> ProgramTexts:
    """Read each file of the program given at `path`.

    Raises
    ------
    InputError
        With every file that cannot be read or lies elsewhere.
    """
    if isinstance(given, str) and not _is_folder(document, path, given):
        file = file_beside(document, path, given, "the controller", "controller.st")
        found = ProgramTexts()
        found.add(file, document.place(path))
        return found
    return _project(document, path, given)


def _is_folder(document: Document, path: DocumentPath, name: str) -> bool:
    # Of a name too long for the system more is said where the file is read.
    return bool(name) and os.path.isdir(Path(document.place(path).file).parent / name)


def _project(document: Document, at: DocumentPath, given_there: str | list[str]) -> ProgramTexts:
    given = [given_there] if isinstance(given_there, str) else given_there
    program = ProgramTexts()
    texts = program.texts
    mistakes = MistakeList()
    called: dict[str, Path] = {}
    for number, name in enumerate(given):
        path: DocumentPath = at if isinstance(given_there, str) else (*at, number)
        place = document.place(path)
        try:
            for file in _files(document, path, name):
                # Runs and messages name files without their folders.
                before = called.setdefault(file.name.casefold(), file)
                if before != file:
                    says = f"two files are called {file.name}; files of a program need own names"
                    mistakes.append(Mistake(place, says))
                elif str(file) not in texts:
                    program.add(file, place)
        except InputError as error:
            mistakes.extend(error.mistakes)
        has_xml = any(name.lower().endswith(XML) for name in texts)
        most = MAX_XML_BYTES if has_xml else MAX_BYTES
        if len(texts) > MOST_FILES or sum(map(len, texts.values())) > most:
            says = f"more than {MOST_FILES} files or {most:,} bytes; name the files needed"
            raise InputError([Mistake(place, says)])
    if not texts and not mistakes:
        says = f"there is no program in it; files of programs end in {', '.join(ENDINGS[:4])}"
        mistakes.append(Mistake(document.place(at), says))
    if mistakes:
        raise InputError(mistakes)
    return program


def _files(document: Document, path: DocumentPath, name: str) -> Iterator[Path]:
    place = document.place(path)
    home = Path(place.file).parent
    given = Path(name)
    if not name or given.is_absolute() or ".." in given.parts:
        says = "a program's files must lie in the model's own folder, such as program/lamps.st"
        raise InputError([Mistake(place, says)])
    target = home / given
    is_read(target)
    _check_within(target, home, place)
    if os.path.isdir(target):
        yield from _in_folder(target, home, place)
    elif os.path.exists(target) or os.path.isdir(target.parent):
        yield target
    else:
        known = [entry.name for entry in home.iterdir() if entry.is_dir()]
        first = given.parts[0]
        raise InputError([Mistake(place, f"no such folder: {first}{nearest(first, known)}")])


def _in_folder(folder: Path, home: Path, place: Place) -> Iterator[Path]:
    is_read(folder, ENDINGS)
    for entry in sorted(folder.iterdir(), key=lambda e: (e.name.casefold(), e.name)):
        if entry.name.startswith("."):
            continue
        _check_within(entry, home, place)
        if entry.is_dir():
            yield from _in_folder(entry, home, place)
        elif entry.suffix.lower() in ENDINGS:
            yield entry


def _check_within(file: Path, home: Path, place: Place) -> None:
    """Refuse a link that leads out of the model's folder."""
    if file.parent == home:
        check_inside(file, place)
        return
    inside = os.path.realpath(home)
    real = os.path.realpath(file)
    if os.path.commonpath([inside, real]) != inside:
        says = f"{file.name} is a link that leads out of the model's own folder"
        raise InputError([Mistake(place, says)])
