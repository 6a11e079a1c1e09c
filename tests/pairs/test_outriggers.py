"""The crane on four outrigger legs, kept and with each classic mistake."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.model.model import Model
from tests.support.models import MODELS, folders, shipped, undecided, vacuous, verified, violated

BROKEN = folders("outriggers-broken")


def test_the_kept_outriggers_hold_and_nothing_of_them_holds_for_want_of_a_premise() -> None:
    verification = verified(shipped("outriggers"))
    assert not violated(verification) | undecided(verification) | vacuous(verification)
    assert verification.exploration.n_states < 1000


def test_the_claims_to_survive_a_fault_hold() -> None:
    assert run(["verify", str(MODELS / "outriggers"), "--plain"]) == 0


def test_the_program_is_a_project_with_arrays_of_blocks() -> None:
    model = shipped("outriggers")
    assert len(model.program_files) == 5
    assert {f"inputs[{leg}].firm" for leg in range(1, 5)} <= model.sensors.keys()
    assert {f"legs[{leg}].settling" for leg in range(1, 5)} == {
        instance.name for instance in model.program.instances
    }
    # Requirements name them by path.
    assert {f"outriggers.legs[{leg}].settling.q" for leg in range(1, 5)} <= {
        path.casefold() for path in model.inside
    }


def test_a_comparison_with_itself_tells_no_difference(capsys: pytest.CaptureFixture[str]) -> None:
    folder = str(MODELS / "outriggers")
    assert run(["compare", folder, folder, "--plain"]) == 0
    said = capsys.readouterr().out
    assert "no output differs in anything reachable" in said


def test_every_classic_mistake_is_there() -> None:
    assert set(BROKEN) == {"last-leg-forgotten", "packs-under-the-boom"}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_one_does_exactly_the_harm_that_it_declares(name: str) -> None:
    model = shipped(f"outriggers-broken/{name}")
    verification = verified(model)
    assert violated(verification) == set(model.expected_violated)
    assert vacuous(verification) == set(model.expected_vacuous)
    assert not undecided(verification)
    assert model.expected_violated


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_one_differs_in_one_file_and_says_what_to_look_for(name: str) -> None:
    kept, broken = shipped("outriggers"), shipped(f"outriggers-broken/{name}")
    assert broken.changes
    assert broken.says != kept.says
    before, after = texts(kept), texts(broken)
    assert before.keys() == after.keys()
    assert sum(before[file] != after[file] for file in before) == 1


def test_the_boom_leaves_its_rest_with_the_last_leg_not_firm() -> None:
    verification = verified(shipped("outriggers-broken/last-leg-forgotten"), only=["R1"])
    (finding,) = verification.findings
    assert finding.run is not None
    moves = [happening.move for happening in finding.run.happenings]
    assert moves[-1] == "boom: resting to raised"
    assert "leg4: between to firm" not in moves


def texts(model: Model) -> dict[str, str]:
    return {Path(file).name: model.sources[file] for file in model.program_files}
