"""The files that a model was read from, looked at again and again: which of them were saved.

Looking every `EVERY_S` seconds, with nothing but the standard library, also works on drives of a
network, where a system tells nobody of what others save. Contents decide: a file that was only
touched is as it was. They are read again where size or time of a file differ, and now and then
anyway, since clocks of file systems may be as coarse as two seconds.
"""

from __future__ import annotations

import hashlib
import os
import stat
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from interlock.model.files import telling_what_is_read

EVERY_S = 0.3
_READ_ANYWAY = 10  # looks
# No file of a model may be that large; of what is, size and time are enough.
_LARGEST_READ = 50_000_000

Key = tuple[Path, tuple[str, ...]]


@dataclass(frozen=True)
class _Look:
    """What was seen of a file or folder: the cheap part, and its content in a form to compare."""

    stamp: tuple[int, ...]
    content: tuple[str, ...]


_NOTHING = _Look((), ())


def _look_at(key: Key, before: _Look = _NOTHING) -> _Look:
    """Look at a file or folder; one whose stamp is that of `before` has its content."""
    path, endings = key
    try:
        if endings:
            return _Look((), _names_in(path, endings))
        seen = path.stat()
        stamp = (seen.st_mode, seen.st_size, seen.st_mtime_ns, seen.st_ino)
        if not stat.S_ISREG(seen.st_mode) or seen.st_size > _LARGEST_READ:
            kind = (str(stat.S_IFMT(seen.st_mode)),)
            return _Look(stamp, kind if stat.S_ISDIR(seen.st_mode) else (*kind, str(stamp)))
        if stamp == before.stamp:
            return before
        return _Look(stamp, (hashlib.sha256(path.read_bytes()).hexdigest(),))
    except OSError:
        # Nothing there, or nothing that may be read: how it reads is told where it is read.
        return _NOTHING


def _names_in(folder: Path, endings: tuple[str, ...]) -> tuple[str, ...]:
    with os.scandir(folder) as entries:
        seen = [e for e in entries if not e.name.startswith(".")]
        return tuple(sorted(e.name for e in seen if e.is_dir() or _ends_in(e.name, endings)))


def _ends_in(name: str, endings: tuple[str, ...]) -> bool:
    return Path(name).suffix.lower() in endings


class WatchedFiles:
    """The files of the last reading, as they were then and as they are now."""

    def __init__(self) -> None:
        self._read: dict[Key, _Look] = {}
        self._now: dict[Key, _Look] = {}
        self._n_looks = 0

    @contextmanager
    def noting(self) -> Iterator[None]:
        """Within this a model is read anew: watch what it is read from and nothing else.

        Each file is looked at just before it is read. What is saved in between differs from that
        look, and so it is read once more rather than missed.
        """
        self._read = {}

        def note(path: Path, endings: tuple[str, ...]) -> None:
            self._read.setdefault((path, endings), _look_at((path, endings)))

        with telling_what_is_read(note):
            yield
        self._now = dict(self._read)

    def look(self) -> bool:
        """Look at all of them; whether any is otherwise than when it was read."""
        self._n_looks += 1
        anyway = self._n_looks % _READ_ANYWAY == 0
        self._now = {
            key: _look_at(key, _NOTHING if anyway else self._now.get(key, _NOTHING))
            for key in self._read
        }
        return self._contents() != {key: look.content for key, look in self._read.items()}

    def _contents(self) -> dict[Key, tuple[str, ...]]:
        return {key: look.content for key, look in self._now.items()}

    def settle(self, pause: Callable[[float], None]) -> None:
        """Wait until nothing changes between two looks: who saves may still be writing."""
        before: dict[Key, tuple[str, ...]] = {}
        while before != self._contents():
            before = self._contents()
            pause(EVERY_S)
            self.look()

    @property
    def saved(self) -> tuple[str, ...]:
        """The names of what differs from the last reading, with what is new or gone."""
        found: dict[str, str] = {}
        for key, was in self._read.items():
            path, now = key[0], self._now[key]
            if now.content == was.content:
                continue
            if key[1]:
                found |= {n: " (new)" for n in now.content if n not in was.content}
                found |= {n: " (gone)" for n in was.content if n not in now.content}
            elif now is _NOTHING or was is _NOTHING:
                found[path.name] = " (new)" if was is _NOTHING else " (gone)"
            else:
                found.setdefault(path.name, "")
        return tuple(f"{name}{what}" for name, what in sorted(found.items()))


class Outdated:
    """Whether a file was saved since it was read; once so, always so. Any thread may ask.

    Parameters
    ----------
    files : WatchedFiles
    clock : callable
        Seconds; files are looked at every `EVERY_S` of them.
    """

    def __init__(self, files: WatchedFiles, clock: Callable[[], float] = time.monotonic) -> None:
        self._files, self._clock = files, clock
        self._next = clock() + EVERY_S
        self._looking = threading.Lock()
        self.is_so = False

    def __call__(self) -> bool:
        """Look, if it is time to."""
        if not self.is_so and self._clock() >= self._next and self._looking.acquire(False):
            try:
                self.is_so = self._files.look()
                self._next = self._clock() + EVERY_S
            finally:
                self._looking.release()
        return self.is_so
