"""The ramp with two controllers, and what becomes of it past the safety controller's contact."""

from __future__ import annotations

from pathlib import Path
from shutil import copytree

import pytest

from interlock.independent_judge.story import tell
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.models import MODELS, shipped, undecided, vacuous, verified, violated

TWO = "ramp-two-controllers"


def _changed(folder: Path, file: str, right: str, wrong: str) -> Model:
    """The model with a change of one of its files."""
    for name in ("ramp", TWO):
        copytree(MODELS / name, folder / name)
    changed = folder / TWO / file
    text = changed.read_text("utf-8")
    assert text.count(right) == 1
    changed.write_text(text.replace(right, wrong), "utf-8")
    return load(folder / TWO)


def test_the_two_keep_what_the_one_kept() -> None:
    verification = verified(shipped(TWO), "enumerate")
    assert not violated(verification) | undecided(verification) | vacuous(verification)


def test_past_the_contact_an_older_leave_is_enough_to_violate() -> None:
    model = shipped(f"{TWO}-broken/pin-past-the-contact")
    verification = verified(model, "enumerate")
    assert violated(verification) == set(model.expected_violated)
    (run,) = [f.run for f in verification.findings if f.requirement.id == "R1"]
    assert run is not None
    whose = [line.says for line in tell(model, run) if line.who == "controller"]
    assert {"safety scans", "standard scans"} <= set(whose)


@pytest.mark.parametrize(("file", "right", "wrong", "broken"), [
    ("safety.st", "wants AND parked AND", "wants AND", {"R1"}),
    ("safety.st", "secured AND NOT wants", "secured", {"R10"}),
    ("safety.st", "ramp_home AND pin_in", "pin_in", {"R1", "R2"}),
    ("standard.st", " AND stop_free;", ";", {"R3"}),
])  # fmt: skip
def test_a_mistake_of_either_program_is_found(
    tmp_path: Path, file: str, right: str, wrong: str, broken: set[str]
) -> None:
    found = violated(verified(_changed(tmp_path, file, right, wrong), "enumerate"))
    assert found >= broken
