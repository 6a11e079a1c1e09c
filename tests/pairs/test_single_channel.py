"""Two channels and one: the same program, and a single fault breaks it only without the second."""

from __future__ import annotations

import pytest

from interlock.commands.faults.runs import RunFinder
from interlock.engines import catalogue
from interlock.engines.symbolic.explored import Explored
from interlock.judgement.fault_sets import ask_all, find_sets, flags_of
from interlock.model.between import ONE_IN_ALL
from interlock.model.build import RunClass, build
from tests.support.models import folders, shipped

# Folder, the fault that takes both channels, and the requirements that it then breaks.
SINGLE = [
    ("xfer", "F12", ["R06", "R11"]),
    ("one-connector", "C1a", ["R06", "R11"]),
    ("lift-down", "F17", ["R07"]),
    ("lift-up", "F16", ["R11", "R28"]),
    ("alignment", "F25", ["R09"]),
    ("tractor-position", "F26c", ["R08", "R10", "R16"]),
]
AT_RISK = sorted({requirement for _, _, broken in SINGLE for requirement in broken})
# Every single-channel fault of the positions above, in Wren with its two channels.
FAULTS = (
    *("F12", "F13", "F12b", "F13b", "F16", "F16b", "F17", "F17b"),
    *("F25", "F25b", "F26", "F26b", "F26c", "F26d"),
)


def test_every_single_channel_model_is_tested() -> None:
    assert {name for name, _, _ in SINGLE} == set(folders("wren-single"))


@pytest.mark.parametrize(("name", "fault", "broken"), SINGLE)
def test_only_the_faults_differ(name: str, fault: str, broken: list[str]) -> None:
    wren, single = shipped("wren"), shipped(f"wren-single/{name}")
    assert single.program.body == wren.program.body
    assert single.sources[single.program.place.file] == wren.sources[wren.program.place.file]
    assert single.moves == wren.moves
    assert single.statements == wren.statements
    assert single.expected_under == {fault: tuple(broken)}
    assert len(single.faults[fault].sensors) >= 2
    assert not single.faults[fault].common_cause


@pytest.mark.slow
@pytest.mark.parametrize(("name", "fault", "broken"), SINGLE)
def test_one_channel_is_not_enough(name: str, fault: str, broken: list[str]) -> None:
    # What is violated with one move between two scans is violated with more.
    model = shipped(f"wren-single/{name}").assuming(ONE_IN_ALL)
    finder = RunFinder(model, catalogue()["enumerate"]())
    runs = finder.shortest((fault,), broken)
    assert list(runs) == broken
    assert {run.faults for run in runs.values()} == {(fault,)}


@pytest.mark.slow
def test_two_channels_survive_any_one_of_these_faults() -> None:
    model = shipped("wren")
    built = build(model, RunClass(FAULTS, 1))
    ids = flags_of(model, FAULTS)
    asked = ask_all(built.system, [built.requirements[id_] for id_ in AT_RISK])
    explored = Explored(asked.system, tuple(ids))
    found = find_sets(built, explored, asked, ids)
    assert explored.limit is None
    assert {id_: one.sets for id_, one in found.items()} == dict.fromkeys(AT_RISK, ())
