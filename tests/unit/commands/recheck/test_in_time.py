"""Evidence of models with time: bounds by their units, and time that goes on, by a solver alone."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.commands.recheck.check import check
from interlock.commands.recheck.command import exit_code
from interlock.commands.recheck.results import Recheck, Status
from interlock.commands.verify.evidence import write_evidence
from interlock.engines import catalogue
from interlock.evidence.folder import read_folder
from interlock.evidence.manifest import Manifest, to_text
from interlock.judgement.verify import verify, verify_claims
from interlock.model.build import TIME
from interlock.model.model import Model
from tests.support.timed_gate import timed_gate

R2 = "  R2: {says: The gate shuts, whenever: drive, leads_to: gate = shut}\n"
# It is driven by the scan of 0 s at the earliest, and shut 0.8 s after that at the latest.
IN_TIME = """\
  R2: {says: The gate shuts, whenever: drive, leads_to: gate = shut, within: 1.2 s}
  R3: {says: It moves for half a second, once: gate = moving, at_least: 400 ms}
  R4: {says: It moves for no longer, lasts: gate = moving, at_most: 700 ms}
  R5: {says: It is not shut at once, begins: drive, not_yet: gate = shut, for: 500 ms}
  R6: {says: Shut it stays, wherever: gate = shut, stays: gate = shut, for: 5 s}
"""
# A shutter that a fault lets swing to and fro in no time.
SWINGS = (
    "controls:",
    "  flap:\n    states: [a, b]\n    moves:\n"
    "      - {from: a, to: b, when: LOOSE, seconds: [0, 0], assumed: true}\n"
    "      - {from: b, to: a, when: LOOSE, seconds: [0, 0], assumed: true}\ncontrols:",
)
LOOSE = "faults:\n  LOOSE: {says: the flap is loose, assumed: true}\n"


def checked(model: Model, folder: Path) -> Recheck:
    write_evidence(folder, verify_claims(model, catalogue()["symbolic"]()))
    return check(read_folder(folder), model)


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> tuple[Model, Path, Recheck]:
    """A gate that keeps all its times, its evidence, and what is confirmed of that."""
    folder = tmp_path_factory.mktemp("sound")
    model = timed_gate(folder / "model", (R2, IN_TIME))
    return model, folder / "evidence", checked(model, folder / "evidence")


def test_every_requirement_in_time_is_confirmed_with_its_margin(
    sound: tuple[Model, Path, Recheck],
) -> None:
    result = sound[2]
    assert exit_code(result) == 0
    says = {one.requirement: one.says for one in result.results}
    # What nothing ever breaks is shown for as long as it is demanded, and no longer.
    assert says == {
        "R1": "invariant",
        "R2": "invariant; at most 0.8 s of the allowed 1.2 s",
        "R3": "invariant; at least 0.5 s of the demanded 400 ms",
        "R4": "invariant; at most 0.7 s of the allowed 700 ms",
        "R5": "invariant; at least 0.5 s of the demanded 500 ms",
        "R6": "invariant",
    }


@pytest.mark.parametrize(
    ("requirement", "units"), [("R2", 14), ("R3", 3), ("R4", 9), ("R5", 4), ("R6", 49)]
)
def test_less_than_is_asked_is_no_evidence(
    sound: tuple[Model, Path, Recheck], tmp_path: Path, requirement: str, units: int
) -> None:
    model, folder = sound[0], Path(shutil.copytree(sound[1], tmp_path / "evidence"))
    data = json.loads((folder / "manifest.json").read_text())
    del data["seal"]
    (entry,) = [e for e in data["systems"].values() if requirement in e["requirements"]]
    entry["within"] = {requirement: units}
    (folder / "manifest.json").write_text(to_text(Manifest.model_validate(data)))
    with pytest.raises(InputError, match=f"{requirement} within {units} units of time is not"):
        check(read_folder(folder), model)


@pytest.mark.parametrize(
    ("was", "is_too_much"),
    [("at_least: 400 ms", "at_least: 600 ms"), ("at_most: 700 ms", "at_most: 600 ms")],
)
def test_sets_of_another_bound_show_nothing_of_one_that_is_missed_by_a_unit(
    tmp_path: Path, was: str, is_too_much: str
) -> None:
    kept = timed_gate(tmp_path / "kept", (R2, IN_TIME))
    missed = timed_gate(tmp_path / "missed", (R2, IN_TIME.replace(was, is_too_much)))
    id_ = "R3" if "least" in was else "R4"
    lie = verify_claims(kept, catalogue()["symbolic"]())
    found = verify_claims(missed, catalogue()["symbolic"]())
    assert [f.requirement.id for f in found.findings if f.run is not None] == [id_]
    folder = tmp_path / "evidence"
    # What was found of the bound that is kept is said of the model in which it is missed.
    write_evidence(folder, replace(lie, built=found.built))
    with pytest.raises(InputError, match=f"{id_} within . units of time is not what the model"):
        check(read_folder(folder), missed)
    result = checked(missed, folder)
    assert exit_code(result) == 1
    assert {r.requirement for r in result.results if r.outcome == "violated"} == {id_}


def test_time_that_cannot_go_on_is_confirmed_by_its_dead_end(tmp_path: Path) -> None:
    model = timed_gate(tmp_path / "model", SWINGS, ("LOOSE", "drive"))
    result = checked(model, tmp_path / "evidence")
    (time,) = [one for one in result.results if one.requirement == TIME]
    assert (time.outcome, time.status) == ("violated", Status.CONFIRMED)
    assert "no way on from its end" in time.says


def test_time_goes_on_under_as_many_faults_as_any_verdict_rests_on(tmp_path: Path) -> None:
    claims = ("R1: {", "R1: {survives: 1, "), ("requirements:", LOOSE + "requirements:")
    model = timed_gate(tmp_path / "model", SWINGS, *claims)
    engine = catalogue()["symbolic"]()
    found, bare = verify_claims(model, engine), verify(model, engine)
    outcome = {f.requirement.id: f.outcome.value for f in found.findings}
    assert outcome[TIME] == "violated", "the fault is one that stops time"
    (without,) = [f for f in bare.findings if f.requirement.id == TIME]
    lie = [without if f.requirement.id == TIME else f for f in found.findings]
    write_evidence(tmp_path / "evidence", replace(found, findings=tuple(lie)))
    result = check(read_folder(tmp_path / "evidence"), model)
    (time,) = [one for one in result.results if one.requirement == TIME]
    assert (time.outcome, time.status) == ("holds", Status.FOR_LESS)
    assert exit_code(result) == 3
