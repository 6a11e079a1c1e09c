"""Every state of a run with all that can be seen in it, for pictures and for files of signals."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from interlock.independent_judge.happenings import Happening
from interlock.independent_judge.player import Player
from interlock.model.model import Model
from interlock.model.timing import TICK
from interlock.st.evaluate import evaluate_expression


@dataclass(frozen=True)
class Moment:
    """One state of a run, and the step that led to it.

    Attributes
    ----------
    number : int
        Steps before it; 0 is power-up.
    happening : Happening or None
        None at power-up.
    shown : mapping of str to str
        Machines, controls and outputs as labels, by declared name.
    signals : mapping of str to int
        What the sensor of each input gives.
    read : mapping of str to int
        What a scan would read now: of a signal that is late what its sensor gave before.
    lying : frozenset of str
        Inputs whose sensors give something else than what is so.
    struck : tuple of str
        Ids of the faults that have struck and not cleared.
    inside : mapping of str to int
        What requirements name inside the program, by casefolded path.
    ms : int
        Milliseconds that have passed since power-up, where time is counted.
    """

    number: int
    happening: Happening | None
    shown: Mapping[str, str]
    signals: Mapping[str, int]
    read: Mapping[str, int]
    lying: frozenset[str]
    struck: tuple[str, ...]
    inside: Mapping[str, int] = field(default_factory=dict)
    ms: int = 0

    @property
    def seen(self) -> dict[str, int | str]:
        """What a picture of the state needs: `shown`, and the faults."""
        return {**self.shown, **dict.fromkeys(self.struck, 1)}


def moments_of(model: Model, moves: Iterable[str]) -> list[Moment]:
    """Play `moves` from power-up on and keep every state.

    Raises
    ------
    InternalError
        Where the model does not allow a move.
    """
    player = Player(model)
    moments = [_moment(player, 0, None, 0)]
    unit_ms = 0 if model.timing is None else model.timing.unit_ms
    for number, move in enumerate(moves, 1):
        ms = moments[-1].ms + (unit_ms if move == TICK else 0)
        moments.append(_moment(player, number, player.play(move), ms))
    return moments


def _moment(player: Player, number: int, happening: Happening | None, ms: int) -> Moment:
    shown, signals, truth = player.shown(), player.signals(), player.truth
    read = player.as_read()
    lying = frozenset(
        name
        for name, sensor in player.model.sensors.items()
        if evaluate_expression(sensor.reads.tree, truth) != signals[name]
    )
    inside = {path: truth[path] for path in player.model.inside}
    return Moment(number, happening, shown, signals, read, lying, player.struck(), inside, ms)
