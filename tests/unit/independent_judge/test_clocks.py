"""The judge's ages: a run that keeps no time is refused with the reason."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InternalError
from interlock.independent_judge.player import Player
from interlock.independent_judge.run_file import why_refused
from tests.support.timed_gate import timed_gate

DRIVEN = ["scan", "button to TRUE", "tick", "scan"]


@pytest.mark.parametrize(
    ("before", "move", "said"),
    [
        (["scan"], "scan", "'scan' is not possible yet: it takes 100 ms at least, and 0 ms have"),
        ([], "tick", "'tick' is not possible yet: 'scan' must happen first"),
        (["scan", "tick"], "tick", "'tick' is not possible yet: 'scan' must happen first"),
        (
            [*DRIVEN, "gate: open to moving", "tick"],
            "gate: moving to shut",
            "is not possible yet: it takes 500 ms at least, and 100 ms have passed",
        ),
        ([*DRIVEN, "tick", "scan"], "tick", "'gate: open to moving' must happen first"),
        (DRIVEN, "watchdog elapses", "it takes 900 ms at least, and 0 ms have passed"),
        (["scan"], "tock", "'tock' is not a move; did you mean 'tick'?"),
    ],
)
def test_what_is_not_in_its_time_is_refused(
    before: list[str], move: str, said: str, tmp_path: Path
) -> None:
    player = Player(timed_gate(tmp_path))
    for made in before:
        player.play(made)
    with pytest.raises(InternalError):
        player.play(move)
    assert said in why_refused(player, move)


def test_going_back_goes_back_in_time(tmp_path: Path) -> None:
    player = Player(timed_gate(tmp_path))
    for made in DRIVEN:
        player.play(made)
    here, state = player.moment(), player.state()
    player.play("gate: open to moving")
    player.play("tick")
    player.go_back(here)
    assert player.state() == state
    assert set(player.ways_on(human=False)) >= {"tick", "gate: open to moving"}
    assert "scan" not in player.ways_on(human=False)
