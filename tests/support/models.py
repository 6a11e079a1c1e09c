"""The models that are shipped, and what a verification of one must be like."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path

from interlock.engines import catalogue
from interlock.judgement.finding import Verification
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from interlock.model.model import Model

MODELS = Path(__file__).parents[2] / "models"


def folders(group: str) -> list[str]:
    """Names of the models in a folder of models."""
    return sorted(file.parent.name for file in (MODELS / group).glob("*/model.yaml"))


@cache
def shipped(name: str) -> Model:
    """The model in ``models/<name>``."""
    return load(MODELS / name)


def verified(model: Model, engine: str = "reference", only: Sequence[str] = ()) -> Verification:
    """The verification of `model` by one engine; every run in it was replayed."""
    return verify(model, catalogue()[engine](), only=only)


def violated(verification: Verification) -> set[str]:
    """Ids of the requirements that are violated, each with a replayed run."""
    found = [f for f in verification.findings if f.verdict.outcome is Outcome.VIOLATED]
    for finding in found:
        assert finding.run is not None
        assert finding.verdict.witness is not None
        assert len(finding.run.happenings) == len(finding.verdict.witness)
    return {f.requirement.id for f in found}


def undecided(verification: Verification) -> set[str]:
    """Ids of the requirements without a verdict."""
    found = verification.findings
    return {f.requirement.id for f in found if f.verdict.outcome is Outcome.UNDECIDED}


def vacuous(verification: Verification) -> set[str]:
    """Ids of the requirements that hold only because their premise never occurred."""
    return {f.requirement.id for f in verification.findings if f.verdict.vacuous}
