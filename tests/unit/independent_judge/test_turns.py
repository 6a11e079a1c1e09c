"""The judge lets each machine and control move as often as the model says."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InternalError
from interlock.independent_judge.player import Player
from interlock.independent_judge.turns import events_of, is_limited
from interlock.kernel.system import MOVED, PHASE, Origin
from interlock.model.between import ANY_NUMBER, EACH_ONCE, ONE_IN_ALL, BetweenScans
from interlock.model.build import build
from tests.support.gate import gate
from tests.support.models import shipped
from tests.support.timed_gate import timed_gate

FREE = ("from: SHUT, to: BETWEEN, when: drive", "from: SHUT, to: BETWEEN, when: NOT button")
BOLT = (
    "plant:\n",
    "plant:\n  bolt:\n    states: [OUT, IN]\n    moves:\n"
    "      - {from: OUT, to: IN, name: in}\n      - {from: IN, to: OUT, name: out}\n",
)
ALONG = ("from: SHUT, to: BETWEEN, when: drive", "from: SHUT, to: BETWEEN, also: {bolt: IN}")


def playing(folder: Path, between: BetweenScans, *changes: tuple[str, str]) -> Player:
    return Player(gate(folder, *changes).assuming(between))


def played(player: Player, *moves: str) -> dict[str, int]:
    for move in moves:
        player.play(move)
    return player.state()


@pytest.mark.parametrize("between", [EACH_ONCE, ANY_NUMBER])
def test_the_first_scan_comes_before_the_first_move(tmp_path: Path, between: BetweenScans) -> None:
    player = playing(tmp_path, between)
    assert player.state()[PHASE] == 2
    assert not player.enabled("button to TRUE")
    with pytest.raises(InternalError, match="a scan is due first"):
        player.play("button to TRUE")
    assert played(player, "F1 strikes")[PHASE] == 2
    assert played(player, "scan")[PHASE] == 0


def test_each_machine_moves_once_and_then_waits_for_the_scan(tmp_path: Path) -> None:
    player = playing(tmp_path, EACH_ONCE, FREE)
    state = played(player, "scan", "button to TRUE")
    assert (state[PHASE], state[MOVED + "button"], state[MOVED + "gate"]) == (1, 1, 0)
    with pytest.raises(InternalError, match="'button to FALSE': a scan is due first"):
        player.play("button to FALSE")
    assert player.waits_for_scan("button to FALSE")
    # Each guard is read at its turn: the button keeps the gate shut from now on.
    assert not player.enabled("gate: SHUT to BETWEEN")
    state = played(player, "scan")
    assert (state[PHASE], state[MOVED + "button"]) == (0, 0)
    state = played(player, "button to FALSE", "gate: SHUT to BETWEEN")
    assert (state[PHASE], state[MOVED + "button"], state[MOVED + "gate"]) == (1, 1, 1)


def test_what_takes_no_turn_neither_uses_one_nor_waits_for_one(tmp_path: Path) -> None:
    player = playing(tmp_path, EACH_ONCE)
    state = played(player, "scan", "F4 strikes")
    assert (state[PHASE], state[MOVED + "gate"], state[MOVED + "button"]) == (3, 0, 0)
    state = played(player, "button to TRUE", "F4 clears", "F4 strikes")
    assert (state[PHASE], state[MOVED + "button"]) == (1, 1)


def test_any_number_of_moves_are_not_counted(tmp_path: Path) -> None:
    player = playing(tmp_path, ANY_NUMBER)
    state = played(player, "scan", *["button to TRUE", "button to FALSE"] * 5)
    assert state[PHASE] == 1
    assert MOVED + "button" not in state


def test_a_machine_that_is_carried_along_keeps_its_own_turn(tmp_path: Path) -> None:
    player = playing(tmp_path, EACH_ONCE, BOLT, ALONG)
    # The bolt has had its turn and is carried along all the same.
    state = played(player, "scan", "in", "scan", "out", "gate: SHUT to BETWEEN")
    assert (state["bolt"], state[MOVED + "bolt"], state[MOVED + "gate"]) == (1, 1, 1)
    # And being carried along is no turn.
    state = played(player, "scan", "out", "gate: BETWEEN to SHUT", "scan")
    state = played(player, "gate: SHUT to BETWEEN", "out")
    assert (state["bolt"], state[MOVED + "bolt"], state[MOVED + "gate"]) == (0, 1, 1)


def test_a_moment_brings_back_whose_turn_it_was(tmp_path: Path) -> None:
    player = playing(tmp_path, EACH_ONCE)
    before = played(player, "scan", "button to TRUE")
    moment = player.moment()
    played(player, "scan", "button to FALSE", "scan")
    player.go_back(moment)
    assert player.state() == before
    assert player.waits_for_scan("button to FALSE")


def test_a_model_may_be_taken_under_another_assumption_and_back(tmp_path: Path) -> None:
    model = gate(tmp_path)
    other = model.assuming(ONE_IN_ALL)
    assert (other.between_scans, other.declared_between_scans) == (ONE_IN_ALL, EACH_ONCE)
    back = other.assuming(EACH_ONCE)
    assert (back.between_scans, back.declared_between_scans) == (EACH_ONCE, None)
    assert build(back).system == build(model).system


@pytest.mark.parametrize("n", [1, 2, 8])
def test_so_many_moves_in_all_and_then_a_scan_is_due(tmp_path: Path, n: int) -> None:
    player = playing(tmp_path, BetweenScans(n), FREE, BOLT)
    player.play("scan")
    for k, move in enumerate((["in", "out"] * 4)[:n], start=1):
        assert player.enabled(move)
        assert played(player, move)[PHASE] == k
    for machine in ("gate: SHUT to BETWEEN", "button to TRUE", "out" if n % 2 else "in"):
        assert not player.enabled(machine)
        assert player.waits_for_scan(machine)
    with pytest.raises(InternalError, match="'button to TRUE': a scan is due first"):
        player.play("button to TRUE")
    assert played(player, "scan", "button to TRUE")[PHASE] == 1


@pytest.mark.parametrize(
    ("least", "n"),
    [
        # The ends of n moves, `least` apart, lie within one second: the least n with n·least ≥ 1 s.
        ("1.0", 1),
        ("0.9", 2),
        ("0.5", 2),
        ("0.25", 4),
        ("0.3332", 4),
        ("0.125", 8),
        # More than eight are not counted.
        ("0.12", None),
    ],
)
def test_a_machine_moves_as_often_as_its_least_duration_lets_it(
    tmp_path: Path, least: str, n: int | None
) -> None:
    slow = f"seconds: [{least}, 2], assumed: true"
    bolt = (
        BOLT[0],
        BOLT[1]
        .replace("name: in}", f"name: in, {slow}}}")
        .replace("name: out}", f"name: out, {slow}}}"),
    )
    run_ = ("title: Gate\n", "title: Gate\nrun: {scan_ms: 1000}\n")
    player = playing(tmp_path, EACH_ONCE, bolt, run_)
    player.play("scan")
    for move in (["in", "out"] * 5)[: n or 10]:
        assert player.enabled(move)
        player.play(move)
    following = "out" if (n or 10) % 2 else "in"
    assert player.enabled(following) == (n is None)
    assert player.state().get(MOVED + "bolt") == n
    # What engines are given says the same, from where it says so by itself.
    counted = {v.name: v.domain for v in build(player.model).system.variables}
    assert (MOVED + "bolt" in counted) == (n is not None)
    if n is not None:
        assert counted[MOVED + "bolt"].hi == n


def test_what_takes_its_time_is_not_limited_where_a_model_has_time(tmp_path: Path) -> None:
    model = timed_gate(tmp_path)
    assert {move.machine: is_limited(move, model) for move in model.moves} == {
        "gate": False,
        "button": True,
    }
    untimed = gate(tmp_path / "untimed")
    assert all(is_limited(move, untimed) for move in untimed.moves if not move.takes_no_turn)


def test_the_events_that_may_come_at_any_moment(tmp_path: Path) -> None:
    late = ("shut: {reads: gate = SHUT}", "shut: {reads: gate = SHUT, age: 1 scan}")
    timer = (
        "drive := pressed;",
        "t(IN := pressed, PT := T#1s);\ndrive := pressed AND NOT t.Q;",
    )
    declared = ("END_VAR\ndrive", "END_VAR\nVAR t : TON; END_VAR\ndrive")
    found = set(events_of(gate(tmp_path, late, declared, timer)))
    faults = {kind(f"F{n}") for n in range(1, 6) for kind in (Origin.strike, Origin.clearing)}
    assert found == faults | {Origin.elapse("t"), Origin.delay("shut")}


def test_a_scan_led_here_until_anything_else_happens() -> None:
    player = Player(shipped("ramp-two-controllers"))
    assert player.scanned_by() == ""
    for scan, name in (("scan of standard", "standard"), ("scan of safety", "safety")):
        player.play(scan)
        assert player.scanned_by() == name
    before = player.moment()
    for move in ("panel to RAISE", "safety_dip strikes"):
        player.go_back(before)
        assert player.scanned_by() == "safety"
        player.play(move)
        assert player.scanned_by() == ""
