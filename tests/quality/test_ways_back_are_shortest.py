"""The way back has as few moves as a plain search finds, from every state of a small model."""

from __future__ import annotations

import random
from collections import deque

import pytest

from interlock.commands.rehearse.recovery import Recovery
from interlock.commands.rehearse.successors import UNATTENDED, World
from interlock.engines import catalogue
from interlock.kernel.evaluate import State, evaluate
from interlock.kernel.system import Stepper, System
from interlock.model.build import RunClass, build
from interlock.model.load import load
from interlock.model.procedures import load_procedures
from tests.support.models import MODELS


def fewest_moves(system: System, start: State, recovery: Recovery) -> int | None:
    """By breadth-first search with nothing taken from an engine."""
    stepper = Stepper(system)
    depth = {start: 0}
    queue = deque([start])
    while queue:
        state = queue.popleft()
        if evaluate(recovery.goal, system.named(state)):
            return depth[state]
        for _, successor in stepper.successors(state):
            if successor not in depth:
                depth[successor] = depth[state] + 1
                queue.append(successor)
    return None


def reachable(system: System) -> list[State]:
    stepper = Stepper(system)
    seen = {system.initial: None}
    queue = deque(seen)
    while queue:
        for _, successor in stepper.successors(queue.popleft()):
            if successor not in seen:
                seen[successor] = None
                queue.append(successor)
    return list(seen)


@pytest.mark.parametrize("engine", ["reference", "enumerate", "symbolic"])
def test_a_way_back_has_the_fewest_moves_and_leads_to_the_goal(engine: str) -> None:
    model = load(MODELS / "ramp")
    world = World(build(model, RunClass(human=True)))
    recovery = Recovery(world, build(model), load_procedures(model), catalogue()[engine]())
    system = recovery.full
    states = random.Random(7).sample(reachable(system), 40)
    stepper = Stepper(system)
    for start in states:
        way = recovery.way(world.begun_in(start))
        searched = recovery.taught if way.taught else system
        if way.found:
            assert len(way.moves) == fewest_moves(searched, start, recovery)
            state = start
            for name in way.moves:
                move = system.move(name)
                assert move in stepper.enabled(state)
                state = stepper.after(state, move)
            assert evaluate(recovery.goal, system.named(state))
            people = [n for n in way.moves if system.move(n).kind not in UNATTENDED]
            assert way.n_actions == len(people)
        else:
            assert fewest_moves(system, start, recovery) is None
    assert recovery.n_searched < len(states)  # the rest lay on ways found before
