"""Where something is to be written: what may stand there, and what stands beside it meanwhile.

What is written is made beside its target, under a name of ours, and then takes its place. So a
target may be nothing yet, or a plain file or folder, which is replaced. A link, a pipe, a socket or
a device is refused: a link's file may be anybody's, and whoever names one rather than the file
gets neither the link replaced nor its file overwritten. Folders on the way may be links.
"""

from __future__ import annotations

import os
import shutil
import stat
from contextlib import suppress
from pathlib import Path

from interlock.base.errors import InputError, Mistake, Place

_KINDS = {
    stat.S_IFLNK: "a link; name the file itself",
    stat.S_IFDIR: "a folder, not a file",
    stat.S_IFREG: "a file, not a folder",
    stat.S_IFIFO: "a pipe, not a file",
    stat.S_IFSOCK: "a socket, not a file",
    stat.S_IFCHR: "a device, not a file",
    stat.S_IFBLK: "a device, not a file",
}


def cannot_write(target: Path, says: str) -> InputError:
    """The one mistake that `target` cannot be written, and why."""
    return InputError([Mistake(Place(str(target), 1, 1), says)])


def failed(target: Path, error: OSError) -> InputError:
    """The one mistake that the system did not let `target` be written."""
    return cannot_write(target, f"cannot be written: {error.strerror or error}")


def check_target(target: Path, folder: bool = False) -> None:
    """Refuse to write where something else stands than a plain file, or a plain folder.

    Parameters
    ----------
    target : Path
        Of the file to write, or of a folder that is to be replaced as a whole.
    folder : bool
        Whether it is a folder.

    Raises
    ------
    InputError
    """
    try:
        kind = stat.S_IFMT(target.lstat().st_mode)
    except FileNotFoundError:
        _check_above(target)
        return
    except OSError as error:
        raise failed(target, error) from None
    if kind != (stat.S_IFDIR if folder else stat.S_IFREG):
        says = _KINDS.get(kind, "no plain file")
        raise cannot_write(target, f"this is {says}; nothing was written")


def _check_above(target: Path) -> None:
    """The nearest folder above that is there must let something be made in it."""
    above = next(p for p in target.absolute().parents if os.path.lexists(p))
    if not above.is_dir() or not os.access(above, os.W_OK | os.X_OK):
        says = f"cannot be written: {above} is no folder that may be written to"
        raise cannot_write(target, says)


def part_of(target: Path) -> Path:
    """What is written first, beside `target`: a name with the number of this process."""
    return target.with_name(f"{_prefix(target)}{os.getpid()}{_SUFFIX}")


def remove_leftovers(target: Path) -> None:
    """Remove what processes that were killed left beside `target`.

    Only what carries exactly a name that `part_of` gives for this very target goes, and only
    where no other process of that number runs. A process of the same number as this one has
    ended: in a container every run may have the same.
    """
    prefix = _prefix(target)
    with os.scandir(target.parent) as entries:
        left = [entry for entry in entries if _is_leftover(entry.name, prefix)]
    for entry in left:
        if entry.is_dir(follow_symlinks=False):
            shutil.rmtree(entry.path, ignore_errors=True)
        elif entry.is_file(follow_symlinks=False):
            with suppress(OSError):
                os.unlink(entry.path)


_SUFFIX = ".part"


def _prefix(target: Path) -> str:
    return f".{target.name}.interlock-"


def _is_leftover(name: str, prefix: str) -> bool:
    if not (name.startswith(prefix) and name.endswith(_SUFFIX)):
        return False
    # Twice where two folders change names on a system that cannot do that in one step.
    number = name[len(prefix) : -len(_SUFFIX)].removesuffix(_SUFFIX)
    return number.isascii() and number.isdecimal() and not _runs_elsewhere(int(number))


def _runs_elsewhere(process: int) -> bool:
    """Whether another process of that number runs."""
    if process == os.getpid():
        return False
    try:
        os.kill(process, 0)
    except (OverflowError, ProcessLookupError):
        return False
    except PermissionError:
        return True
    return True
