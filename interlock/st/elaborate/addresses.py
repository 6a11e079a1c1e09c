"""Addresses: which variables are one, which overlap."""

from __future__ import annotations

import re
from collections.abc import Iterator
from math import prod

from interlock.st import syntax as sx
from interlock.st.elaborate.project import Project
from interlock.st.elaborate.shapes import Array, Scalar, Shape, Structure

_WRITTEN = re.compile(r"%([iqm])([xbwdl]?)([0-9.]+)")
_BITS = {"": 1, "x": 1, "b": 8, "w": 16, "d": 32, "l": 64}
_WIDTHS = {
    **dict.fromkeys(("BOOL",), 1),
    **dict.fromkeys(("SINT", "USINT", "BYTE"), 8),
    **dict.fromkeys(("DINT", "UDINT", "DWORD", "REAL", "TIME"), 32),
    **dict.fromkeys(("LINT", "ULINT", "LWORD", "LREAL", "LTIME"), 64),
}


def plain_address(address: str) -> str:
    """One text for each place; empty where none is given, as with ``%I*``.

    Examples
    --------
    >>> plain_address("%QX1.3"), plain_address("%q1.3"), plain_address("%I*")
    ('%q1.3', '%q1.3', '')
    """
    match = _WRITTEN.fullmatch(address.casefold())
    return "" if match is None else f"%{match[1]}{match[2].replace('x', '')}{match[3]}"


def overlap(a: str, b: str, a_bits: int = 0, b_bits: int = 0) -> bool:
    """Whether two plain addresses are different and what stands there has a bit in common.

    Words are counted in words: ``%MW1`` is made of ``%MB2`` and ``%MB3`` (IEC 61131-3, from
    memory).

    Parameters
    ----------
    a, b : str
    a_bits, b_bits : int
        How many bits the variables take, where that is more than the address says.

    Examples
    --------
    >>> overlap("%mw1", "%m2.7"), overlap("%mw1", "%mb1"), overlap("%mw1", "%mw1")
    (True, False, False)
    >>> overlap("%mw0", "%mw1", a_bits=32)
    True
    """
    if a == b or a[:2] != b[:2]:
        return False
    one, other = _bits(a, a_bits), _bits(b, b_bits)
    return one is not None and other is not None and one[0] < other[1] and other[0] < one[1]


def bits_of(shape: Shape) -> int:
    """How many bits a variable takes at most; structures may be filled up between members.

    Source: IEC 61131-3, widths of the elementary types.
    """
    match shape:
        case Scalar():
            return _WIDTHS.get(shape.type.name, 16)
        case Array():
            return prod(hi - lo + 1 for lo, hi in shape.limits) * max(bits_of(shape.of), 8)
        case Structure():
            return sum(max(bits_of(member.shape), 64) for member in shape.fields)
        case _:
            return 0


def _bits(address: str, width: int) -> tuple[int, int] | None:
    """From which bit on, and up to which, without it."""
    match = _WRITTEN.fullmatch(address)
    assert match is not None, address
    parts = match[3].split(".")
    step = _BITS[match[2]]
    if not all(parts) or len(parts) > 2 or (len(parts) == 2 and step > 1):
        return None
    start = int(parts[0]) * (8 if step == 1 and len(parts) == 2 else step)
    start += int(parts[1]) if len(parts) == 2 else 0
    return start, start + max(step, width)


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
