"""The live bench against the independent machine, on random runs: states, violations, refusals."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.commands.operate.session import Session
from interlock.independent_judge.player import Player
from interlock.independent_judge.run_file import violated_by
from interlock.kernel.system import PHASE
from interlock.model.build import SCAN
from tests.support.benches import bench

MODELS = [
    "ramp-broken/pin-alone",
    "ramp-broken/lost-bracket",
    "ramp-broken/seal-in-survives-stop",
    "landing-gear-untimed",
]


@pytest.mark.parametrize("name", MODELS)
@settings(max_examples=25, deadline=None)
@given(choices=st.lists(st.integers(0, 40), max_size=30))
def test_states_and_violations_of_a_run_are_those_of_the_judge(
    name: str, choices: list[int]
) -> None:
    agrees(name, choices)


@pytest.mark.slow
@settings(max_examples=6, deadline=None)
@given(choices=st.lists(st.integers(0, 400), min_size=10, max_size=25))
def test_faults_of_the_demo_vehicle_strike_alike(choices: list[int]) -> None:
    agrees("wren", choices)


def agrees(name: str, choices: list[int]) -> None:
    session = Session(bench(name), by_itself=False, scan_follows=False)
    player = Player(session.bench.model)
    for choice in choices:
        moves = list(session.bench.enabled(session.state))
        move = moves[choice % len(moves)]
        assert session.act(move) is None
        player.play(move)
    index = session.bench.system.index
    played = player.state()
    assert {n: session.state[index[n]] for n in played if n in index} == {
        n: value for n, value in played.items() if n in index
    }
    assert session.state[index[PHASE]] == played[PHASE]
    moves = [entry.move for entry in session.made]
    watched = session.bench.watched
    assert set(violated_by(session.bench.model, moves, watched)) == set(session.violations())


@pytest.mark.parametrize("name", MODELS)
@settings(max_examples=15, deadline=None)
@given(choices=st.lists(st.integers(0, 40), max_size=20))
def test_what_the_bench_refuses_the_judge_refuses_too(name: str, choices: list[int]) -> None:
    session = Session(bench(name), by_itself=False, scan_follows=False)
    player = Player(session.bench.model)
    for choice in choices:
        moves = list(session.bench.enabled(session.state))
        session.act(moves[choice % len(moves)])
        player.play(moves[choice % len(moves)])
    # Behind a scan everything has its turn.
    session.act(SCAN)
    player.play(SCAN)
    for move in session.bench.model.moves:
        possible = player.possible(move.name)
        assert (move.name in session.bench.enabled(session.state)) is possible
        refusal = session.why_not(move.name)
        assert (refusal.reason is None and refusal.says == "It is possible.") is possible
