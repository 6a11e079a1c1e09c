"""One exploration serves every item of a model, and every model that it cannot tell apart."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from interlock.kernel.query import Limits
from interlock.testing.studies import Options, Studies, contents, explored_with
from tests.support.models import MODELS, shipped


def test_all_requirements_of_a_model_share_one_exploration() -> None:
    studies, model = Studies(), shipped("ramp")
    for id_ in model.statements:
        assert studies.requirement(model, id_, model.statements).passes
    assert studies.n_explored == 1


def test_a_revision_that_differs_only_in_its_faults_shares_the_exploration() -> None:
    studies, model = Studies(), shipped("ramp")
    renamed = replace(model, title="The same, under another title", faults={})
    studies.requirement(model, "R1", model.statements)
    studies.requirement(renamed, "R2", model.statements)
    assert studies.n_explored == 1


def test_a_revision_that_differs_in_its_program_shares_nothing() -> None:
    studies, ids = Studies(), shipped("ramp").statements
    assert studies.requirement(shipped("ramp"), "R1", ids).passes
    assert studies.requirement(shipped("ramp-broken/pin-alone"), "R1", ids).passes  # as declared
    assert studies.n_explored == 2


def test_models_that_can_share_an_exploration_are_told_by_their_text() -> None:
    wren = MODELS / "wren" / "model.yaml"
    assert explored_with(MODELS / "wren-single/xfer/model.yaml") == wren
    tidied = MODELS / "wren-changed/tidied/model.yaml"
    assert explored_with(tidied) == tidied  # its program is another
    assert explored_with(wren) == wren
    assert explored_with(Path("nowhere/model.yaml")) == Path("nowhere/model.yaml")


def test_a_limit_gives_no_pass() -> None:
    studies, model = Studies(Options(limits=Limits(max_states=20))), shipped("ramp")
    result = studies.requirement(model, "R7", ["R7"])
    assert not result.passes
    assert "states 20" in result.says


def test_procedures_are_rehearsed_as_written() -> None:
    found = contents(MODELS / "ramp" / "model.yaml")
    assert found.procedures is not None
    result = Studies().procedure(found.model, found.procedures, "lower")
    assert result.passes
    assert dict(result.properties)["outcome"] == "holds"
