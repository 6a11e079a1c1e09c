"""YAML 1.2 text as plain values with a place for each; the only door to ``ruamel.yaml``.

Every scalar stays the text that was written: ``on`` is a word, ``2026-01-01`` is not a date and
``1_000`` is not a number. Anchors, aliases, tags and merge keys are refused: a model says what
it means where it stands, and no small file can unfold into a huge one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from io import StringIO
from typing import Any

from interlock.base.errors import InputError, Mistake, Place

MAX_DEPTH = 40

Path = tuple[str | int, ...]
Plain = str | None | list["Plain"] | dict[str, "Plain"]


@dataclass
class Document:
    """What a YAML file says.

    Attributes
    ----------
    file : str
        Name of the file, as messages show it.
    value : Plain
        Mappings, sequences, texts and None.
    """

    file: str
    value: Plain
    _source: str
    _spans: dict[Path, tuple[int, int]] = field(default_factory=dict)
    _keys: dict[Path, int] = field(default_factory=dict)

    def place(self, path: Path, offset: int = 0) -> Place:
        """The place of the value at `path`, or of the nearest value around it.

        Parameters
        ----------
        path : tuple of str or int
        offset : int
            For a text: the place of its character number `offset`, counted from 0.
        """
        while path and path not in self._spans:
            path = path[:-1]
        start, end = self._spans.get(path, (0, 0))
        if offset:
            value: Any = self.value
            for part in path:
                value = value[part]
            start = _aligned(self._source, start, end, value, offset)
        return self._at(start)

    def key_place(self, path: Path) -> Place:
        """The place of the key that names the value at `path`."""
        return self._at(self._keys[path]) if path in self._keys else self.place(path)

    def _at(self, index: int) -> Place:
        line = self._source.count("\n", 0, index) + 1
        column = index - (self._source.rfind("\n", 0, index) + 1) + 1
        return Place(self.file, line, column)


def _aligned(source: str, start: int, end: int, value: str, offset: int) -> int:
    """Index in `source` of character `offset` of `value`; quoting, folding and indents skipped."""
    index = start
    for number, char in enumerate(value):
        if not char.isspace():
            while index < end and source[index] != char:
                index += 1
            if number >= offset:
                return min(index, end)
            index += 1
    return min(index, end)


def read(text: str, file: str) -> Document:
    """Read one YAML document.

    Raises
    ------
    InputError
        At the first place where the text is not YAML, or uses what models may not use.
    """
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError

    yaml = YAML(typ="rt", pure=True)
    document = Document(file, None, text)
    try:
        _refuse_references(yaml, text, document)
        root = yaml.compose(StringIO(text))
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = Place(file, mark.line + 1, mark.column + 1) if mark else Place(file, 1, 1)
        problem = " ".join(str(error.problem or error.context or "cannot be read").split())
        raise InputError([Mistake(place, f"not valid YAML: {problem}")]) from None
    except YAMLError as error:
        said = " ".join(str(error).split())[:200]
        raise InputError([Mistake(Place(file, 1, 1), f"not valid YAML: {said}")]) from None
    except (ValueError, OverflowError):
        # The reader's own conversions of escapes such as \UFFFFFFFF.
        raise InputError(
            [Mistake(Place(file, 1, 1), "not valid YAML: a character escape is out of range")]
        ) from None
    if root is None:
        raise InputError([Mistake(Place(file, 1, 1), "the file is empty; expected a model")])
    mistakes: list[Mistake] = []
    document.value = _plain(root, (), document, mistakes)
    if mistakes:
        raise InputError(mistakes)
    return document


def _refuse_references(yaml: Any, text: str, document: Document) -> None:
    depth = 0
    for event in yaml.parse(StringIO(text)):
        kind = type(event).__name__
        place = document._at(event.start_mark.index) if event.start_mark else Place("", 1, 1)
        if kind == "AliasEvent" or getattr(event, "anchor", None):
            raise InputError([Mistake(place, "anchors and aliases are not supported in a model")])
        if getattr(event, "ctag", None) or getattr(event, "tag", None):
            raise InputError([Mistake(place, "tags (!…) are not supported in a model")])
        depth += kind.endswith("StartEvent") and kind[:3] in ("Seq", "Map")
        depth -= kind.endswith("EndEvent") and kind[:3] in ("Seq", "Map")
        if depth > MAX_DEPTH:
            raise InputError([Mistake(place, f"nested more than {MAX_DEPTH} levels deep")])


def _plain(node: Any, path: Path, document: Document, mistakes: list[Mistake]) -> Plain:
    document._spans[path] = (node.start_mark.index, node.end_mark.index)
    match type(node).__name__:
        case "MappingNode":
            return _mapping(node, path, document, mistakes)
        case "SequenceNode":
            return [
                _plain(item, (*path, n), document, mistakes) for n, item in enumerate(node.value)
            ]
        case _:
            text = str(node.value)
            plain_style = node.style is None or node.style == ""
            return None if plain_style and text in ("", "~", "null") else text


def _mapping(node: Any, path: Path, document: Document, mistakes: list[Mistake]) -> Plain:
    result: dict[str, Plain] = {}
    for key_node, value_node in node.value:
        place = document._at(key_node.start_mark.index)
        if type(key_node).__name__ != "ScalarNode":
            mistakes.append(Mistake(place, "a key must be a word"))
            continue
        key = str(key_node.value)
        if key == "<<":
            mistakes.append(Mistake(place, "merge keys (<<) are not supported in a model"))
        elif key in result:
            first = document.key_place((*path, key))
            mistakes.append(Mistake(place, f"'{key}' is given twice; first in line {first.line}"))
        else:
            document._keys[(*path, key)] = key_node.start_mark.index
            result[key] = _plain(value_node, (*path, key), document, mistakes)
    return result
