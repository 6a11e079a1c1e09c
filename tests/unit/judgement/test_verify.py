"""The main job: verdicts, limits, vacuity, and observers asked together or alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.engines import catalogue
from interlock.judgement.engines import AutomaticEngine
from interlock.judgement.verify import verify, verify_claims
from interlock.kernel.query import Limits
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from tests.support.gate import gate

MODELS = Path(__file__).parents[3] / "models"

ENGINES = ("reference", "enumerate", "symbolic")


@pytest.mark.parametrize("engine", ENGINES)
def test_a_sound_gate_holds_and_nothing_is_vacuous(tmp_path: Path, engine: str) -> None:
    result = verify(gate(tmp_path), catalogue()[engine]())
    assert result.outcome is Outcome.HOLDS
    assert [f.requirement.id for f in result.findings if f.verdict.vacuous] == []


@pytest.mark.parametrize("engine", ENGINES)
def test_a_broken_gate_is_violated_with_a_replayed_run(tmp_path: Path, engine: str) -> None:
    model = gate(tmp_path, ("lamp := shut AND NOT drive", "lamp := NOT drive"))
    result = verify(model, catalogue()[engine]())
    by_id = {f.requirement.id: f for f in result.findings}
    assert by_id["R1"].verdict.outcome is Outcome.VIOLATED
    assert by_id["R1"].run is not None
    # After the first scan: press, scan, leave the stop and let go, scan.
    assert len(by_id["R1"].run.happenings) == 6
    assert by_id["R3"].verdict.outcome is Outcome.HOLDS


@pytest.mark.parametrize("engine", ENGINES)
def test_a_limit_gives_undecided_and_never_holds(tmp_path: Path, engine: str) -> None:
    result = verify(gate(tmp_path), catalogue()[engine](), limits=Limits(max_states=3))
    assert result.outcome is Outcome.UNDECIDED
    assert {f.verdict.outcome for f in result.findings} == {Outcome.UNDECIDED}
    assert all(f.verdict.limit for f in result.findings)


@pytest.mark.parametrize("engine", ENGINES)
def test_a_premise_that_never_occurs_is_vacuous(tmp_path: Path, engine: str) -> None:
    model = gate(tmp_path, ("lamp := shut AND NOT drive", "lamp := shut AND drive AND NOT drive"))
    result = verify(model, catalogue()[engine](), only=["R1"])
    assert result.findings[0].verdict.vacuous


# The lamp never burns while the drive runs.
NEVER, ONCE, LATER = "drive AND lamp", "gate = OPEN", "lamp"


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize(
    ("scope", "empty"),
    [
        (f"after: {NEVER}", True),
        (f"after: {ONCE}", False),
        (f"before: {NEVER}", True),
        (f"before: {ONCE}", False),
        (f"between: {NEVER}, and: {LATER}", True),
        (f"between: {ONCE}, and: {NEVER}", True),
        (f"between: {ONCE}, and: {LATER}", False),
        (f"from: {NEVER}, until: {LATER}", True),
        (f"from: {ONCE}, until: {NEVER}", False),
    ],
)
def test_a_scope_that_never_opens_or_closes_is_vacuous(
    tmp_path: Path, engine: str, scope: str, empty: bool
) -> None:
    asked = f"requirements:\n  R9: {{says: x, always: NOT ({NEVER}), scope: {{{scope}}}}}"
    result = verify(gate(tmp_path, ("requirements:", asked)), catalogue()[engine](), only=["R9"])
    assert result.findings[0].verdict.outcome is Outcome.HOLDS
    assert result.findings[0].verdict.vacuous is empty


@pytest.mark.parametrize(
    "asked",
    [
        "when: gate = SHUT, always: lamp OR NOT lamp",
        "whenever: gate = SHUT, leads_to: gate = SHUT",
        "event: gate = OPEN, only_after: button",
        "never: gate = OPEN AND NOT button",
    ],
)
def test_with_any_premise_a_scope_that_never_opens_is_vacuous(tmp_path: Path, asked: str) -> None:
    stated = f"requirements:\n  R9: {{says: x, {asked}, scope: {{after: {NEVER}}}}}"
    result = verify(
        gate(tmp_path, ("requirements:", stated)), catalogue()["enumerate"](), only=["R9"]
    )
    assert result.findings[0].verdict.outcome is Outcome.HOLDS
    assert result.findings[0].verdict.vacuous


SECOND = "whenever: gate = OPEN AND NOT button,\n       leads_to: gate = SHUT OR button"


@pytest.mark.parametrize("engine", ENGINES)
def test_the_premise_of_never_is_the_parts_that_are_written(tmp_path: Path, engine: str) -> None:
    """Not those that simplifying leaves, nor those of a term."""
    for number, (asked, is_vacuous) in enumerate(
        {
            "never: gate = OPEN AND gate = SHUT AND button": False,
            "never: button AND NOT drive AND dark": True,
            "never: nowhere": False,
            "never: button AND NOT button AND nowhere": True,
            "when: button OR NOT button, never: dark AND gate = OPEN": False,
        }.items()
    ):
        model = gate(
            tmp_path / str(number),
            (
                "whenever: gate = OPEN AND NOT button,\n       leads_to: gate = SHUT OR button",
                asked,
            ),
            ("controls:", "terms: {dark: FALSE, nowhere: gate = OPEN AND dark}\ncontrols:"),
        )
        verdict = verify(model, catalogue()[engine](), only=["R2"]).findings[0].verdict
        assert verdict.outcome is Outcome.HOLDS
        assert (asked, verdict.vacuous) == (asked, is_vacuous)


# Asked of the gate, and whether it is vacuous: 'button' occurs, but not where the gate is open and
# the button was just let go; a premise in the scope counts after the requirement is settled, too.
IN_SCOPE = {
    "never: drive AND gate = OPEN, scope: {from: gate = BETWEEN, until: gate = OPEN}": True,
    "never: drive AND gate = SHUT AND dark, scope: {after: gate = OPEN}": True,
    "when: button, never: gate = BETWEEN AND NOT drive AND FALSE, "
    "scope: {from: gate = OPEN AND NOT button, until: button OR gate = SHUT}": True,
    "whenever: button, leads_to: drive, "
    "scope: {between: gate = OPEN AND NOT button, and: button OR gate = SHUT}": True,
    "event: button, only_after: gate = OPEN, "
    "scope: {from: gate = OPEN AND NOT button, until: button}": True,
    "event: gate = SHUT, only_after: gate = OPEN, "
    "scope: {from: gate = OPEN AND NOT button, until: button}": False,
    "event: gate = SHUT, only_after: gate = OPEN, "
    "scope: {between: gate = OPEN AND NOT button, and: button}": False,
    "event: button, only_after: gate = OPEN, "
    "scope: {between: gate = OPEN AND NOT button, and: button}": True,
    "exists: gate = OPEN, scope: {between: gate = OPEN AND NOT button, and: button}": False,
    "exists: gate = OPEN, scope: {between: gate = OPEN, and: gate = OPEN AND gate = SHUT}": True,
    "never: gate = OPEN AND gate = SHUT, scope: {between: gate = OPEN, and: nowhere}": True,
    "event: gate = OPEN, only_after: button, scope: {after: gate = SHUT}": False,
    "event: button AND gate = SHUT, only_after: gate = OPEN, "
    "scope: {between: gate = OPEN AND NOT button, and: gate = SHUT}": True,
}


@pytest.mark.parametrize("engine", ENGINES)
def test_a_premise_counts_inside_the_scope_only(tmp_path: Path, engine: str) -> None:
    for number, (asked, is_vacuous) in enumerate(IN_SCOPE.items()):
        model = gate(
            tmp_path / str(number),
            (SECOND, asked),
            ("controls:", "terms: {dark: FALSE, nowhere: gate = OPEN AND dark}\ncontrols:"),
        )
        verdict = verify(model, catalogue()[engine](), only=["R2"]).findings[0].verdict
        assert (asked, verdict.outcome.value) == (asked, "holds")
        assert (asked, verdict.vacuous) == (asked, is_vacuous)


@pytest.mark.parametrize("engine", ENGINES)
def test_arithmetic_has_no_premise(tmp_path: Path, engine: str) -> None:
    """It could divide by zero only where pressed and never pressed: parts of nobody's premise."""
    model = gate(
        tmp_path,
        ("VAR_OUTPUT drive", "VAR never : BOOL; n : INT (0..6); END_VAR\nVAR_OUTPUT drive"),
        ("drive := pressed;", "never := never AND pressed; drive := pressed;"),
        ("NOT drive;\nEND", "NOT drive;\nIF pressed AND never THEN n := 6 / n; END_IF;\nEND"),
    )
    verdict = verify(model, catalogue()[engine](), only=["ARITHMETIC"]).findings[0].verdict
    assert (verdict.outcome, verdict.vacuous) == (Outcome.HOLDS, False)


