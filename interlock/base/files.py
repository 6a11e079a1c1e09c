"""Writing files so that nobody ever finds half of one, and telling one from another."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Mapping
from pathlib import Path

from interlock.base.targets import check_target, failed, part_of, remove_leftovers

# Nothing that another process put there meanwhile is written to or followed.
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_CLOEXEC", 0)


def sha256(content: str | bytes) -> str:
    """The hash as 64 hexadecimal digits; of a text, that of its UTF-8 bytes."""
    return hashlib.sha256(_bytes_of(content)).hexdigest()


def is_there(file: Path) -> bool:
    """Whether there is a file; a link that leads nowhere is one, and a mistake once it is read."""
    return file.exists() or file.is_symlink()


def write_whole(file: Path, content: str | bytes) -> None:
    """Write `content` beside `file` first and then put it in its place in one step.

    A new file is as private as the user's umask says, one that is replaced stays as it was.

    Raises
    ------
    InputError
        Where something else than a plain file stands there, or the system does not let it be
        written; see `interlock.base.targets`.
    """
    check_target(file)
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        remove_leftovers(file)
        part = part_of(file)
        handle = os.open(part, _NEW, 0o666)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(_bytes_of(content))
            if file.exists():
                part.chmod(stat.S_IMODE(file.stat().st_mode))
            os.replace(part, file)
        except BaseException:
            part.unlink()
            raise
    except OSError as error:
        raise failed(file, error) from None


def write_each_whole(folder: Path, files: Mapping[str, str | bytes]) -> None:
    """Write several files into `folder`, each whole; none where one of them may not be written.

    Raises
    ------
    InputError
        As `write_whole` does.
    """
    for name in files:
        check_target(folder / name)
    for name, content in files.items():
        write_whole(folder / name, content)


def _bytes_of(content: str | bytes) -> bytes:
    return content.encode("utf-8") if isinstance(content, str) else content
