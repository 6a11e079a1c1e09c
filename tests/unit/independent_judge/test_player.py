"""The player makes what the model allows, tells what changed, and refuses the rest."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InternalError
from interlock.independent_judge.happenings import Change
from interlock.independent_judge.player import Player
from interlock.kernel.system import PHASE, MoveKind, Origin
from interlock.model.controller import STILL
from tests.support.gate import gate
from tests.support.models import shipped


@pytest.fixture
def player(tmp_path: Path) -> Player:
    return Player(gate(tmp_path))


def test_a_happening_tells_what_changed_and_nothing_else(player: Player) -> None:
    assert player.play("scan").changes == (Change("lamp", "FALSE", "TRUE"),)
    pressed = player.play("button to TRUE")
    assert (pressed.kind, pressed.changes) == (
        MoveKind.OPERATOR,
        (Change("button", "FALSE", "TRUE"),),
    )
    assert set(player.play("scan").changes) == {
        Change("drive", "FALSE", "TRUE"),
        Change("lamp", "TRUE", "FALSE"),
    }
    assert player.play("scan").changes == ()


def test_a_move_from_another_state_is_refused_with_the_state_that_the_machine_is_in(
    player: Player,
) -> None:
    player.play("scan")
    with pytest.raises(InternalError, match=r"refuses 'gate: BETWEEN to OPEN': .* from state SHUT"):
        player.play("gate: BETWEEN to OPEN")
    with pytest.raises(InternalError, match="refuses 'gate: SHUT to BETWEEN': its guard"):
        player.play("gate: SHUT to BETWEEN")


def test_a_fault_that_struck_is_seen_and_says_what_it_is(player: Player) -> None:
    struck = player.play("F1 strikes")
    assert (struck.kind, struck.says) == (MoveKind.FAULT, "switch stuck shut")
    assert player.struck() == ("F1",)
    assert player.seen() == {**player.shown(), "F1": 1}


def test_a_strike_that_is_unknown_or_comes_twice_is_refused(player: Player) -> None:
    with pytest.raises(InternalError, match="refuses 'F99 strikes': no such move"):
        player.play("F99 strikes")
    player.play("F1 strikes")
    with pytest.raises(InternalError, match="refuses fault 'F1'"):
        player.play("F1 strikes")


def test_only_an_intermittent_fault_that_struck_clears_and_it_may_strike_again(
    player: Player,
) -> None:
    for never in ("F99", "F4"):
        with pytest.raises(InternalError, match=f"refuses '{never} clears'"):
            player.play(f"{never} clears")
    player.play("F1 strikes")
    with pytest.raises(InternalError, match="refuses 'F1 clears'"):
        player.play("F1 clears")
    player.play("F4 strikes")
    player.play("F4 clears")
    assert player.struck() == ("F1",)
    assert (player.state()["fault.F4"], player.state()["fault.F4.ever"]) == (0, 1)
    player.play("F4 strikes")
    assert player.struck() == ("F1", "F4")


def test_the_phase_tells_where_only_a_strike_came(player: Player) -> None:
    assert player.state()[PHASE] == 2
    with pytest.raises(InternalError, match="a scan is due first"):
        player.play("button to TRUE")
    player.play("F1 strikes")
    assert player.state()[PHASE] == 2
    player.play("scan")
    assert player.state()[PHASE] == 0
    player.play("F2 strikes")
    assert player.state()[PHASE] == 3
    player.play("button to TRUE")
    assert player.state()[PHASE] == 1
    player.play("scan")
    assert player.state()[PHASE] == 0


def test_a_move_that_is_no_move_or_timer_is_refused(player: Player) -> None:
    with pytest.raises(InternalError, match="no such move or timer"):
        player.play("button to MAYBE")


def test_what_may_happen_is_told_of_each_moment_by_itself(player: Player) -> None:
    here = player.moment()
    at_rest, values = player.ways_on(human=False), dict(player.truth)
    for made in ("scan", "button to TRUE", "scan"):
        player.play(made)
    driven = player.ways_on(human=False)
    assert "gate: SHUT to BETWEEN" in set(driven) - set(at_rest)
    # The drive is restarted past the player, and is so by the next look.
    player.controller.restart()
    assert "gate: SHUT to BETWEEN" not in player.ways_on(human=False)
    player.go_back(here)
    assert player.ways_on(human=False) == at_rest
    assert dict(player.truth) == values
    # From the same moment it goes on another way, where a fault keeps the gate.
    for made in ("scan", "F2 strikes", "button to TRUE", "scan", "gate: SHUT to BETWEEN", "scan"):
        player.play(made)
    assert player.ways_on(human=False) == ["scan", "button to FALSE"]
    assert player.truth["f2"] == 1


def test_a_jam_holds_in_its_states_alone(player: Player) -> None:
    for move in ("F2 strikes", "scan", "button to TRUE", "scan"):
        player.play(move)
    assert player.enabled("gate: SHUT to BETWEEN")
    player.play("gate: SHUT to BETWEEN")
    player.play("scan")
    assert not player.enabled("gate: BETWEEN to OPEN")
    with pytest.raises(InternalError, match="a fault keeps gate"):
        player.play("gate: BETWEEN to OPEN")


def test_going_back_to_before_a_fault_lets_go_what_it_kept(player: Player) -> None:
    for move in ("scan", "button to TRUE", "scan", "gate: SHUT to BETWEEN", "scan"):
        player.play(move)
    before = player.moment()
    player.play("F2 strikes")
    struck = player.moment()
    assert not player.possible("gate: BETWEEN to OPEN")
    player.go_back(before)
    assert player.possible("gate: BETWEEN to OPEN")
    player.go_back(struck)
    assert not player.possible("gate: BETWEEN to OPEN")


def test_another_controller_takes_the_place_of_the_program(player: Player) -> None:
    before, other = player.controller, Player(player.model).controller
    player.controller = other
    assert player.controller is other
    assert player.controller is not before
    player.play("scan")
    assert (other.values()["lamp"], before.values()["lamp"]) == (1, 0)


def test_a_foreign_event_lets_no_scan_have_led_here(player: Player) -> None:
    player.play("scan")
    assert player.state()[PHASE] == 0
    player.pass_event()
    assert player.state()[PHASE] == 3


def test_a_timer_that_does_not_run_does_not_elapse(tmp_path: Path) -> None:
    timer = ("drive := pressed;", "t(IN := pressed, PT := T#1s);\ndrive := pressed AND NOT t.Q;")
    declared = ("END_VAR\ndrive", "END_VAR\nVAR t : TON; END_VAR\ndrive")
    player = Player(gate(tmp_path, declared, timer))
    for _ in range(2):
        with pytest.raises(InternalError, match="refuses 't elapses': it does not run"):
            player.play("t elapses")
        player.play("scan")


def test_why_a_signal_cannot_be_late_is_told_of_late_signals_alone(tmp_path: Path) -> None:
    late = ("shut: {reads: gate = SHUT}", "shut: {reads: gate = SHUT, age: 1 scan}")
    player = Player(gate(tmp_path, late))
    delayed = Origin.delay("shut").move_name
    assert player.why_not_late(delayed)
    for other in ("scan", "F1 strikes", "button to TRUE", "nothing of the kind"):
        assert player.why_not_late(other) == ""


def test_nothing_happens_only_where_nobody_scans() -> None:
    player = Player(shipped("ramp-two-controllers"))
    with pytest.raises(InternalError, match="refuses that nothing happens: somebody scans"):
        player.play(STILL)
    for move in ("scan of safety", "safety_dead strikes", "standard_dead strikes"):
        player.play(move)
    assert player.play(STILL).changes == ()
