"""Changes of copies of one place, taken together: what a slip in the text would have done.

A loop is unrolled and a block is read where it is called, so that one place of the text stands in a
program many times. Who makes a mistake there makes it in every copy.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from interlock.base.errors import Place
from interlock.commands.challenge.edits import Edit
from interlock.commands.challenge.expression_defects import DefectKind

# What differs from copy to copy of a name: the way to it, its index, the number of a temporary.
_WAY = re.compile(r"(?:\w+(?:\[[^\]]*\])?\.)+(?=\w)|\[[^\]]*\]|@\d+|\b\d+\b")
_SHOWN = 2


@dataclass(frozen=True)
class Change:
    """One change of one copy of a place.

    Attributes
    ----------
    place, statement_place : Place
        Of what is changed, and of the statement that it stands in.
    at, within, says : str
        What the statement is called, the whole of it with what it stands in, what is changed.
    edit : Edit
        From the program's body.
    n_inside : int
        So many steps of its path lead on from the statement.
    """

    place: Place
    statement_place: Place
    at: str
    within: str
    kind: DefectKind
    says: str
    edit: Edit
    n_inside: int = 0

    def within_statement(self, under: str, *steps: int) -> Change:
        """The same change, seen from the statement around its own."""
        within = f"{under} {self.within}" if under else self.within
        return replace(self, within=within, edit=self.edit.within(*steps))


@dataclass(frozen=True)
class PlaceChange:
    """One change of every copy of a place; `first` is that of the first copy."""

    first: Change
    edits: tuple[Edit, ...]

    @property
    def says(self) -> str:
        """What is changed, in words."""
        n_copies = len(self.edits)
        return self.first.says + (f", in all {n_copies} copies" if n_copies > 1 else "")


def by_place(changes: Iterable[Change]) -> list[PlaceChange]:
    """Changes of copies of one place as one change, in the order of the first of each."""
    number: dict[Edit, int] = {}
    of_place: dict[object, list[Change]] = {}
    for change in changes:
        number.setdefault(change.edit, len(number))
        verb = _alike(" ".join(change.says.split(" ")[:_SHOWN]))
        # What a name is mistaken for may be another in each copy.
        verb = "" if change.kind is DefectKind.SWAPPED else verb
        key = (change.statement_place, change.place, change.kind, verb)
        of_place.setdefault(key, []).append(change)
    found = [
        PlaceChange(copies[0], tuple(change.edit for change in copies))
        for alike in of_place.values()
        for copies in _copies_among(alike)
    ]
    return sorted(found, key=lambda change: number[change.first.edit])


def _copies_among(alike: Sequence[Change]) -> list[list[Change]]:
    """Those that are copies of each other, of changes alike at one place of the text."""
    statements = {c.edit.path[: len(c.edit.path) - c.n_inside] for c in alike}
    if len(statements) == len(alike):
        return [list(alike)]
    # Several in one statement are copies where the words are the same, too, as for each element
    # that an index may choose. What stands in one another may begin at one place and is none.
    paths = sorted(change.edit.path for change in alike)
    is_nested = any(b[: len(a)] == a for a, b in pairwise(paths))
    found: dict[tuple[str, int], list[Change]] = {}
    for change in alike:
        depth = change.n_inside if is_nested else 0
        found.setdefault((_alike(change.says), depth), []).append(change)
    return list(found.values())


def _alike(words: str) -> str:
    """Words without what differs from copy to copy."""
    return _WAY.sub("", words)
