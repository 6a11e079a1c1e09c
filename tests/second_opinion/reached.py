"""Everything that can be reached, breadth first, with what follows what."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from tests.second_opinion.world import Act, State, World


class TooManyError(Exception):
    """More states can be reached than were allowed."""


@dataclass
class Reached:
    """A finite graph of states, each known by its number in the order of their distance.

    Attributes
    ----------
    values : list of dict
        Truth and signals of each state; signals under ``signal.NAME``.
    after : list of list of (Act, int)
        What can happen, and the number of the state it leads to.
    owed : list of set of Act
        What is owed where it stays so.
    is_broken : list of bool
        Whether a scan from it leaves a range or divides by zero.
    """

    world: World
    states: list[State] = field(default_factory=list)
    truths: list[dict[str, int]] = field(default_factory=list)
    signals: list[dict[str, int]] = field(default_factory=list)
    after: list[list[tuple[Act, int]]] = field(default_factory=list)
    owed: list[set[Act]] = field(default_factory=list)
    is_broken: list[bool] = field(default_factory=list)


def reach(world: World, most: int | None = None) -> Reached:
    """Explore `world`.

    Raises
    ------
    TooManyError
        Where it has more than `most` states.
    """
    found = Reached(world)
    numbers = {world.first: 0}
    found.states.append(world.first)
    todo = deque([world.first])
    while todo:
        state = todo.popleft()
        truth = world.truth(state)
        found.truths.append(truth)
        found.signals.append(world.signals(state, truth))
        found.owed.append(world.owes(state, truth))
        found.is_broken.append(world.scanned(state, truth).is_broken)
        after = []
        for act, new in world.successors(state, truth):
            if new not in numbers:
                if most is not None and len(numbers) >= most:
                    raise TooManyError
                numbers[new] = len(found.states)
                found.states.append(new)
                todo.append(new)
            after.append((act, numbers[new]))
        found.after.append(after)
    return found
