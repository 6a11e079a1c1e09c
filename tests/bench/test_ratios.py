"""The ratios that the engine promises, with room for a busy machine; run with -s to see more."""

from __future__ import annotations

from time import process_time

import pytest

from interlock.engines import catalogue
from interlock.kernel.query import Limits
from interlock.kernel.system import Stepper
from interlock.st.load import load_project
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


_VALVE = """FUNCTION Scale : REAL VAR_INPUT raw : INT; END_VAR
Scale := INT_TO_REAL(raw) * 100.0 / 27648.0;
END_FUNCTION
FUNCTION_BLOCK Valve
VAR_INPUT cmd, open, shut : BOOL; t : TIME := T#5s; END_VAR
VAR_OUTPUT q, fault : BOOL; END_VAR
VAR tm : TON; st : INT; END_VAR
tm(IN := cmd AND NOT open OR NOT cmd AND NOT shut, PT := t);
IF tm.Q THEN fault := TRUE; END_IF;
CASE st OF
  0: IF cmd THEN st := 1; END_IF;
  1: IF open THEN st := 2; ELSIF NOT cmd THEN st := 0; END_IF;
  2: IF NOT cmd THEN st := 0; END_IF;
END_CASE;
q := st > 0 AND NOT fault;
END_FUNCTION_BLOCK
"""
_USE = """v#(cmd := cmd# AND NOT f#, open := open#, shut := shut#);
f# := v#.fault OR open# AND shut#;
hot# := Scale(raw#) > 80.0;
IF cmd# THEN c# := c# + 1; IF c# > 10 THEN c# := 0; END_IF; END_IF;
CASE c# OF 0..3: level# := 1; 4, 5: level# := 2; ELSE level# := 3; END_CASE;
"""


def _seconds_to_load(n_valves: int) -> float:
    def each(text: str) -> str:
        return "".join(text.replace("#", str(n)) for n in range(n_valves))

    text = (
        f"{_VALVE}PROGRAM Main\n"
        f"VAR_INPUT {each('cmd#, open#, shut# : BOOL; raw# : INT; ')}END_VAR\n"
        f"VAR_OUTPUT {each('f#, hot# : BOOL; level# : INT; ')}END_VAR\n"
        f"VAR {each('v# : Valve; c# : INT; ')}END_VAR\n{each(_USE)}END_PROGRAM"
    )
    started = process_time()
    load_project({"main.st": text})
    return process_time() - started


def test_loading_a_program_takes_as_long_as_it_is() -> None:
    _seconds_to_load(1)
    short, long = _seconds_to_load(8), _seconds_to_load(64)
    print(f"8 times as much text: {long / short:.1f} times as long")
    assert long <= 24 * short
