"""The files of a model folder as text."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path

from interlock.base.errors import InputError, Mistake, Place, nearest
from interlock.model.yaml import Document
from interlock.model.yaml import Path as DocumentPath

MODEL_FILE = "model.yaml"
MAX_BYTES = 2_000_000
# An export of a whole project says each thing at length.
MAX_XML_BYTES = 8_000_000
XML = ".xml"
ENDINGS = (
    *(".st", ".xml", ".iecst", ".scl", ".exp", ".prg", ".typ", ".var", ".fun", ".fb"),
    *(".gvl", ".dut", ".pou", ".udt", ".fc", ".ob", ".tcpou", ".tcdut", ".tcgvl", ".tcio"),
)

_USUAL = "utf-8-sig"
_WESTERN = "not UTF-8: read as Windows-1252 (Latin-1)"
_DECLARED = re.compile(rb"<\?xml[^>]{0,100}encoding\s*=\s*[\"']([\w.-]{1,40})[\"']")
_ENCODINGS = {
    **dict.fromkeys(("iso-8859-1", "latin1", "windows-1252", "cp1252"), "cp1252"),
    **dict.fromkeys(("iso-8859-15", "latin-9"), "iso-8859-15"),
    "utf-16": "utf-16",
}

ReadSink = Callable[[Path, tuple[str, ...]], None]
_told: ContextVar[ReadSink | None] = ContextVar("told", default=None)


@contextmanager
def telling_what_is_read(sink: ReadSink) -> Iterator[None]:
    """Within this `sink` gets every file and folder just before a model is read from it.

    Parameters
    ----------
    sink : callable
        Gets the path, of what may not exist as well, and of a folder the endings of the names that
        matter in it; those of folders in it matter, too.
    """
    token = _told.set(sink)
    try:
        yield
    finally:
        _told.reset(token)


def is_read(path: Path, endings: tuple[str, ...] = ()) -> None:
    """Tell whoever listens that a model is read from `path`; see `telling_what_is_read`."""
    sink = _told.get()
    if sink is not None:
        sink(path, endings)


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
        Where it cannot be read, is not UTF-8 or is larger than `MAX_BYTES`. What ends in ``.xml``
        may be larger, and in the encoding that it declares.
    """
    return _read_text(file, wanted_at, is_foreign=False)[0]


def read_program_text(file: Path, wanted_at: Place | None = None) -> tuple[str, str]:
    """As `read_text`, of a program that an environment may have written in its own encoding.

    Returns
    -------
    str
        The text.
    str
        How it was read, where it is not UTF-8; what it is by itself only XML says.
    """
    return _read_text(file, wanted_at, is_foreign=True)


def _read_text(file: Path, wanted_at: Place | None, *, is_foreign: bool) -> tuple[str, str]:
    place = wanted_at or Place(str(file), 1, 1)
    is_read(file)
    try:
        size = file.stat().st_size
        if not file.is_file():
            raise InputError([Mistake(place, f"not a file: {file}")])
        most = MAX_XML_BYTES if file.suffix.lower() == XML else MAX_BYTES
        if size > most:
            raise InputError([Mistake(place, f"the file is larger than {most:,} bytes")])
        data = file.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        raise InputError([Mistake(place, f"no such file: {file}{_near(file)}")]) from None
    except OSError as error:
        raise InputError([Mistake(place, f"cannot be read: {error.strerror}")]) from None
    encoding = _encoding(data) if file.suffix.lower() == XML else _USUAL
    told = ""
    if is_foreign and encoding == _USUAL:
        encoding, told = _foreign_encoding(data)
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        if encoding != _USUAL:
            raise InputError([Mistake(place, f"not a text in {encoding}: {file}")]) from None
        before = data[: error.start].decode("utf-8-sig", errors="replace")
        line = before.count("\n") + 1
        column = len(before) - (before.rfind("\n") + 1) + 1
        says = f"not UTF-8 text: byte 0x{data[error.start]:02X} begins no character"
        raise InputError([Mistake(Place(str(file), line, column), says)]) from None
    return text.replace("\r\n", "\n").replace("\r", "\n"), told


def _foreign_encoding(data: bytes) -> tuple[str, str]:
    """The encoding of a text that does not say it, and what is told of that.

    In place of UTF-8 environments write UTF-16, with a mark, or the characters of Western Europe.
    Which of them decides no more than how names and comments are shown.
    """
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16", "read as UTF-16"
    if b"\0" in data:
        return _USUAL, ""
    for encoding, told in ((_USUAL, ""), ("cp1252", _WESTERN)):
        try:
            data.decode(encoding)
        except UnicodeDecodeError:
            continue
        return encoding, told
    return "latin-1", _WESTERN


def _encoding(data: bytes) -> str:
    """The encoding of an XML document, by its first bytes or as it declares."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16"
    declared = _DECLARED.match(data.removeprefix(b"\xef\xbb\xbf"))
    name = declared[1].decode("ascii").lower() if declared else ""
    return _ENCODINGS.get(name, _USUAL)


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


def _is_program(path: Path) -> bool:
    """Whether `path` is a file of a program, or a folder that holds one."""
    files = [path] if path.is_file() else path.iterdir() if path.is_dir() else ()
    return any(file.suffix.casefold() in ENDINGS for file in files)


def _near(file: Path) -> str:
    """A hint at the nearest name that exists, of the file or of its folder."""
    try:
        if file.name == MODEL_FILE and _is_program(file.parent):
            given = file.parent.name
            return f"; {given} is a program: 'interlock new NAME --program' makes a model for it"
        for wanted in (file, file.parent):
            if wanted.parent.is_dir():
                return nearest(wanted.name, [found.name for found in wanted.parent.iterdir()])
    except OSError:
        pass
    return ""
