"""In the shipped models nothing is worth a look but what is known and meant."""

from __future__ import annotations

import pytest

from interlock.engines import catalogue
from interlock.independent_judge.player import Player
from interlock.model.between import ONE_IN_ALL
from interlock.model.build import build
from interlock.oversights.found import Looked
from interlock.oversights.study import look, look_at_text, questions_for
from tests.support.models import folders, shipped

# Two causes with one effect: a spool that sticks open, and the output before it that sticks on.
WREN = {
    "F40c has the same effect as F19 in line 504: 'lift_raise' stuck at TRUE",
    "F40d has the same effect as F20 in line 505: 'lift_lower' stuck at TRUE",
}
SPRINGS_BACK = "tbrake: RELEASING to PARK (2)"
# The legs' contact stuck open, and its wire torn.
FURTHER = {
    "leg-contact-opening": {
        "F28w has the same effect as F28 in line 15: 'legs_away' stuck at FALSE"
    }
}
SMALL = [
    "ramp",
    "landing-gear-untimed",
    *(f"ramp-broken/{name}" for name in folders("ramp-broken")),
]


def said(looked: Looked) -> set[str]:
    return {one.says for one in looked.oversights}


@pytest.mark.parametrize("name", SMALL)
def test_in_the_small_models_nothing_is(name: str) -> None:
    model, engine = shipped(name), catalogue()["enumerate"]()
    explored = engine.explore(build(model).system, questions_for(model).queries)
    looked = look(model, explored.answers, explored.limit, engine)
    assert said(looked) == set()
    assert looked.undecided == ()


@pytest.mark.parametrize(
    "name", ["wren", *(f"{g}/{n}" for g in ("wren-changed", "wren-single") for n in folders(g))]
)
def test_in_the_texts_of_wren_and_its_revisions_only_what_is_known(name: str) -> None:
    model = shipped(name)
    assert said(look_at_text(model)) == WREN | FURTHER.get(name.rpartition("/")[2], set())


@pytest.mark.slow
def test_everything_of_wren_occurs_with_faults_and_errors() -> None:
    # What occurs with one move between two scans occurs with more.
    model, engine = shipped("wren").assuming(ONE_IN_ALL), catalogue()["enumerate"]()
    explored = engine.explore(build(model).system, questions_for(model).queries)
    looked = look(model, explored.answers, explored.limit, engine)
    assert said(looked) == WREN
    (open_,) = looked.undecided
    assert open_.endswith(f"whether these moves are ever possible: '{SPRINGS_BACK}'")


def test_the_knob_springs_back_where_the_fifth_wheel_opens_within_one_scan() -> None:
    # One move between two scans leaves the knob no time in which its permit could be withdrawn.
    player = Player(shipped("wren"))
    for move in (
        *("scan", "tbrake: RELEASED to PARK", "legs: UP to MID", "scan", "legs: MID to DOWN"),
        *("hitch: LOCKED to OPEN", "tbrake: PARK to RELEASING", "scan"),
    ):
        player.play(move)
    assert player.enabled(SPRINGS_BACK)
