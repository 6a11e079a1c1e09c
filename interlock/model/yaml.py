"""YAML 1.2 text as plain values with a place for each; the only door to ``ruamel.yaml``.

Every scalar stays the text that was written: ``on`` is a word, ``2026-01-01`` is not a date and
``1_000`` is not a number. Anchors, aliases, tags and merge keys are refused: a model says what
it means where it stands, and no small file can unfold into a huge one.
"""

from __future__ import annotations

import unicodedata
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any, TypeGuard

from interlock.base.errors import InputError, Mistake, MistakeList, Place
from interlock.base.visible import turns_direction

MAX_DEPTH = 40
# Revisions of one model are read one after the other, and each reads that model again.
_KEPT = 4

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
    _source: str = ""
    _spans: dict[Path, tuple[int, int]] = field(default_factory=dict)
    _keys: dict[Path, int] = field(default_factory=dict)

    def place(self, path: Path, offset: int | None = None) -> Place:
        """The place of the value at `path`, or of the nearest value around it.

        Parameters
        ----------
        path : tuple of str or int
        offset : int, optional
            For a text: the place of its character number `offset`, counted from 0, past quotes
            and the heads of folded texts.
        """
        while path and path not in self._spans:
            path = path[:-1]
        start, end = self._spans.get(path, (0, 0))
        if offset is not None:
            value: Any = self.value
            for part in path:
                value = value[part]
            if isinstance(value, str):
                start = _aligned(self._source, start, end, value, offset)
        return self.place_at(start)

    def key_place(self, path: Path) -> Place:
        """The place of the key that names the value at `path`."""
        return self.place_at(self._keys[path]) if path in self._keys else self.place(path)

    def place_at(self, index: int) -> Place:
        """The place of a character of the file, counted from 0."""
        line = bisect_right(self._line_starts, index)
        return Place(self.file, line, index - self._line_starts[line - 1] + 1)

    @cached_property
    def _line_starts(self) -> list[int]:
        return [0] + [n + 1 for n, char in enumerate(self._source) if char == "\n"]


def _aligned(source: str, start: int, end: int, value: str, offset: int) -> int:
    """Index in `source` of character `offset` of `value`; quoting, folding and indents skipped."""
    index = start
    if source[start : start + 1] in ("|", ">"):
        # The head of a block text may hold signs and a comment, but nothing of the text.
        index = source.find("\n", start, end) + 1 or end
    elif source[start : start + 1] in ("'", '"'):
        index += 1
    for number, char in enumerate(value):
        if not char.isspace():
            while index < end and source[index] != char:
                index += 1
            if number >= offset:
                return min(index, end)
            index += 1
    return min(index, end)


@lru_cache(_KEPT)
def read(text: str, file: str) -> Document:
    """Read one YAML document; whoever asks for the same one again gets it again, so change none.

    Raises
    ------
    InputError
        At the first place where the text is not YAML, or with every use of what models may not
        use.
    """
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError

    document = Document(file, None, text)
    reader = _Reader(document, iter(YAML(typ="safe", pure=True).parse(text)))
    try:
        mistakes = reader.read()
    except MarkedYAMLError as error:
        raise InputError([_no_yaml(document, error, reader.brackets)]) from None
    except YAMLError as error:
        position = getattr(error, "position", 0)
        said = " ".join(str(getattr(error, "reason", "") or error).split())[:200]
        raise InputError(
            [Mistake(document.place_at(position), f"not valid YAML: {said}")]
        ) from None
    except (ValueError, OverflowError):
        # The reader's own conversions of escapes such as \UFFFFFFFF.
        raise InputError(
            [Mistake(Place(file, 1, 1), "not valid YAML: a character escape is out of range")]
        ) from None
    if mistakes:
        raise InputError(mistakes)
    return document


def _no_yaml(document: Document, error: Any, brackets: list[int]) -> Mistake:
    """What the parser says, where it went wrong rather than where that was noticed."""
    mark = error.problem_mark or error.context_mark
    index = mark.index if mark else 0
    says = " ".join(str(error.problem or error.context or "cannot be read").split())
    if error.context == "while scanning a simple key":
        index = error.context_mark.index
    elif says == "found unexpected end of stream":
        index, says = error.context_mark.index, "this quote is never closed"
    elif "'<stream end>'" in says and brackets:
        index, says = brackets[-1], "this bracket is never closed"
    return Mistake(document.place_at(index), f"not valid YAML: {says}")


