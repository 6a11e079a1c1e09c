"""Many states that come to rest at once, against each by itself; and a plan that forgets nothing.

`Simulation._settled` follows one state scan by scan; `SideBySide` follows many, in lanes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from interlock.commands.testsheet.goals import (
    Force,
    Goal,
    Program,
    fault_goals,
    force_of,
    is_injectable,
    lamp_goals,
    move_goals,
    term_goals,
)
from interlock.commands.testsheet.planner import Planner
from interlock.commands.testsheet.simulation import Simulation
from interlock.kernel.evaluate import State
from interlock.kernel.system import BOOL
from interlock.model.build import build
from interlock.model.load import load
from interlock.model.model import Model
from tests.second_opinion.drawing import draw

MODELS = Path(__file__).parents[2] / "models"
SEEDS = range(25)
MOST_SITUATIONS = 40
# So much has to be met that the two cannot agree on nothing.
LEAST = {
    "moved, told at once": 150,
    "held, told at once": 600,
    "held, followed alone": 5,
    "let go": 100,
    "restarted": 20,
    "timers ran out": 60,
}


def drawn_models(folder: Path) -> Iterator[Model]:
    """Random models, and one of the demo models."""
    for seed in SEEDS:
        draw(seed, folder / str(seed), 150)
        yield load(folder / str(seed))
    yield load(MODELS / "ramp")
    yield load(MODELS / "outriggers")


def every_force(model: Model, program: Program) -> list[Force]:
    """Each input held at either value, every fault, and the two of them at once."""
    inputs = [v.name.removeprefix("input.") for v in program.lowered.inputs if v.domain == BOOL]
    faults = [force_of(fault) for fault in model.faults.values() if is_injectable(fault)]
    single = [Force(((name, value),)) for name in inputs for value in (0, 1)]
    outputs = [Force((), ((name, value),)) for name in program.booleans() for value in (0, 1)]
    return [*single, *outputs, *faults, Force((), (), restart=True)]


def differing(alone: Simulation, situation: State, force: Force) -> dict[str, int] | None:
    """The outputs that are otherwise under a force, all of them looked at."""
    held = alone.held(situation, force)
    if held is None:
        return None
    before, seen = alone.outputs(situation), alone.outputs(held, force)
    return {name: value for name, value in seen.items() if value != before[name]}


def compare(model: Model, counts: Counter[str]) -> None:
    built = build(model, with_all_memory=True)
    program = Program.of(built)
    at_once, alone = Simulation(built, program), Simulation(built, program)
    forces = every_force(model, program)
    start = at_once.start()
    assert start == alone.start()
    situations: list[State] = [] if start is None else [start]
    for situation in situations:
        moved = at_once.made_each(situation)
        assert moved == [(m, alone.made(situation, m)) for m in alone.possible(situation)]
        held = at_once.held_each([(situation, force) for force in forces])
        assert held == [alone.held(situation, force) for force in forces]
        told = at_once.differing_each([(situation, force) for force in forces])
        assert told == [differing(alone, situation, force) for force in forces]
        for after in (after for _, after in moved if after is not None):
            if after not in situations and len(situations) < MOST_SITUATIONS:
                situations.append(after)
        for force, there in zip(forces, held, strict=True):
            if there is not None:
                assert at_once.states(there, force) == alone.states(there, force)
                assert at_once.let_go(there, force) == alone.let_go(there, force)
                counts["let go"] += 1
            counts["restarted"] += force.restart
        _count(at_once, situation, forces, counts)


def _count(
    simulation: Simulation, situation: State, forces: list[Force], counts: Counter[str]
) -> None:
    """What of it was told at once, and what not."""
    if len(simulation.states(situation)) > 1:
        return
    told = simulation.side_by_side.rests([situation] * len(forces), forces)
    counts["held, told at once"] += sum(rest is not None for rest in told)
    counts["held, followed alone"] += sum(rest is None for rest in told)
    counts["moved, told at once"] += len(simulation.possible(situation))
    positions = [
        place for place, v in enumerate(simulation.system.variables) if v.role.value == "timer"
    ]
    counts["timers ran out"] += sum(
        any(rest[place] != situation[place] for place in positions)
        for rest in told
        if rest is not None
    )


def test_states_side_by_side_come_to_rest_as_each_does_alone(tmp_path: Path) -> None:
    counts: Counter[str] = Counter()
    for model in drawn_models(tmp_path):
        compare(model, counts)
    assert not [f"{counts[what]} of {n} {what}" for what, n in LEAST.items() if counts[what] < n]


class Forgetful(dict[State, int]):
    """Remembers nothing, so that a planner looks at everything anew."""

    def __setitem__(self, situation: State, most: int) -> None:
        pass


def planned(model: Model, remembers: bool) -> list[Planner]:
    built = build(model, with_all_memory=True)
    program = Program.of(built)
    found = {**term_goals(program), **fault_goals(built, program), **lamp_goals(program)}
    goals: list[Goal] = [*found, *move_goals(built)]
    planner = Planner(Simulation(built, program), goals)
    if not remembers:
        planner.most_shown = Forgetful()
    planner.walk()
    return [planner, planner.again()]


@pytest.mark.parametrize("name", ["ramp", "outriggers"])
def test_a_plan_that_remembers_what_was_shown_where_is_the_same(name: str) -> None:
    model = load(MODELS / name)
    for fast, slow in zip(planned(model, True), planned(model, False), strict=True):
        assert fast.rows == slow.rows
        assert fast.todo == slow.todo
        assert fast.depends == slow.depends
        assert len(fast.rows) > 10
