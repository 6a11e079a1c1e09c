"""What is seen of a fault that does nothing in the next scan: a run with it beside one without.

Both make the same moves and scans, from the strike on. What a restart turns off until the next
scan, and what a fault has left in the memory or in a machine, is seen by the first output, machine
or move that is not the same in both. Pairs of states are looked at one by one, so this is for small
models; beyond, it is undecided.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

from interlock.kernel.evaluate import State, python_function
from interlock.kernel.system import MoveKind, Origin, Stepper
from interlock.model.build import RunClass, build
from interlock.model.model import Model

MOST_PAIRS = 20_000

# Whoever makes these is outside of the controller, and would see that they have become possible.
_SEEN = (MoveKind.PLANT, MoveKind.OPERATOR, MoveKind.DRIVER, MoveKind.HUMAN)


@dataclass(frozen=True)
class Beside:
    """What is first seen of a fault, in some run.

    Attributes
    ----------
    on, off : tuple of str
        Outputs that are more, or less, than they would be.
    elsewhere : tuple of str
        Machines that are where they would not be.
    enables, prevents : tuple of str
        Moves of the plant and of people.
    undecided : str
        Why there may be more, or empty.
    """

    on: tuple[str, ...] = ()
    off: tuple[str, ...] = ()
    elsewhere: tuple[str, ...] = ()
    enables: tuple[str, ...] = ()
    prevents: tuple[str, ...] = ()
    undecided: str = ""


def seen_beside(
    model: Model, fault: str, most: int = MOST_PAIRS, until: float | None = None
) -> Beside:
    """Let `fault` strike at any moment, and follow what goes on beside the same without it.

    Parameters
    ----------
    model : Model
    fault : str
    most : int
        Most states before the strike, and most pairs of states behind it, that are looked at.
    until : float, optional
        When it is to end, on the clock of `time.monotonic`.
    """
    if model.timing is not None or model.several:
        return Beside(undecided="it is not asked with time or several controllers")
    return _SideBySide(model, fault).followed(most, until)


class _SideBySide:
    def __init__(self, model: Model, fault: str) -> None:
        built = build(model, RunClass((fault,), 1))
        self._stepper = Stepper(built.system)
        self._strike = built.system.event(Origin.strike(fault)).name
        index = built.system.index
        self._outputs = list(model.outputs)
        shown = [built.truth[name.casefold()] for name in self._outputs]
        self._shown = python_function(shown, index)
        self._places = {name: index[name] for name in model.machines if name in index}
        self._found: dict[str, set[str]] = {name: set() for name in _PARTS}

    def followed(self, most: int, until: float | None) -> Beside:
        first = self._stepper.system.initial
        pairs = {(first, first)}
        todo = deque(pairs)
        while todo:
            if until is not None and time.monotonic() > until:
                return self._told("the limit of time was hit")
            with_it, without = todo.popleft()
            if with_it != without and self._differ(with_it, without):
                # Nothing is compared any more once somebody has seen it.
                continue
            for pair in self._next(with_it, without):
                if pair not in pairs:
                    if len(pairs) >= most:
                        return self._told(f"more than {most:,} pairs of states")
                    pairs.add(pair)
                    todo.append(pair)
        return self._told("")

    def _next(self, with_it: State, without: State) -> Iterator[tuple[State, State]]:
        """What both come to by the same move, or one by what only its own memory lets happen."""
        here = {move.name: after for move, after in self._stepper.successors(with_it)}
        there = {move.name: after for move, after in self._stepper.successors(without)}
        there.pop(self._strike, None)
        for name in dict.fromkeys([*here, *there]):
            yield here.get(name, with_it), there.get(name, without)

    def _differ(self, with_it: State, without: State) -> bool:
        """Whether somebody sees a difference; it is noted."""
        seen: list[tuple[str, str]] = []
        shown = self._shown(with_it), self._shown(without)
        for name, a, b in zip(self._outputs, *shown, strict=True):
            if a != b:
                seen.append(("on" if a > b else "off", name))
        for name, place in self._places.items():
            if with_it[place] != without[place]:
                seen.append(("elsewhere", name))
        here, there = (
            {move.name for move in self._stepper.enabled(state) if move.kind in _SEEN}
            for state in (with_it, without)
        )
        seen += [("enables", name) for name in here - there]
        seen += [("prevents", name) for name in there - here]
        for part, name in seen:
            self._found[part].add(name)
        return bool(seen)

    def _told(self, undecided: str) -> Beside:
        moves = [move.name for move in self._stepper.system.moves]
        order = [*self._outputs, *self._places, *moves]
        parts = {
            part: tuple(name for name in dict.fromkeys(order) if name in found)
            for part, found in self._found.items()
        }
        return Beside(**parts, undecided=undecided)


_PARTS = ("on", "off", "elsewhere", "enables", "prevents")
