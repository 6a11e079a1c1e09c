"""What evidence says of faults is held to what the model's requirements claim to survive."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.cli.main import run
from interlock.commands.recheck.check import recheck
from interlock.commands.verify.evidence import write_evidence
from interlock.engines import catalogue
from interlock.judgement.verify import verify, verify_claims
from interlock.kernel.requirement import Outcome
from interlock.model.build import ARITHMETIC, RunClass
from interlock.model.model import Model
from tests.support.gate import gate

# The switch that tells 'shut' may lie (F1, F4), so no lamp survives a fault; the lock does.
SURVIVING = (
    ("leads_to: gate = SHUT OR button}", "leads_to: gate = SHUT OR button, survives: 1}"),
    ("can_still: gate = SHUT}", "can_still: gate = SHUT, survives: 1}"),
)
NO_SHORT = ("  F5: {says: drive shorted on, output: drive, stuck: 'TRUE'}\n", "")
NO_JAM = ("  F2: {says: gate jams, machine: gate, jams_in: [BETWEEN]}\n", "")


@pytest.fixture
def model(tmp_path: Path) -> Model:
    """Every claim of it to survive one fault is kept."""
    return gate(tmp_path / "gate", *SURVIVING, NO_SHORT, NO_JAM)


def judged(model: Model, run_class: RunClass, folder: Path, *only: str) -> Path:
    """Sound evidence of `model` in one run class, whichever that is."""
    found = verify(model, catalogue()["reference"](), run_class, only)
    write_evidence(folder, found)
    return folder


def exit_code(folder: Path, model: Model) -> int:
    return run(["recheck", str(folder), "--model", str(model.folder), "-j", "1"])


@pytest.mark.parametrize(
    "run_class",
    [
        RunClass(("F3",), 1),
        RunClass(("F1", "F3"), 1),
        RunClass(("F1", "F3", "F4"), 9),
        RunClass(("F1", "F3", "F4"), None),
        RunClass(("F1", "F3", "F4"), 2),
        RunClass(("F1", "F3", "F4"), 1, human=True),
        RunClass((), 1),
        RunClass((), 0, human=True),
        RunClass(("F1", "F3", "F4"), 0),
    ],
    ids=str,
)
def test_a_run_class_that_no_claim_asks_for_is_refused(
    run_class: RunClass, model: Model, tmp_path: Path
) -> None:
    folder = judged(model, run_class, tmp_path / "evidence", "R2", "R4")
    with pytest.raises(InputError) as error:
        recheck(folder, model.folder)
    said = str(error.value)
    assert "manifest.json:1:1: the run class 'class-1' is none that the model's claims ask" in said
    assert said.endswith("are: no component fault; any one component fault")


def test_evidence_of_as_many_faults_as_are_claimed_is_confirmed(
    model: Model, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["verify", str(model.folder), "--evidence", str(tmp_path / "e")]) == 0
    capsys.readouterr()
    assert exit_code(tmp_path / "e", model) == 0
    # Where the evidence itself says where the model is, that may be any model.
    assert f"model: {model.folder}\n" in capsys.readouterr().out


def test_evidence_without_faults_of_a_claim_to_survive_them_says_so_and_ends_with_3(
    model: Model, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "evidence"
    without = ["--faults", "none", "--evidence", str(folder)]
    assert run(["verify", str(model.folder), *without]) == 0
    capsys.readouterr()
    assert exit_code(folder, model) == 3
    said = capsys.readouterr().out
    assert (
        "R2  holds      confirmed for less than it claims: invariant and certificate; "
        "no component fault (it is to be judged under 1 component fault)\n"
    ) in said
    assert "R1  holds      confirmed: invariant; no component fault\n" in said
    assert "2 confirmed, 2 confirmed for less than it claims" in said


def test_more_faults_than_a_requirement_claims_are_no_violation_of_it(tmp_path: Path) -> None:
    """The lamp lies where the switch is stuck; it claims nothing else, another requirement does."""
    model = gate(tmp_path / "gate", *SURVIVING, NO_SHORT, NO_JAM)
    folder = judged(model, RunClass(("F1", "F3", "F4"), 1), tmp_path / "evidence", "R1")
    with pytest.raises(InputError, match="R1: judged under any one component fault, it claims to"):
        recheck(folder, model.folder)


COUNTING = (
    (
        "  shut: {reads: gate = SHUT}\n",
        "  shut: {reads: gate = SHUT}\n  wide: {reads: gate = OPEN}\n",
    ),
    (
        "shut, pressed : BOOL; END_VAR",
        "shut, wide, pressed : BOOL; END_VAR\nVAR n : INT (0..1); END_VAR",
    ),
    ("drive := pressed;", "drive := pressed;\nn := SEL(shut, 0, 1) + SEL(wide, 0, 1);"),
)


def test_the_arithmetic_is_asked_under_as_many_faults_as_anything_else(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two switches agree never, unless one of them lies: then a count leaves its range."""
    model = gate(tmp_path / "gate", *SURVIVING, NO_SHORT, NO_JAM, *COUNTING)
    engine = catalogue()["reference"]()
    found = verify_claims(model, engine)
    alone = {f.requirement.id: f for f in verify(model, engine, only=[ARITHMETIC]).findings}
    outcomes = {f.requirement.id: f.verdict.outcome for f in found.findings}
    assert outcomes[ARITHMETIC] is Outcome.VIOLATED
    assert alone[ARITHMETIC].verdict.outcome is Outcome.HOLDS
    findings = tuple(alone.get(f.requirement.id, f) for f in found.findings)
    write_evidence(tmp_path / "evidence", replace(found, findings=findings))
    assert exit_code(tmp_path / "evidence", model) == 3
    assert "ARITHMETIC  holds      confirmed for less" in capsys.readouterr().out
