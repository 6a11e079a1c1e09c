"""The JSON Schema of model files, for editors and other tools."""

from __future__ import annotations

from typing import Any

from interlock.model.schema import ModelShape, revision_shape


def json_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of a model file, whether a model or a revision of one."""
    from pydantic.json_schema import models_json_schema

    _, schema = models_json_schema(
        [(ModelShape, "validation"), (revision_shape(), "validation")], by_alias=True
    )
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "if": {"required": ["revises"]},
        "then": {"$ref": "#/$defs/RevisionShape"},
        "else": {"$ref": "#/$defs/ModelShape"},
        **schema,
    }
