"""The ratios that the engine promises, with room for a busy machine; run with -s to see more."""

from __future__ import annotations

from time import process_time

import pytest

from interlock.engines import catalogue
from interlock.kernel.query import Limits
from interlock.kernel.system import Stepper
from tests.bench.machines import Machines
from tests.bench.models import interlock


def test_the_machines_take_the_same_steps_as_the_system() -> None:
    system = interlock(2, 1)
    machines, stepper = Machines(system), Stepper(system)
    state = system.initial
    for number in range(60):
        successors = [target for _, target in stepper.successors(state)]
        assert machines.successors(state) == successors
        state = successors[(7 * number) % len(successors)]


@pytest.mark.slow
def test_compiled_exploration_is_far_ahead_of_plain_python_and_of_transitions() -> None:
    system = interlock(5, 0, 100)
    started = process_time()
    found = catalogue()["enumerate"]().explore(system, [])
    ours = found.n_states / (process_time() - started)
    assert found.n_states >= 200_000
    assert found.n_bytes <= 24 * found.n_states
    started = process_time()
    sample = catalogue()["reference"]().explore(system, [], Limits(max_states=20_000))
    # The sample's rate counts states found, more than were expanded: it flatters Python.
    assert ours >= 30 * sample.n_states / (process_time() - started)
    assert ours >= 1_000 * Machines(system).states_a_second(300)
