"""What can follow the end of a run: searched once, however many requirements ask for a way back."""

from __future__ import annotations

from collections.abc import Callable

from interlock.independent_judge.player import Player


class Behind:
    """The states that are reached from one, each kept from when it is found on.

    Whatever the plant, people and the program can do is played, but no fault strikes or clears.

    Parameters
    ----------
    player : Player
        In the state at the end; it is moved about from now on.
    human : bool
        Whether people err.
    """

    def __init__(self, player: Player, human: bool) -> None:
        self._player = player
        self._human = human
        self._found = [player.moment()]
        self._seen = {self._key()}
        self._waiting = self._found[:]

    def leads_to(
        self, is_goal: Callable[[Player], bool], most: int, check: Callable[[int], None]
    ) -> bool | None:
        """Whether a state behind the first is a goal; None where there are more than `most`.

        `check` is told how many states were looked at; it may raise.
        """
        n_looked = 1
        while True:
            for moment in self._found[n_looked:]:
                n_looked += 1
                check(n_looked)
                self._player.go_back(moment)
                if is_goal(self._player):
                    return True
            if len(self._found) > most:
                return None
            if not self._waiting:
                return False
            self._go_on()

    def _go_on(self) -> None:
        """Find what one of the states leads to whose moves were not made yet."""
        here = self._waiting.pop()
        self._player.go_back(here)
        for move in list(self._player.ways_on(self._human)):
            self._player.go_back(here)
            self._player.take(move)
            key = self._key()
            if key not in self._seen:
                self._seen.add(key)
                self._found.append(self._player.moment())
                self._waiting.append(self._found[-1])

    def _key(self) -> tuple[int, ...]:
        return tuple(self._player.state().values())
