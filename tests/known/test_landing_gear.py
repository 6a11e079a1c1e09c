"""The landing gear case: it holds, and each published requirement can fail.

Source of the case: F. Boniol and V. Wiels, "The Landing Gear System Case Study", ABZ 2014,
CCIS 433.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from interlock.engines import catalogue
from interlock.model.between import ONE_IN_ALL
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.models import MODELS, shipped, undecided, vacuous, verified, violated

FOLDER = MODELS / "landing-gear-untimed"
PUBLISHED = {"R11bis", "R12bis", "R21", "R22", "R31", "R41", "R42", "R51"}

# Each line of the program that a requirement rests on, changed so that it no longer does.
MUTANTS = {
    "gears move behind closing doors": (
        "extend_gears  := open_doors AND doors_open AND handle_down",
        "extend_gears  := open_doors AND handle_down",
        {"R31"},
    ),
    "gears move behind two open doors": (
        "doors_open   := nose_open AND left_open AND right_open",
        "doors_open   := nose_open AND left_open",
        {"R31", "S2"},
    ),
    "doors close before the gears are locked": (
        "close_doors   := arrived AND",
        "close_doors   := (arrived OR NOT handle_down AND nose_up) AND",
        {"R32a", "R41"},
    ),
    "the doors close while they open": (
        "close_doors   := arrived AND NOT doors_closed",
        "close_doors   := NOT doors_closed",
        {"R41"},
    ),
    "the gears retract under either handle": (
        "doors_open AND NOT handle_down AND relaxed",
        "doors_open AND relaxed",
        {"R21", "R42"},
    ),
    "the gears extend under either handle": (
        "extend_gears  := open_doors AND doors_open AND handle_down",
        "extend_gears  := open_doors AND doors_open",
        {"R22", "R42"},
    ),
    "the general valve is left out for closing": (
        "general_valve := open_doors OR close_doors",
        "general_valve := open_doors",
        {"R51", "R11bis"},
    ),
    "the doors stay open": (
        "close_doors   := arrived AND",
        "close_doors   := FALSE AND",
        {"R11bis", "R12bis"},
    ),
    "green for one gear": ("green := gears_down", "green := nose_down", {"L1"}),
    "amber without the nose gear": (
        "amber := NOT ((nose_down OR nose_up) AND ",
        "amber := NOT (",
        {"L2"},
    ),
    "red for closed doors": ("red   := failure", "red   := doors_closed", {"L3"}),
}


@pytest.mark.parametrize("engine", sorted(catalogue()))
def test_the_case_holds_with_every_engine(engine: str) -> None:
    verification = verified(shipped("landing-gear-untimed"), engine)
    assert not violated(verification) | undecided(verification) | vacuous(verification)
    assert verification.exploration.n_states == 3_235
    # Every one of the published requirements that need no time is judged.
    assert PUBLISHED.issubset(finding.requirement.id for finding in verification.findings)


def test_the_shape_of_the_case_is_the_published_one() -> None:
    model = shipped("landing-gear-untimed")
    doors = [name for name in model.machines if name.endswith("_door")]
    gears = [name for name in model.machines if name.endswith("_gear")]
    lamps = [output for output in model.outputs.values() if output.lamp]
    valves = [output for output in model.outputs.values() if "valve" in output.says]
    assert (len(doors), len(gears), len(lamps), len(valves)) == (3, 3, 3, 5)


@pytest.mark.parametrize("mutant", MUTANTS.values(), ids=MUTANTS)
def test_each_requirement_fails_where_the_program_no_longer_keeps_it(
    mutant: tuple[str, str, set[str]], tmp_path: Path
) -> None:
    before, after, at_least = mutant
    text = (FOLDER / "controller.st").read_text("utf-8")
    assert text.count(before) == 1
    model = mutated(tmp_path / "mutant", text.replace(before, after))
    assert at_least <= violated(verified(model))


def test_two_things_keep_the_gears_from_retracting_on_the_ground(tmp_path: Path) -> None:
    """Each is enough where the program sees every event alone, else only the valve's condition."""
    text = (FOLDER / "controller.st").read_text("utf-8")
    first = text.replace("NOT handle_down AND relaxed;", "NOT handle_down;")
    second = text.replace("gears_up OR gears_down AND NOT relaxed,", "gears_up,")
    both = first.replace("gears_up OR gears_down AND NOT relaxed,", "gears_up,")
    assert len({text, first, second, both}) == 4
    without = {
        name: mutated(tmp_path / name, program)
        for name, program in (("first", first), ("second", second), ("both", both))
    }
    one_by_one = {name: model.assuming(ONE_IN_ALL) for name, model in without.items()}
    assert [n for n, m in one_by_one.items() if "S1" in violated(verified(m))] == ["both"]
    # Wheels touch the ground and a gear leaves its lock, both before the program looks again.
    assert [n for n, m in without.items() if "S1" in violated(verified(m))] == ["first", "both"]


def mutated(folder: Path, program: str) -> Model:
    shutil.copytree(FOLDER, folder)
    (folder / "controller.st").write_text(program, "utf-8")
    return load(folder)
