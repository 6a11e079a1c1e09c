"""The live bench against the independent machine, on random runs: states, violations, refusals."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.commands.operate.bench import Bench
from interlock.commands.operate.session import Session
from interlock.independent_judge.player import Player
from interlock.independent_judge.run_file import violated_by
from interlock.kernel.system import PHASE
from interlock.model.build import SCAN
from interlock.model.timing import TICK
from tests.support.benches import bench
from tests.support.timed_gate import timed_gate

MODELS = [
    "ramp-broken/pin-alone",
    "ramp-broken/lost-bracket",
    "ramp-broken/seal-in-survives-stop",
    "landing-gear-untimed",
]
IN_TIME = ["level-crossing", "fischer", "gas-burner", "door-over-bus", "landing-gear-timed"]


@pytest.mark.parametrize("name", [*MODELS, *IN_TIME])
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


@st.composite
def acts(draw: st.DrawFn) -> list[tuple[str, int]]:
    """What a user asks for, time and what happens by itself most of all."""
    kinds = ["by itself", "by itself", "wait", "tick", "scan", "move", "move", "back", "follows"]
    act = st.tuples(st.sampled_from(kinds), st.integers(0, 40))
    return draw(st.lists(act, max_size=25))


@pytest.mark.parametrize("name", [*IN_TIME, "fluttering gate", "late gate"])
@settings(max_examples=20, deadline=None)
@given(wanted=acts())
def test_whatever_a_session_in_time_does_the_judge_replays(
    name: str, wanted: list[tuple[str, int]]
) -> None:
    session = Session(bench(name) if name in IN_TIME else small(name))
    for kind, choice in wanted:
        ask(session, kind, choice)
    moves = [entry.move for entry in session.made]
    model, watched = session.bench.model, session.bench.watched
    player = Player(model)
    for entry in session.made:
        player.play(entry.move)
        enabled = session.bench.enabled(entry.state)
        assert (TICK in enabled) is player.may_time_pass()
        for move in session.bench.model.moves:
            assert (move.name in enabled) is player.enabled(move.name)
        assert session.bench.time is not None
        assert bool(session.bench.time.due(entry.state)) is not player.may_time_pass()
    assert session.here.n_units == moves.count(TICK)
    assert set(violated_by(model, moves, watched)) == set(session.violations())


def ask(session: Session, kind: str, choice: int) -> None:
    if kind == "by itself":
        was_at_rest = session.is_at_rest
        assert session.tick() is not was_at_rest
    elif kind == "wait":
        session.let_time_pass()
    elif kind == "back":
        session.go(session.position - choice % 5)
    elif kind == "follows":
        session.scan_follows = not session.scan_follows
    elif kind == "move":
        names = [move.name for move in session.bench.system.moves]
        refused = session.act(names[choice % len(names)])
        assert refused is None or refused.reason is not None or refused.says
        assert refused is None or refused.says != "It is possible."
    else:
        session.act(kind)


@cache
def small(name: str) -> Bench:
    """The gate that takes its time, changed for the worse."""
    shuts = "{from: moving, to: shut, when: drive, seconds: [0.5, 0.7], assumed: true}"
    flutters = shuts.replace("to: shut", "to: open").replace("0.5, 0.7", "0, 0.1")
    bound = ("leads_to: gate = shut", "leads_to: gate = shut, within: 300 ms")
    with TemporaryDirectory() as folder:
        changes = [bound, (shuts, flutters)] if name == "fluttering gate" else [bound]
        return Bench(timed_gate(Path(folder), *changes))


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
