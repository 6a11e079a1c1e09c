"""Whether an output tells of a fault: beside the same scan without it, and a machine without any.

Written apart from what the study asks of engines: from the meaning of 'detected' in
``DEVELOPERS.md`` alone, and played on the source-level model.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from interlock.base.errors import InternalError
from interlock.independent_judge.player import Player
from interlock.independent_judge.remembered import Moment
from interlock.kernel.system import Origin
from interlock.model.model import Model

SCANS_AT_POWER_UP = 8


class Telltale:
    """The end of a run, at which the next scan is said to tell of a fault.

    Parameters
    ----------
    model : Model
    moves : sequence of str
        Of the run.
    restarts : str or None
        The fault that strikes now and is compared by the memory that it loses; None where those
        in force are compared.

    Raises
    ------
    InternalError
        Where the model does not allow a move.
    """

    def __init__(self, model: Model, moves: Sequence[str], restarts: str | None = None) -> None:
        self._moves = moves
        self._player = player = Player(model)
        self._first = player.moment()
        self._scan_of = {name: one.scan for one in model.controllers for name in one.written}
        for move in moves:
            player.take(move)
        now = player.moment()
        self._places = now.plant
        with_them, without = now, replace(now, struck=dict.fromkeys(now.struck, False))
        if restarts is not None:
            player.take(Origin.strike(restarts).move_name)
            # Its memory is gone; what the fault does else is compared like all others.
            with_them, without = replace(player.moment(), struck=now.struck), now
        self._shown, self._without = self._next(with_them), self._next(without)
        self._usual: dict[tuple[str, ...], Mapping[str, bool] | None] = {}

    def tells(self, output: str, is_alarm: bool) -> bool:
        """Whether the next scan brings on an alarm because of the faults, or keeps another off."""
        return self._shown[output] is is_alarm and self._without[output] is not is_alarm

    def is_otherwise(self, output: str, is_alarm: bool, moves: Sequence[str] = ()) -> bool:
        """Whether a machine without any fault is shown that need not show the output so.

        Everybody is in the same places there, and the next scan shows the output otherwise.

        Parameters
        ----------
        output : str
        is_alarm : bool
        moves : sequence of str
            How such a machine may come there; where not given, as in the run. It stands still for
            the scans of power-up before. No fault strikes.
        """
        told = tuple(moves or self._moves)
        if told not in self._usual:
            self._usual[told] = self._without_faults(told)
        shown = self._usual[told]
        return shown is not None and shown[output] is not is_alarm

    def _without_faults(self, moves: Iterable[str]) -> Mapping[str, bool] | None:
        """What the next scan shows without any fault; None where nobody comes there so."""
        player = self._player
        plain = [m for m in moves if m not in player.events or player.events[m].fault is None]
        player.go_back(self._first)
        try:
            for move in [*list(player.programs.scans) * SCANS_AT_POWER_UP, *plain]:
                player.take(move)
        except InternalError:
            return None
        there = player.moment()
        return self._next(there) if there.plant == self._places else None

    def _next(self, moment: Moment) -> dict[str, bool]:
        """What each output is behind the next scan of who writes it, if that scans at all."""
        player = self._player
        found: dict[str, bool] = {}
        for scan in player.programs.scans:
            player.go_back(moment)
            if player.may_scan(scan) and not player.why_not_in_time(scan):
                player.take(scan)
            shown = player.outputs()
            found |= {name: bool(shown[name]) for name in shown if self._scan_of[name] == scan}
        return found
