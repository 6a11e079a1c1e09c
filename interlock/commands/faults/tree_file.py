"""Fault trees given directly: reading ``tree.yaml``."""

from __future__ import annotations

from pathlib import Path as FilePath

from interlock.model.files import read_text
from interlock.model.yaml import Path, Plain, read
from interlock.reliability.fault_tree import FaultTree
from interlock.reliability.tree_loader import tree_from_mapping

TREE_FILE = "tree.yaml"
# A YAML file's words stay words; here is where a number or a truth value is meant.
_NUMBERS = ("probability", "rate_per_h", "exposure_h")


def load_tree(folder: FilePath) -> FaultTree:
    """Read the fault tree in `folder`, a folder or the file itself.

    Raises
    ------
    InputError
        With every mistake and its place.
    """
    file = folder / TREE_FILE if folder.is_dir() else folder
    document = read(read_text(file), str(file))
    return tree_from_mapping(_typed(document.value, ()), document.key_place)


def _typed(value: Plain, path: Path) -> object:
    if isinstance(value, dict):
        return {key: _typed(below, (*path, key)) for key, below in value.items()}
    if isinstance(value, list):
        return [_typed(below, (*path, number)) for number, below in enumerate(value)]
    if value is None or len(path) != 3:
        return value
    section, _, key = path
    if section == "events" and key in _NUMBERS:
        return _number(value)
    if section == "gates" and key == "at_least":
        return int(value) if value.isdecimal() else value
    if section == "house" and key == "occurs":
        return {"true": True, "false": False}.get(value.casefold(), value)
    return value


def _number(text: str) -> float | str:
    try:
        # Python's own signs for digits are no figures that a reader would know.
        return text if "_" in text else float(text)
    except ValueError:
        return text
