"""The list of mutants that no test can kill, each with the reason why.

An entry is found again by its file, the function, the line and what the mutation makes of it. One
that fits no mutant is stale and an error, so that no reason outlives what it speaks of.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from tests.mutants.mutant import Mutant

if TYPE_CHECKING:
    from tests.mutants.mutants import Mutants

FILE = Path(__file__).with_name("equivalent.toml")


class StaleError(Exception):
    """The list of equivalent mutants no longer fits the source."""


@dataclass(frozen=True)
class Equivalent:
    """A mutant that behaves as the original does, and why."""

    file: str
    inside: str
    before: str
    after: str
    reason: str

    def is_(self, mutant: Mutant) -> bool:
        """Whether this entry speaks of `mutant`."""
        ours = (self.file, self.inside, self.before, self.after)
        return ours == (mutant.file, mutant.inside, mutant.before, mutant.after)


def read_equivalents(path: Path = FILE) -> list[Equivalent]:
    """The entries of the list.

    Raises
    ------
    StaleError
        If an entry lacks something or has no reason.
    """
    entries = tomllib.loads(path.read_text("utf-8")).get("equivalent", [])
    try:
        found = [Equivalent(**entry) for entry in entries]
    except TypeError as error:
        raise StaleError(f"{path.name}: {error}") from None
    for entry in found:
        if not entry.reason.strip():
            raise StaleError(f"{path.name}: no reason for {entry.file}: {entry.before}")
    return found


def equivalents_of(mutants: Mutants, entries: Iterable[Equivalent]) -> set[Mutant]:
    """The mutants of a file that the entries speak of.

    Raises
    ------
    StaleError
        If an entry speaks of none.
    """
    found: set[Mutant] = set()
    for entry in entries:
        near = (m for line in entry.before.splitlines() for m in mutants.of_line(line))
        spoken_of = {mutant for mutant in near if entry.is_(mutant)}
        if not spoken_of:
            said = f"{entry.file}, {entry.inside}: {entry.before!r} to {entry.after!r}"
            raise StaleError(f"stale, no mutant is so any more: {said}")
        found |= spoken_of
    return found
