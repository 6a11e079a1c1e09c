"""The JSON Schema that editors use: kept current, and true to what is loaded."""

from __future__ import annotations

import json
from importlib import resources

from interlock.cli.main import run
from interlock.model.json_schema import json_schema
from interlock.model.schema import ModelShape, revision_shape

COMMITTED = resources.files("interlock.model").joinpath("model.schema.json")


def test_the_committed_schema_is_current() -> None:
    # To renew it: interlock schema > interlock/model/model.schema.json
    assert json.loads(COMMITTED.read_text("utf-8")) == json_schema()


def test_the_command_prints_the_committed_schema(capsys) -> None:  # type: ignore[no-untyped-def]
    assert run(["schema"]) == 0
    assert capsys.readouterr().out == COMMITTED.read_text("utf-8")


def test_a_revision_may_give_every_section_of_a_model() -> None:
    assert list(revision_shape().model_fields) == list(ModelShape.model_fields)


def test_only_a_revision_needs_nothing_but_what_it_revises() -> None:
    shapes = json_schema()["$defs"]
    assert shapes["RevisionShape"]["required"] == ["revises"]
    # A matrix of causes and effects may stand in place of requirements.
    assert set(shapes["ModelShape"]["required"]) == {"title"}
    programs = [{"required": ["controller"]}, {"required": ["controllers"]}]
    assert shapes["ModelShape"]["oneOf"] == programs


def test_every_reference_leads_somewhere() -> None:
    schema = json_schema()

    def references(part: object) -> list[str]:
        if isinstance(part, dict):
            own = [part["$ref"]] if isinstance(part.get("$ref"), str) else []
            return own + [r for value in part.values() for r in references(value)]
        return [r for value in part for r in references(value)] if isinstance(part, list) else []

    assert {r.removeprefix("#/$defs/") for r in references(schema)} <= set(schema["$defs"])


def test_editors_let_pass_what_yaml_reads_as_a_truth_and_one_state_without_a_list() -> None:
    shapes = json_schema()["$defs"]
    assert True in shapes["FaultShape"]["properties"]["stuck"]["anyOf"][0]["enum"]
    source = shapes["MoveShape"]["properties"]["from"]["anyOf"]
    assert [kind["type"] for kind in source] == ["string", "array"]
