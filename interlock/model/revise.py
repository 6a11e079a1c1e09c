"""Revisions: a model that says only how it differs from another.

The model file of a revision names the other model's folder with ``revises``. Entries that it
gives replace the other model's entries of the same section and name as a whole, an entry of null
removes one, and everything else is inherited, the controller's program included.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path as FilePath
from pathlib import PurePosixPath, PureWindowsPath

from interlock.base.errors import InputError, Mistake, MistakeList, Place, nearest
from interlock.model.files import MODEL_FILE, check_inside, read_text
from interlock.model.shape import check_revision, shape_of
from interlock.model.yaml import Document, Path, Plain, read

MAX_REVISIONS = 4

# These belong to one file and say nothing of what revises it.
_OWN = ("revises", "changes", "expected")
# The entries of these are mappings that are put together in their turn.
_DEEPER = ("side_view",)


@dataclass(frozen=True)
class Read:
    """A model file, put together with what it revises.

    Attributes
    ----------
    document : Document
    texts : mapping of str to str
        Every model file that was read, by its name.
    revises : Path or None
        Folder of the model that this one revises.
    """

    document: Document
    texts: Mapping[str, str]
    revises: FilePath | None = None


class _Revised(Document):
    """Two documents as one; every place lies in the file that the entry came from."""

    def __init__(self, own: Document, base: Document, value: Plain, inherited: set[Path]) -> None:
        super().__init__(own.file, value)
        self._own, self._base, self._inherited = own, base, inherited

    def _owner(self, path: Path) -> Document:
        inherited = any(path[:n] in self._inherited for n in (1, 2, 3))
        return self._base if inherited else self._own

    def place(self, path: Path, offset: int | None = None) -> Place:
        return self._owner(path).place(path, offset)

    def key_place(self, path: Path) -> Place:
        return self._owner(path).key_place(path)


def read_model_file(folder: FilePath) -> Read:
    """Read the model file in `folder` and every model that it revises.

    Raises
    ------
    InputError
        With every mistake of shape of the first file that has any.
    """
    return _read(folder, None, ())


def _read(folder: FilePath, wanted_at: Place | None, above: tuple[str, ...]) -> Read:
    file = folder / MODEL_FILE
    check_inside(file, wanted_at or Place(str(file), 1, 1))
    text = read_text(file, wanted_at)
    document = read(text, str(file))
    texts = {str(file): text}
    if not isinstance(document.value, dict) or "revises" not in document.value:
        shape_of(document)
        return Read(document, texts)
    check_revision(document)
    here = os.path.realpath(folder)
    target = _target(document, folder, (*above, here))
    base = _read(target, document.place(("revises",)), (*above, here))
    merged = _merged(document, base.document)
    shape_of(merged)
    return Read(merged, {**texts, **base.texts}, target)


def _target(document: Document, folder: FilePath, above: tuple[str, ...]) -> FilePath:
    assert isinstance(document.value, dict)
    given = str(document.value["revises"])
    target = shown(folder / given)
    says = None
    if not given or PurePosixPath(given).is_absolute() or PureWindowsPath(given).anchor:
        says = "'revises' needs a folder relative to this one, such as ../other"
    elif os.path.realpath(target) in above:
        says = f"models revise each other in a circle: '{given}' leads back to one on the way"
    elif len(above) > MAX_REVISIONS:
        says = f"revisions of revisions may be {MAX_REVISIONS} deep at most"
    if says is not None:
        raise InputError([Mistake(document.place(("revises",)), says)])
    return target


def shown(folder: FilePath) -> FilePath:
    """`folder` without its ``..`` where that names the same folder; behind links it may not."""
    short = FilePath(os.path.normpath(folder))
    try:
        return short if not folder.exists() or os.path.samefile(short, folder) else folder
    except OSError:
        return folder


def _merged(own: Document, base: Document) -> _Revised:
    assert isinstance(own.value, dict)
    assert isinstance(base.value, dict)
    value: dict[str, Plain] = {k: v for k, v in base.value.items() if k not in _OWN}
    inherited: set[Path] = {(key,) for key in value}
    mistakes = MistakeList()
    merging = _Merging(own, inherited, mistakes)
    for section, given in own.value.items():
        if given is None:
            inherited.discard((section,))
            value.pop(section, None)
        else:
            value[section] = merging.merged((section,), given, value.get(section))
    if mistakes:
        raise InputError(mistakes)
    return _Revised(own, base, value, inherited)


@dataclass
class _Merging:
    """Puts the entries of a revision over those of its base; `inherited` is kept up to date."""

    own: Document
    inherited: set[Path]
    mistakes: list[Mistake]

    def merged(self, path: Path, given: Plain, below: Plain) -> Plain:
        self.inherited.discard(path)
        if not isinstance(given, dict):
            return given
        entries = dict(below) if isinstance(below, dict) else {}
        self.inherited.update((*path, name) for name in entries if name not in given)
        for name, entry in given.items():
            deeper = path[0] in _DEEPER and len(path) == 1
            if entry is not None:
                old = entries.get(name) if deeper else None
                entries[name] = self.merged((*path, name), entry, old) if deeper else entry
            elif name in entries:
                del entries[name]
            elif path[0] not in _OWN:
                section = " ".join(map(str, path))
                said = f"nothing to remove: the revised model's '{section}' has no '{name}'"
                place = self.own.key_place((*path, name))
                self.mistakes.append(Mistake(place, said + nearest(name, entries)))
        return entries
