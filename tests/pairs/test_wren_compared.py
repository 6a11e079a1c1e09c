"""Wren's design changes in comparison: what each does first; tidying and blocks do nothing."""

from __future__ import annotations

import pytest

from interlock.commands.compare.behaviour import Behaviour, run_in_lockstep
from interlock.commands.compare.differences import Difference
from interlock.commands.compare.files import model_differences
from interlock.engines import catalogue
from interlock.model.between import ONE_IN_ALL
from interlock.model.build import build
from interlock.st.trial import difference
from tests.support.models import folders, shipped
from tests.support.wren_drawn import drawn

DRAWN = ("drawn-in-ladder", "drawn-in-blocks")
TIDIED, IN_BLOCKS = "tidied", "in-blocks"
PROGRAM = {"statement", "declaration"}
# What differs first, after how many steps, and the last move that is no scan before it. The
# quick ones; with a change of the controller alone.
FIRST = {
    "alarm-muted-standing": ("buzzer", "lead: STOWED to LOOSE"),
    "lamp-before-inputs": ("green_feed", None),
}


def in_lockstep(name: str) -> Behaviour:
    # States are listed, so one move between two scans has to do.
    old, new = (
        build(shipped(one).assuming(ONE_IN_ALL)) for one in ("wren", f"wren-changed/{name}")
    )
    return run_in_lockstep(old, new, catalogue()["enumerate"]())


@pytest.mark.parametrize("name", folders("wren-changed"))
def test_every_change_is_told_by_meaning(name: str) -> None:
    assert of_meaning(name)


def of_meaning(name: str) -> list[Difference]:
    """The differences from Wren that are more than other words."""
    told = model_differences(shipped("wren"), shipped(f"wren-changed/{name}"))
    return [difference for difference in told if not difference.is_wording]


def test_moving_the_green_lamp_is_told_as_two_statements_that_moved() -> None:
    differences = of_meaning("lamp-before-inputs")
    assert [(d.name, d.kind.value) for d in differences] == [
        ("green_feed", "moved"),
        ("green_return", "moved"),
    ]


def test_tidying_changes_the_program_alone_and_tells_what_is_only_renamed() -> None:
    differences = of_meaning(TIDIED)
    assert {d.section for d in differences} == PROGRAM
    renamed = {d.name for d in differences if d.kind.value == "renamed"}
    assert renamed == {"run_fwd", "run_back", "disagreeing", "homes_left"}


def test_taken_apart_into_blocks_the_program_alone_differs_and_remembers_no_more() -> None:
    assert {d.section for d in of_meaning(IN_BLOCKS)} == PROGRAM
    whole, apart = (
        sorted((str(v.role), v.domain.lo, v.domain.hi, v.initial) for v in system.variables)
        for system in (build(shipped(n)).system for n in ("wren", f"wren-changed/{IN_BLOCKS}"))
    )
    assert apart == whole


@pytest.mark.slow
@pytest.mark.parametrize("name", [TIDIED, IN_BLOCKS])
def test_a_change_without_effect_is_equal_over_everything_reachable(name: str) -> None:
    found = in_lockstep(name)
    assert found.is_equal
    assert found.limit is None
    # Less than the model itself, of which the controllers do not see everything.
    assert found.n_states > 10_000_000


@pytest.mark.slow
@pytest.mark.parametrize("name", FIRST)
def test_a_change_shows_first_where_it_was_made(name: str) -> None:
    output, last_move = FIRST[name]
    found = in_lockstep(name)
    runs = {o.output: o.run for o in found.outputs if o.run is not None}
    assert output in runs
    first = min(runs.values(), key=lambda run: len(run.happenings))
    assert len(runs[output].happenings) == len(first.happenings)
    moves = [h.move for h in runs[output].happenings if h.move != "scan"]
    assert (moves[-1] if moves else None) == last_move


def test_the_drawn_files_are_those_of_the_text_as_it_is() -> None:
    # Written anew by: python -m tests.support.wren_drawn
    files = drawn()
    assert [path.parent.name for path in files] == list(DRAWN)
    for path, text in files.items():
        assert path.read_text(encoding="utf-8") == text


@pytest.mark.parametrize("name", DRAWN)
def test_drawn_the_program_alone_differs_and_does_the_same(name: str) -> None:
    assert {d.section for d in of_meaning(f"{name}")} == PROGRAM
    text, new = shipped("wren"), shipped(f"wren-changed/{name}")
    assert difference(text.program, new.program, n_scans=150) is None


def test_in_ladder_it_remembers_nothing_else_and_in_blocks_the_two_steps() -> None:
    names = [
        {v.name for v in build(shipped(n)).system.variables}
        for n in ("wren", *(f"wren-changed/{name}" for name in DRAWN))
    ]
    assert names[1] == names[0]
    more = {name.removeprefix("plc.arming.") for name in names[2] - names[0]}
    assert {one.partition(".")[0] for one in more} == {"Ready", "Stopped"}
