"""Whether a file called ``model.yaml`` is a model: other tools have files of that name.

What is read is decided by its keys, however they are written: quoted, indented, in brackets. What
cannot be read is taken for a model if it only looks like one, since a model left out is a test
that nobody misses.
"""

from __future__ import annotations

import re
from pathlib import Path

from interlock.base.errors import InputError
from interlock.model.yaml import Plain, read

# A model has at least two of these; one that revises another may have no more than that word.
_REVISES = "revises"
_TELLING = frozenset(
    {_REVISES, "controller", "controls", "faults", "hazards", "plant", "requirements", "sensors"}
)
_ENOUGH = 2
_WRITTEN = re.compile(rf"\b({'|'.join(sorted(_TELLING))})\b[\"']?\s*+:", re.IGNORECASE)


def is_model(file: Path) -> bool:
    """Whether `file` is a model, or looks like one that cannot be read.

    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp()) / "model.yaml"
    >>> _ = file.write_text("{'plant': {}, 'requirements': {}}")
    >>> is_model(file)
    True
    """
    try:
        content = file.read_bytes()
    except OSError:
        return True  # reading it as a model tells why it cannot be read
    # Any other encoding than UTF-8 is refused where models are read; here its letters are enough.
    text = content.replace(b"\0", b"").decode("utf-8", errors="replace")
    try:
        return _has_enough(_top_keys(read(text.removeprefix("\ufeff"), str(file)).value))
    except (InputError, RecursionError):
        return _has_enough({word.lower() for word in _WRITTEN.findall(text)})


def _top_keys(value: Plain) -> set[str]:
    return {key.strip().lower() for key in value} if isinstance(value, dict) else set()


def _has_enough(keys: set[str]) -> bool:
    return _REVISES in keys or len(keys & _TELLING) >= _ENOUGH
