"""The files of a model folder as text."""

from __future__ import annotations

import os
from pathlib import Path

from interlock.base.errors import InputError, Mistake, Place, nearest
from interlock.model.yaml import Document
from interlock.model.yaml import Path as DocumentPath

MODEL_FILE = "model.yaml"
MAX_BYTES = 2_000_000


def read_text(file: Path, wanted_at: Place | None = None) -> str:
    """The text of `file`, with every line's end as a newline.

    Parameters
    ----------
    file : Path
    wanted_at : Place, optional
        Where the file is named; what is wrong with the file as a whole is told there.

    Raises
    ------
    InputError
        Where it cannot be read, is not UTF-8 or is larger than `MAX_BYTES`.
    """
    place = wanted_at or Place(str(file), 1, 1)
    try:
        size = file.stat().st_size
        if not file.is_file():
            raise InputError([Mistake(place, f"not a file: {file}")])
        if size > MAX_BYTES:
            raise InputError([Mistake(place, f"the file is larger than {MAX_BYTES:,} bytes")])
        data = file.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        raise InputError([Mistake(place, f"no such file: {file}{_near(file)}")]) from None
    except OSError as error:
        raise InputError([Mistake(place, f"cannot be read: {error.strerror}")]) from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8-sig", errors="replace")
        line = before.count("\n") + 1
        column = len(before) - (before.rfind("\n") + 1) + 1
        says = f"not UTF-8 text: byte 0x{data[error.start]:02X} begins no character"
        raise InputError([Mistake(Place(str(file), line, column), says)]) from None
    return text.replace("\r\n", "\n").replace("\r", "\n")


def file_beside(document: Document, path: DocumentPath, name: str, what: str, example: str) -> Path:
    """The file called `name`, beside the model file that names it at `path`.

    Raises
    ------
    InputError
        Where the name leads elsewhere.
    """
    place = document.place(path)
    given = Path(name)
    if given.is_absolute() or len(given.parts) != 1 or given.parts[0] == "..":
        says = f"{what} must be a file in the model's own folder, such as {example}"
        raise InputError([Mistake(place, says)])
    file = Path(place.file).parent / given
    check_inside(file, place)
    return file


def check_inside(file: Path, place: Place) -> None:
    """Refuse a link in a model's folder that leads out of it.

    Raises
    ------
    InputError
    """
    # os.path, since a name too long for the system is told better where it is read.
    if os.path.islink(file) and file.resolve().parent != file.parent.resolve():
        said = f"{file.name} is a link that leads out of the model's own folder"
        raise InputError([Mistake(place, said)])


def _near(file: Path) -> str:
    """A hint at the nearest name that exists, of the file or of its folder."""
    try:
        for wanted in (file, file.parent):
            if wanted.parent.is_dir():
                return nearest(wanted.name, [found.name for found in wanted.parent.iterdir()])
    except OSError:
        pass
    return ""
