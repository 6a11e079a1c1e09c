"""The parts of a script, and what a certificate claims that it must ask."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from interlock.kernel.certificate import Invariant, Ladder, Shrinking
from interlock.kernel.evaluate import State
from interlock.kernel.query import Reach, Stay, Trap


@dataclass(frozen=True)
class Outline:
    """What a certificate claims of which sets.

    Attributes
    ----------
    invariant : Invariant
    reaches : mapping of str to Reach
        Targets that the invariant excludes, by what they are called.
    stays : mapping of str to (Stay, tuple of Shrinking)
    traps : mapping of str to (Trap, Ladder)
        Those with a home: its ladder only once.
    dead_ends : mapping of str to (Trap, int, State)
        The number of a set that no move leaves, and the state that it must hold.
    """

    invariant: Invariant = field(default_factory=Invariant)
    reaches: Mapping[str, Reach] = field(default_factory=dict)
    stays: Mapping[str, tuple[Stay, tuple[Shrinking, ...]]] = field(default_factory=dict)
    traps: Mapping[str, tuple[Trap, Ladder]] = field(default_factory=dict)
    dead_ends: Mapping[str, tuple[Trap, int, State]] = field(default_factory=dict)

    @property
    def set_numbers(self) -> Iterator[int]:
        """Every set that is spoken of."""
        yield from (case.within for case in self.invariant.cases)
        yield from (number for _, number, _ in self.dead_ends.values())
        for _, steps in self.stays.values():
            yield from (step.inside for step in steps)
        for _, ladder in self.traps.values():
            yield from (rung.within for rung in ladder.rungs)


@dataclass(frozen=True)
class Obligation:
    """One obligation.

    Attributes
    ----------
    name : str
    unsatisfiable : str
        The term that no state may satisfy, given what the group assumes.
    queries : tuple of str
        What falls with it; empty where all of the script does.
    """

    name: str
    unsatisfiable: str
    queries: tuple[str, ...] = ()


@dataclass(frozen=True)
class Group:
    """Obligations that assume the same.

    Attributes
    ----------
    says : str
    assumed : str
    obligations : tuple of Obligation
    """

    says: str
    assumed: str
    obligations: tuple[Obligation, ...]


SETS = "; the sets\n"
OBLIGATIONS = "\n; the obligations\n"


@dataclass(frozen=True)
class Script:
    """The text of a script in its parts.

    Attributes
    ----------
    system : str
        Everything before the sets.
    sets : str
    groups : tuple of Group
    """

    system: str
    sets: str
    groups: tuple[Group, ...]

    @property
    def obligations(self) -> Iterator[Obligation]:
        """All of them, in order."""
        return (obligation for group in self.groups for obligation in group.obligations)

    @property
    def text(self) -> str:
        """The whole script."""
        parts = [self.system, self.sets]
        for group in self.groups:
            parts += [opening(group), *map(show, group.obligations), CLOSING]
        return "".join(parts)


CLOSING = "(pop 1)\n"


def _comment(says: str) -> str:
    """A line that says nothing to a solver; what could end it early is written as a number."""
    return "; " + "".join(c if " " <= c <= "~" else f"~{ord(c):x}~" for c in says) + "\n"


def opening(group: Group) -> str:
    """How a group begins in a script."""
    return f"{_comment(group.says)}(push 1)\n(assert {group.assumed})\n"


def show(obligation: Obligation) -> str:
    """An obligation as it stands in a script."""
    asked = f"(assert {obligation.unsatisfiable})\n(check-sat)"
    return f"{_comment(obligation.name)}(push 1)\n{asked}\n(pop 1)\n"
