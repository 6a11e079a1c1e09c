"""Reading an evidence folder: nothing missing, nothing more, nothing changed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from interlock.base.errors import InputError, nearest
from interlock.base.files import sha256
from interlock.base.targets import check_target
from interlock.evidence.manifest import MANIFEST, MAX_BYTES, Manifest, bad, parse

MAX_FILE_BYTES = 500_000_000


@dataclass(frozen=True)
class Evidence:
    """The contents of an evidence folder, as its manifest says they should be.

    Attributes
    ----------
    folder : Path
    manifest : Manifest
    files : mapping of str to bytes
    """

    folder: Path
    manifest: Manifest
    files: dict[str, bytes]

    def place(self, name: str) -> str:
        """The file called `name`, as messages show it."""
        return str(self.folder / name)


def read_folder(folder: Path) -> Evidence:
    """Read the evidence in `folder`.

    Raises
    ------
    InputError
        Where a file is missing, is one too many or is not as the manifest says.
    """
    file = folder / MANIFEST
    if not folder.is_dir():
        raise bad(str(folder), "no such folder")
    manifest = parse(_content(file, MAX_BYTES), str(file))
    found = _names_in(folder)
    wanted = {MANIFEST, *manifest.files}
    for name in sorted(wanted - found):
        raise bad(str(folder / name), "this file of the evidence is missing")
    for name in sorted(found - wanted):
        said = f"the manifest knows no such file{nearest(name, wanted)}"
        raise bad(str(folder / name), said)
    files = {}
    for name, wanted_hash in manifest.files.items():
        content = _content(folder / name, MAX_FILE_BYTES)
        if sha256(content) != wanted_hash:
            raise bad(str(folder / name), "not as it was written: its hash is another one")
        files[name] = content
    return Evidence(folder, manifest, files)


def _content(file: Path, most: int) -> bytes:
    try:
        if file.is_symlink() or not file.is_file():
            raise bad(str(file), "missing, or not a file of its own")
        if file.stat().st_size > most:
            raise bad(str(file), f"larger than {most:,} bytes")
        return file.read_bytes()
    except OSError as error:
        raise bad(str(file), f"cannot be read: {error.strerror}") from None


def check_may_write(folder: Path) -> None:
    """Refuse to replace what is no evidence.

    Raises
    ------
    InputError
        Where `folder` is no folder, or one that holds anything that its manifest does not name,
        or whose manifest is none of ours.
    """
    check_target(folder, folder=True)
    if not folder.is_dir() or not any(folder.iterdir()):
        return
    file = folder / MANIFEST
    try:
        ours = {MANIFEST, *parse(_content(file, MAX_BYTES), str(file)).files}
    except InputError:
        ours = set()
    if not _names_in(folder) <= ours:
        raise bad(str(folder), "the folder holds something else than evidence; nothing was written")


def _names_in(folder: Path) -> set[str]:
    """Everything in `folder` but its folders, with ``/`` between those."""
    inside = (p for p in folder.rglob("*") if p.is_symlink() or not p.is_dir())
    return {p.relative_to(folder).as_posix() for p in inside}
