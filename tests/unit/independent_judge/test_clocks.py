"""The judge's ages: a run that keeps no time is refused with the reason."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InternalError
from interlock.independent_judge.clocks import Clocks
from interlock.independent_judge.player import Player
from interlock.independent_judge.run_file import why_refused
from interlock.kernel.system import Origin
from interlock.model.build import SCAN
from interlock.model.timing import CLOCK, TICK
from tests.support.timed_gate import timed_gate
from tests.support.vessel import vessel

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


def test_what_takes_less_than_a_unit_may_happen_before_the_first_scan(tmp_path: Path) -> None:
    model = timed_gate(tmp_path, ("to: moving, when: drive", "to: moving"))
    player = Player(model)
    assert player.enabled("gate: open to moving")
    player.play("gate: open to moving")
    assert not player.enabled("gate: moving to shut")


CALL = "watchdog(IN := drive AND NOT is_shut, PT := T#900ms);"
UP = Origin.elapse("watchdog").move_name


def passing(clocks: Clocks, n: int, under_way: str) -> None:
    """Let `n` units pass while one thing is under way; it began with a scan."""
    clocks.go_on(SCAN, [under_way])
    for _ in range(n):
        clocks.go_on(TICK, [under_way])


@pytest.mark.parametrize(
    ("calls", "is_once"),
    [
        (CALL, True),
        (CALL + CALL, False),
        (f"IF pressed THEN {CALL} ELSE {CALL} END_IF;", True),
        (f"IF pressed THEN {CALL}{CALL} END_IF;", False),
        (f"IF pressed THEN {CALL} ELSE {CALL}{CALL} END_IF;", False),
        (f"IF pressed THEN {CALL}{CALL} ELSE {CALL} END_IF;", False),
        (f"IF pressed THEN {CALL} END_IF; IF is_shut THEN {CALL} END_IF;", False),
        (f"{CALL} other(IN := pressed, PT := T#1s); other(IN := pressed, PT := T#1s);", True),
    ],
)
def test_a_timer_is_surely_up_after_its_time_where_a_scan_calls_it_once(
    calls: str, is_once: bool, tmp_path: Path
) -> None:
    declared = ("watchdog : TON;", "watchdog, other : TON;")
    clocks = Clocks(timed_gate(tmp_path, (CALL, calls), declared))
    passing(clocks, 8, UP)
    assert (clocks.due(), clocks.is_ripe(UP)) == ([], False)
    clocks.go_on(TICK, [UP])
    # Called again in the same scan it may have started anew.
    assert (clocks.due(), clocks.is_ripe(UP)) == ([UP] if is_once else [], True)


def test_a_timer_whose_preset_time_varies_may_be_up_at_once(tmp_path: Path) -> None:
    varying = (
        CALL,
        "watchdog(IN := drive AND NOT is_shut, PT := SEL(pressed, T#300ms, T#900ms));",
    )
    clocks = Clocks(timed_gate(tmp_path, varying))
    passing(clocks, 0, UP)
    assert clocks.is_ripe(UP)
    passing(clocks, 8, UP)
    assert clocks.due() == []
    clocks.go_on(TICK, [UP])
    assert clocks.due() == [UP]


def test_what_people_do_takes_its_least_time_and_is_never_due(tmp_path: Path) -> None:
    move = "{from: shut, to: open, by: operator, seconds: [0.5, 0.7], assumed: true}"
    clocks = Clocks(timed_gate(tmp_path, ("controls:", f"      - {move}\ncontrols:")))
    (name,) = (name for name in clocks.names if "shut to open" in name)
    counts = []
    passing(clocks, 0, name)
    for _ in range(9):
        counts.append((clocks.values()[CLOCK + name], clocks.is_ripe(name), clocks.due()))
        clocks.go_on(TICK, [name])
    # Once it may happen nothing more is counted. A unit may have begun just before the move did.
    assert [count for count, _, _ in counts] == [0, 1, 2, 3, 4, 5, 5, 5, 5]
    assert [ripe for _, ripe, _ in counts] == [False] * 5 + [True] * 4
    assert not any(due for _, _, due in counts)


def test_what_may_happen_by_now_has_no_reason_not_to(tmp_path: Path) -> None:
    clocks = Clocks(timed_gate(tmp_path))
    passing(clocks, 8, UP)
    assert clocks.why_not(UP) == "it takes 900 ms at least, and 800 ms have passed"
    clocks.go_on(TICK, [UP])
    assert clocks.why_not(UP) == ""
    assert clocks.why_not(SCAN) == ""


def test_a_stay_keeps_a_move_waiting_whatever_becomes_of_its_guard(tmp_path: Path) -> None:
    """20 bar at 2 bar a second take 10 s from the lower end on, the pump off in between or not."""
    player, rises = Player(vessel(tmp_path)), "pressure rises to 20 bar"
    for move in (SCAN, "pump to TRUE", "pressure rises from 0 bar"):
        player.play(move)
    for n in range(100):
        assert not player.enabled(rises)
        told = f"it takes 10000 ms at least, and {100 * n} ms have passed"
        assert player.why_not_in_time(rises) == told
        for move in (TICK, SCAN):
            player.play(move)
        if n == 50:
            player.play("pump to FALSE")
            player.play("pump to TRUE")
    assert player.enabled(rises)
    assert not player.why_not_in_time(rises)


def test_what_is_so_at_first_has_been_so_for_long(tmp_path: Path) -> None:
    """Fallen from 10 bar, and risen again at once: nobody knows how far it fell."""
    half = ("    to: 20\n", "    to: 20\n    initial: 10\n    steps: [4]\n")
    player = Player(vessel(tmp_path, half))
    for move in (SCAN, "drain to TRUE", "pressure falls from 10 bar", "pump to TRUE"):
        player.play(move)
    assert player.enabled("pressure rises to 10 bar")
    player.play("pressure rises to 10 bar")
    assert not player.enabled("pressure rises to 20 bar")
