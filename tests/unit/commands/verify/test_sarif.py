"""SARIF: the standard's own schema accepts it, and it says what was found."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from interlock.cli.main import run
from interlock.commands.verify.sarif import to_sarif
from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel.query import Limits
from interlock.model.model import Model
from tests.support.models import MODELS, shipped


def sarif_of(model: Model, limits: Limits = Limits()) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(
        to_sarif(verify(model, catalogue()["reference"](), limits=limits))
    )
    return found


def results(data: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {result["ruleId"]: result for result in data["runs"][0]["results"]}


@pytest.mark.parametrize("name", ["ramp", "ramp-broken/pin-alone", "ramp-broken/dead-requirement"])
def test_the_schema_of_the_standard_accepts_it(name: str) -> None:
    """Classes generated from sarif-schema-2.1.0.json by the package pydantic-sarif."""
    module = pytest.importorskip("pydantic_sarif.model")
    tops = [
        kind
        for kind in vars(module).values()
        if isinstance(kind, type) and {"runs", "version"} <= set(getattr(kind, "model_fields", ()))
    ]
    (top,) = [kind for kind in tops if kind.model_fields["runs"].is_required()]
    data = sarif_of(shipped(name))
    parsed = top.model_validate(data)
    # Names that the schema does not know would be dropped or refused.
    back = json.loads(parsed.model_dump_json(by_alias=True, exclude_unset=True))
    assert back["runs"][0]["results"] == data["runs"][0]["results"]
    with pytest.raises(ValueError, match="validation error"):
        top.model_validate({**data, "version": "2.2.0"})


def test_a_violation_is_a_failure_at_its_requirement_with_its_run() -> None:
    result = results(sarif_of(shipped("ramp-broken/pin-alone")))["R1"]
    assert (result["kind"], result["level"]) == ("fail", "error")
    place = result["locations"][0]["physicalLocation"]
    model = shipped("ramp")
    assert place["artifactLocation"]["uri"].endswith("models/ramp/model.yaml")
    assert place["region"]["startLine"] == model.statements["R1"].place.line
    flow = result["codeFlows"][0]["threadFlows"][0]["locations"]
    assert flow[-1]["location"]["message"]["text"].startswith("driver: drives off")
    decided = [step["location"].get("physicalLocation") for step in flow]
    uris = {place["artifactLocation"]["uri"] for place in decided if place}
    assert {uri.rsplit("/", 1)[1] for uri in uris} == {"controller.st"}


def test_each_verdict_has_its_kind_and_only_failures_a_level() -> None:
    kept = results(sarif_of(shipped("ramp")))
    assert {r["kind"] for r in kept.values()} == {"pass"}
    vacuous = results(sarif_of(shipped("ramp-broken/dead-requirement")))["R10"]
    assert vacuous["kind"] == "review"
    cut = results(sarif_of(shipped("ramp"), Limits(max_states=20)))
    assert cut["R7"]["kind"] == "open"
    assert "states 20" in cut["R7"]["message"]["text"]
    for result in (*kept.values(), vacuous, cut["R7"]):
        # Section 3.27.10: where kind is anything but "fail", level is "none".
        assert result["level"] == "none"


def test_what_is_not_carried_is_told_in_the_file_and_beside_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "ramp.sarif"
    assert run(["verify", str(MODELS / "ramp"), "--plain", "--sarif", str(file)]) == 0
    told = capsys.readouterr().err
    listed = json.loads(file.read_text())["runs"][0]["properties"]["notCarried"]
    assert len(listed) >= 2
    assert [f"not carried by SARIF: {loss}" for loss in listed] == told.splitlines()


def test_artifacts_carry_the_hashes_of_the_inputs() -> None:
    data = sarif_of(shipped("ramp"))
    hashes = [a["hashes"]["sha-256"] for a in data["runs"][0]["artifacts"]]
    assert len(hashes) >= 2
    assert all(len(h) == 64 for h in hashes)
