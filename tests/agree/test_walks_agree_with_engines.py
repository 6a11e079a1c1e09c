"""Whether acts surely end: the walk over states agrees with an engine over a restricted system."""

from __future__ import annotations

import pytest

from interlock.commands.rehearse.acts import script_of
from interlock.commands.rehearse.deviations import deviations, performed
from interlock.commands.rehearse.steps import surely_ends
from interlock.commands.rehearse.study import Rehearser
from interlock.commands.rehearse.successors import World
from interlock.commands.rehearse.walk import walk
from interlock.engines import catalogue
from interlock.kernel.query import Limits
from interlock.model.build import RunClass, build
from interlock.model.load import load
from interlock.model.procedures import load_procedures
from tests.support.models import MODELS, folders

NAMES = ["ramp", *(f"ramp-broken/{name}" for name in folders("ramp-broken"))]


@pytest.mark.parametrize("name", NAMES)
def test_every_deviation_of_one_person_surely_ends_or_not_by_both(name: str) -> None:
    model = load(MODELS / name)
    procedures = load_procedures(model)
    engine = catalogue()["reference"]()
    built = build(model, RunClass(human=True))
    world = World(built)
    starts, _ = Rehearser(model, procedures, engine)._starts(list(procedures.procedures.values()))
    seen = set()
    for procedure in procedures.procedures.values():
        start = starts[procedure.id]
        assert start is not None
        state = world.play(start)[-1]
        for deviation in deviations(model, procedure):
            if any(passage.beside for passage in deviation.passages):
                continue
            script = script_of(performed(procedure, [deviation]))
            found = walk(world, script, [state], 100_000).rests
            walked = all(rest.act == len(script.acts) for rest in found)
            asked = surely_ends(built, script.acts, [world.bare(state)], engine, Limits())
            assert asked is walked, deviation.says
            seen.add(walked)
    assert seen == {True, False}