def test_observers_asked_together_judge_as_each_alone() -> None:
    model = load(MODELS / "ramp")
    engine = catalogue()["reference"]()
    together = {f.requirement.id: f.verdict for f in verify(model, engine).findings}
    for id_, verdict in together.items():
        alone = verify(model, engine, only=[id_]).findings[0].verdict
        assert (alone.outcome, alone.n_premise > 0) == (verdict.outcome, verdict.n_premise > 0)


def test_the_automatic_engine_names_the_one_it_used(tmp_path: Path) -> None:
    result = verify(gate(tmp_path), AutomaticEngine())
    assert result.exploration.engine == "enumerate"


def test_a_division_by_zero_is_found_without_being_asked_for(tmp_path: Path) -> None:
    model = gate(
        tmp_path,
        ("VAR_OUTPUT drive", "VAR n : INT (0..3); END_VAR\nVAR_OUTPUT drive"),
        ("drive := pressed;", "IF pressed THEN n := 6 / (n - 1); END_IF; drive := pressed;"),
    )
    result = verify(model, catalogue()["reference"]())
    found = {f.requirement.id: f.verdict.outcome for f in result.findings}
    assert found["ARITHMETIC"] is Outcome.VIOLATED


CLAIM = ("judged: after scan, hazards", "judged: after scan, survives: 1, hazards")


