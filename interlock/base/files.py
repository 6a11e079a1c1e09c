"""Writing files so that nobody ever finds half of one, and telling one from another."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path


def sha256(content: str | bytes) -> str:
    """The hash as 64 hexadecimal digits; of a text, that of its UTF-8 bytes."""
    return hashlib.sha256(_bytes_of(content)).hexdigest()


def is_there(file: Path) -> bool:
    """Whether there is a file; a link that leads nowhere is one, and a mistake once it is read."""
    return file.exists() or file.is_symlink()


def write_whole(file: Path, content: str | bytes) -> None:
    """Write `content` beside `file` first and then put it in its place in one step."""
    file.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(_bytes_of(content))
        # mkstemp makes private files; what is written here is meant to be shared.
        os.chmod(temporary, 0o644)
        os.replace(temporary, file)
    except BaseException:
        os.unlink(temporary)
        raise


def _bytes_of(content: str | bytes) -> bytes:
    return content.encode("utf-8") if isinstance(content, str) else content
