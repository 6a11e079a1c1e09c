"""Writing folders so that nobody ever finds half of one."""

from __future__ import annotations

import ctypes
import os
import shutil
import stat
from collections.abc import Mapping
from pathlib import Path

from interlock.base.targets import check_target, failed, part_of, remove_leftovers

_AT_FDCWD = -100
_RENAME_EXCHANGE = 2  # linux/fs.h


def write_whole_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Make `folder` hold exactly `files`, in one step.

    They are written beside it first. Whoever looks, whenever the process may end, finds the
    folder as it was or as it is to be. What a process that was killed left beside it is removed
    by the next one, also where that has the same number; see `interlock.base.targets`.

    Parameters
    ----------
    folder : Path
        May exist; what it holds is replaced, and it stays as private as it was.
    files : mapping of str to bytes
        By name, with ``/`` between folders inside.

    Raises
    ------
    InputError
        Where something else than a folder stands there, or the system does not let it be written.
    """
    check_target(folder, folder=True)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        remove_leftovers(folder)
        _write(part_of(folder), folder, files)
    except OSError as error:
        raise failed(folder, error) from None


def _write(part: Path, folder: Path, files: Mapping[str, bytes]) -> None:
    try:
        part.mkdir()
        for name, content in files.items():
            file = part / name
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(content)
        if folder.exists():
            part.chmod(stat.S_IMODE(folder.stat().st_mode))
            _exchange(part, folder)
        else:
            os.rename(part, folder)
    finally:
        shutil.rmtree(part, ignore_errors=True)


def _exchange(new: Path, old: Path) -> None:
    """Let two folders change names, at once where the system can."""
    try:
        rename = ctypes.CDLL(None, use_errno=True).renameat2
        done = rename(_AT_FDCWD, os.fsencode(new), _AT_FDCWD, os.fsencode(old), _RENAME_EXCHANGE)
        if done == 0:
            return
    except (AttributeError, OSError):
        pass
    # Elsewhere there is an instant without the folder, but never half of it.
    aside = new.with_name(new.name + ".part")  # a leftover, too, should the process end here
    os.rename(old, aside)
    os.rename(new, old)
    shutil.rmtree(aside, ignore_errors=True)