class _Reader:
    """Builds plain values from the parser's events, in one pass."""

    def __init__(self, document: Document, events: Iterator[Any]) -> None:
        self.document = document
        self.events = events
        self.mistakes = MistakeList()
        self.depth = 0
        # Where those that are open begin.
        self.brackets: list[int] = []

    def read(self) -> list[Mistake]:
        """Fill the document; the mistakes that leave the rest readable are returned."""
        for event in self.events:
            match type(event).__name__:
                case "StreamStartEvent" | "StreamEndEvent" | "DocumentEndEvent":
                    continue
                case "DocumentStartEvent":
                    if self.document._spans:
                        self._refuse(
                            event, "a model file holds one document; this '---' is one more"
                        )
                case _:
                    self.document.value = self._value(event, ())
        if not self.document._spans:
            place = self.document.place_at(0)
            raise InputError([Mistake(place, "the file is empty; expected a model")])
        return self.mistakes

    def _refuse(self, event: Any, says: str) -> None:
        raise InputError([Mistake(self.document.place_at(event.start_mark.index), says)])

    def _value(self, event: Any, path: Path) -> Plain:
        kind = type(event).__name__
        if kind == "AliasEvent" or event.anchor:
            self._refuse(event, "anchors and aliases are not supported in a model")
        if event.tag:
            self._refuse(event, "tags (!…) are not supported in a model")
        start = event.start_mark.index
        if kind == "ScalarEvent":
            self.document._spans[path] = start, event.end_mark.index
            return self._scalar(event)
        # Known before its end is, so that what is wrong inside has a place around it.
        self.document._spans[path] = start, start
        self.depth += 1
        if self.depth > MAX_DEPTH:
            self._refuse(event, f"nested more than {MAX_DEPTH} levels deep")
        if event.flow_style:
            self.brackets.append(start)
        value: Plain
        if kind == "SequenceStartEvent":
            value = [
                self._value(e, (*path, n)) for n, e in enumerate(self._up_to("SequenceEndEvent"))
            ]
        else:
            value = self._mapping(path)
        self.depth -= 1
        if event.flow_style:
            self.brackets.pop()
        return value

    def _up_to(self, end: str) -> Iterator[Any]:
        for event in self.events:
            if type(event).__name__ == end:
                return
            yield event

    def _scalar(self, event: Any) -> str | None:
        text = str(event.value)
        if event.style is None and text in ("", "~", "null"):
            return None
        strange = next((char for char in text if _is_strange(char)), None)
        if strange is not None:
            # Shown on a terminal such characters could say what stands nowhere in the file.
            said = f"the character U+{ord(strange):04X} is not supported in a model"
            self.mistakes.append(Mistake(self.document.place_at(event.start_mark.index), said))
            return "".join("?" if _is_strange(char) else char for char in text)
        return text

    def _mapping(self, path: Path) -> Plain:
        result: dict[str, Plain] = {}
        for event in self._up_to("MappingEndEvent"):
            start = event.start_mark.index
            place = self.document.place_at(start)
            key = self._value(event, (*path, "?"))
            below = (*path, key) if _is_key(key) else (*path, "?")
            if not _is_key(key):
                self.mistakes.append(Mistake(place, "a key must be a word"))
            elif key == "<<":
                self.mistakes.append(Mistake(place, "merge keys (<<) are not supported in a model"))
            elif key in result:
                first = self.document.key_place(below).line
                self.mistakes.append(
                    Mistake(place, f"'{key}' is given twice; first in line {first}")
                )
                below = (*path, "?")
            colon = self.document._source.find(":", event.end_mark.index)
            value = self._value(next(self.events), below)
            begins, ends = self.document._spans[below]
            # The parser knows of nothing only where something else begins.
            if begins == ends and value is None and colon < begins:
                self.document._spans[below] = colon + 1, colon + 1
            if _is_key(key) and below[-1] == key and key not in result:
                self.document._keys[below] = start
                result[key] = value
        return result


def _is_key(key: Plain) -> TypeGuard[str]:
    return isinstance(key, str)


def _is_strange(char: str) -> bool:
    """A control character, one half of a pair, or one that turns the direction of writing."""
    if char in "\n\t":
        return False
    return unicodedata.category(char) in ("Cc", "Cs") or turns_direction(char)
