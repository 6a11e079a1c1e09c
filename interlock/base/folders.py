"""Writing folders so that nobody ever finds half of one."""

from __future__ import annotations

import ctypes
import os
import shutil
from collections.abc import Mapping
from pathlib import Path

_AT_FDCWD = -100
_RENAME_EXCHANGE = 2  # linux/fs.h


def write_whole_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Make `folder` hold exactly `files`, in one step.

    They are written beside it first. Whoever looks, whenever the process may end, finds the
    folder as it was or as it is to be. What a process that was killed left beside it is removed
    by the next one, also where that has the same number.

    Parameters
    ----------
    folder : Path
        May exist; what it holds is replaced.
    files : mapping of str to bytes
        By name, with ``/`` between folders inside.
    """
    folder.parent.mkdir(parents=True, exist_ok=True)
    prefix = f".{folder.name}."
    for left in folder.parent.glob(f"{prefix}*.part"):
        if not _is_another(left.name.removeprefix(prefix).removesuffix(".part")):
            shutil.rmtree(left, ignore_errors=True)
    beside = folder.parent / f"{prefix}{os.getpid()}.part"
    try:
        beside.mkdir()
        for name, content in files.items():
            file = beside / name
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(content)
        if folder.exists():
            _exchange(beside, folder)
        else:
            os.rename(beside, folder)
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _is_another(process: str) -> bool:
    """Whether the number is that of another process, which runs."""
    if process == str(os.getpid()):
        return False
    try:
        os.kill(int(process), 0)
    except (ValueError, OverflowError, ProcessLookupError):
        return False
    except PermissionError:
        return True
    return True


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
