"""Writing files so that nobody ever finds half of one."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def write_whole(file: Path, content: str | bytes) -> None:
    """Write `content` beside `file` first and then put it in its place in one step."""
    file.parent.mkdir(parents=True, exist_ok=True)
    data = content.encode("utf-8") if isinstance(content, str) else content
    handle, temporary = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        # mkstemp makes private files; what is written here is meant to be shared.
        os.chmod(temporary, 0o644)
        os.replace(temporary, file)
    except BaseException:
        os.unlink(temporary)
        raise
