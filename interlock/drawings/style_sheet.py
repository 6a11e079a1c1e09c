"""Style sheets of drawings: classes and what each of them looks like, and nothing else of CSS.

Classes become attributes when a drawing is shown, since a style sheet in a page would reach
everything else in that page.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from functools import cached_property

from interlock.base.errors import Mistake, Place, nearest
from interlock.drawings import rules

Locate = Callable[[int], Place]
"""Where a character of a text stands, counted from 0."""

_BRACE = re.compile(r"[{}]")
_CLASS = re.compile(r"\.([A-Za-z_][A-Za-z0-9_-]*)")


class Rules(dict[str, dict[str, str]]):
    """What each class looks like: properties and their values, in the order of the sheet."""

    def in_order(self, names: Iterable[str]) -> list[str]:
        """Those of `names` that are classes, in the order of the sheet."""
        return sorted({*names} & self.keys(), key=self._ranks.__getitem__)

    @cached_property
    def _ranks(self) -> dict[str, int]:
        return {name: rank for rank, name in enumerate(self)}


def read_sheet(text: str, locate: Locate, mistakes: list[Mistake]) -> Rules:
    """The classes of a style sheet; what is wrong is noted.

    Each character is looked at once, however the sheet is written.

    >>> read_sheet(".lit, .on { fill: red }", lambda at: Place("mimic.svg", 1, at + 1), [])
    {'lit': {'fill': 'red'}, 'on': {'fill': 'red'}}
    """
    bare = _without_comments(text)
    found = Rules()
    end = start = 0  # of what was read, and of what may be a rule
    opened: int | None = None
    for brace in _BRACE.finditer(bare):
        at = brace.start()
        if brace[0] == "{":
            start = start if opened is None else opened + 1
            opened = at
        elif opened is None:
            start = at + 1
        else:
            _refuse_rest(bare, end, start, locate, mistakes)
            looks = read_declarations(bare[opened + 1 : at], _from(locate, opened + 1), mistakes)
            for name in _classes(bare, start, opened, locate, mistakes):
                found.setdefault(name, {}).update(looks)
                if len(found) > rules.MAX_CLASSES:
                    says = f"the style sheet has more than {rules.MAX_CLASSES:,} classes"
                    mistakes.append(Mistake(locate(start), says))
                    return found
            end = start = at + 1
            opened = None
    _refuse_rest(bare, end, len(bare), locate, mistakes)
    return found


def _without_comments(text: str) -> str:
    """The text with blanks for comments, every other character in its place."""
    pieces = []
    end = 0
    while (start := text.find("/*", end)) >= 0:
        closed = text.find("*/", start + 2)
        if closed < 0:
            break
        pieces += [text[end:start], " " * (closed + 2 - start)]
        end = closed + 2
    return "".join([*pieces, text[end:]])


def _from(locate: Locate, start: int) -> Locate:
    return lambda at: locate(start + at)


def _parts(text: str, parting: str) -> Iterator[tuple[int, str]]:
    """What `parting` parts, without blanks around it, and where each begins."""
    start = 0
    for part in text.split(parting):
        yield start + len(part) - len(part.lstrip()), part.strip()
        start += len(part) + 1


def _classes(
    bare: str, start: int, end: int, locate: Locate, mistakes: list[Mistake]
) -> Iterator[str]:
    for at, selector in _parts(bare[start:end], ","):
        name = _CLASS.fullmatch(selector)
        if name is None:
            says = f"'{_short(selector)}' is no class; write .name {{ … }}"
            mistakes.append(Mistake(locate(start + at), says))
        else:
            yield name[1]


def _refuse_rest(bare: str, start: int, end: int, locate: Locate, mistakes: list[Mistake]) -> None:
    ((at, rest),) = _parts(bare[start:end], "\0")
    if rest:
        says = f"expected .name {{ … }} in the style sheet, not '{_short(rest)}'"
        mistakes.append(Mistake(locate(start + at), says))


def _short(text: str) -> str:
    return " ".join(text[:200].split())[:40]


def read_declarations(text: str, locate: Locate, mistakes: list[Mistake]) -> dict[str, str]:
    """The properties in ``fill: red; stroke: none``; what is wrong is noted."""
    found = {}
    for at, declaration in _parts(text, ";"):
        name, colon, value = declaration.partition(":")
        behind = at + len(name) + 1 + len(value) - len(value.lstrip())
        name, value = name.strip(), value.strip()
        if not name and not colon:
            continue
        if name not in rules.PROPERTIES:
            says = f"'{name[:40]}' has no place in a drawing{nearest(name[:40], rules.PROPERTIES)}"
            mistakes.append(Mistake(locate(at), says))
        elif (reason := rules.why_not_value(name, value)) is not None:
            mistakes.append(Mistake(locate(behind), reason))
        else:
            found[name] = value
    return found
