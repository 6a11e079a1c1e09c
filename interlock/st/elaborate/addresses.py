"""Addresses: which variables are one, which overlap."""

from __future__ import annotations

import re
from collections.abc import Iterator

from interlock.st import syntax as sx
from interlock.st.elaborate.project import Project

_WRITTEN = re.compile(r"%([iqm])([xbwdl]?)([0-9.]+)")
_BITS = {"": 1, "x": 1, "b": 8, "w": 16, "d": 32, "l": 64}


def plain_address(address: str) -> str:
    """One text for each place; empty where none is given, as with ``%I*``.

    Examples
    --------
    >>> plain_address("%QX1.3"), plain_address("%q1.3"), plain_address("%I*")
    ('%q1.3', '%q1.3', '')
    """
    match = _WRITTEN.fullmatch(address.casefold())
    return "" if match is None else f"%{match[1]}{match[2].replace('x', '')}{match[3]}"


def overlap(a: str, b: str) -> bool:
    """Whether two plain addresses are different and have a bit in common.

    Words are counted in words: ``%MW1`` is made of ``%MB2`` and ``%MB3`` (IEC 61131-3, from
    memory).

    Examples
    --------
    >>> overlap("%mw1", "%m2.7"), overlap("%mw1", "%mb1"), overlap("%mw1", "%mw1")
    (True, False, False)
    """
    if a == b or a[:2] != b[:2]:
        return False
    one, other = _bits(a), _bits(b)
    return one is not None and other is not None and one[0] < other[1] and other[0] < one[1]


def _bits(address: str) -> tuple[int, int] | None:
    """From which bit on, and up to which, without it."""
    match = _WRITTEN.fullmatch(address)
    assert match is not None, address
    parts = match[3].split(".")
    width = _BITS[match[2]]
    if not all(parts) or len(parts) > 2 or (len(parts) == 2 and width > 1):
        return None
    start = int(parts[0]) * (8 if width == 1 and len(parts) == 2 else width)
    start += int(parts[1]) if len(parts) == 2 else 0
    return start, start + width


def names_at(project: Project) -> dict[str, set[str]]:
    """The casefolded names that are declared at each plain address."""
    found: dict[str, set[str]] = {}
    for declaration in _declarations(project):
        address = plain_address(declaration.address)
        if address:
            names = {name.text.casefold() for name in declaration.names}
            found.setdefault(address, {address, declaration.address.casefold()}).update(names)
    return found


def _declarations(project: Project) -> Iterator[sx.Declaration]:
    for _, declaration in project.globals.values():
        yield declaration
    for unit in project.units.values():
        yield from unit.declarations