@pytest.mark.parametrize("engine", ENGINES)
def test_a_claim_is_judged_under_as_many_faults(tmp_path: Path, engine: str) -> None:
    result = verify_claims(gate(tmp_path, CLAIM), catalogue()[engine]())
    by_id = {f.requirement.id: f for f in result.findings}
    # A switch stuck shut lights the lamp while the gate is open; the others claim nothing.
    assert by_id["R1"].verdict.outcome is Outcome.VIOLATED
    assert by_id["R1"].run is not None
    assert any("strikes" in h.move for h in by_id["R1"].run.happenings)
    assert by_id["R2"].verdict.outcome is Outcome.HOLDS
    assert by_id["R2"].run_class.at_most == 0


def test_a_common_cause_is_no_single_component_fault(tmp_path: Path) -> None:
    stuck = ("stuck: 'TRUE'}\n  F2", "stuck: 'TRUE', common_cause: true}\n  F2")
    frozen = ("stuck: frozen, intermittent: true", "stuck: frozen, common_cause: true")
    model = gate(tmp_path, CLAIM, stuck, frozen)
    result = verify_claims(model, catalogue()["reference"](), only=["R1"])
    assert result.findings[0].verdict.outcome is Outcome.HOLDS
    assert result.findings[0].run_class.faults == ("F2", "F3", "F5")
