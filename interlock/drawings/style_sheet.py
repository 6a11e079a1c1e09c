"""Style sheets of drawings: classes and what each of them looks like, and nothing else of CSS.

Classes become attributes when a drawing is shown, since a style sheet in a page would reach
everything else in that page.
"""

from __future__ import annotations

import re

from interlock.base.errors import Mistake, Place, nearest
from interlock.drawings import rules

Rules = dict[str, dict[str, str]]
"""What each class looks like: properties and their values."""

_COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)
_RULE = re.compile(r"([^{}]*)\{([^{}]*)\}")
_CLASS = re.compile(r"\.([A-Za-z_][A-Za-z0-9_-]*)")


def read_sheet(text: str, place: Place, mistakes: list[Mistake]) -> Rules:
    """The classes of a style sheet; what is wrong is noted at `place`, where the sheet begins.

    >>> here = Place("mimic.svg", 1, 1)
    >>> read_sheet(".lit, .on { fill: red }", here, [])
    {'lit': {'fill': 'red'}, 'on': {'fill': 'red'}}
    """
    bare = _COMMENT.sub(lambda match: "\n" * match[0].count("\n"), text)
    found: Rules = {}
    end = 0
    for rule in _RULE.finditer(bare):
        _refuse_rest(bare[end : rule.start()], place, mistakes)
        end = rule.end()
        here = Place(place.file, place.line + bare.count("\n", 0, rule.start(2)), 1)
        looks = read_declarations(rule[2], here, mistakes)
        for selector in rule[1].split(","):
            name = _CLASS.fullmatch(selector.strip())
            if name is None:
                said = f"'{' '.join(selector.split())[:40]}' is no class; write .name {{ … }}"
                mistakes.append(Mistake(here, said))
            else:
                found.setdefault(name[1], {}).update(looks)
    _refuse_rest(bare[end:], place, mistakes)
    return found


def _refuse_rest(text: str, place: Place, mistakes: list[Mistake]) -> None:
    rest = " ".join(text.split())
    if rest:
        says = f"expected .name {{ … }} in the style sheet, not '{rest[:40]}'"
        mistakes.append(Mistake(place, says))


def read_declarations(text: str, place: Place, mistakes: list[Mistake]) -> dict[str, str]:
    """The properties in ``fill: red; stroke: none``; what is wrong is noted at `place`."""
    found = {}
    for declaration in text.split(";"):
        name, colon, value = declaration.strip().partition(":")
        name, value = name.strip(), value.strip()
        if not name and not colon:
            continue
        says: str | None
        if name not in rules.PROPERTIES:
            says = f"'{name[:40]}' has no place in a drawing{nearest(name[:40], rules.PROPERTIES)}"
        else:
            says = rules.why_not_value(name, value)
        if says is None:
            found[name] = value
        else:
            mistakes.append(Mistake(place, says))
    return found
