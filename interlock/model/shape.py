"""From YAML to a `ModelShape`, with every mistake of shape at its place."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, get_args

from interlock.base.errors import InputError, Mistake, nearest
from interlock.model.schema import ModelShape
from interlock.model.yaml import Document, Path

if TYPE_CHECKING:
    from pydantic import BaseModel
    from pydantic_core import ErrorDetails


def shape_of(document: Document) -> ModelShape:
    """Check the shape of a model file.

    Raises
    ------
    InputError
        With every mistake of shape in the file.
    """
    from pydantic import ValidationError

    if not isinstance(document.value, dict):
        raise InputError([Mistake(document.place(()), "expected a model: 'title: …' and so on")])
    try:
        return ModelShape.model_validate(document.value)
    except ValidationError as error:
        details = error.errors(include_url=False, include_context=True)
        raise InputError(_mistake(document, detail) for detail in details) from None


def _mistake(document: Document, detail: ErrorDetails) -> Mistake:
    path: Path = tuple(part for part in detail["loc"] if part != "[key]")
    said = detail["msg"]
    context = detail.get("ctx", {})
    match detail["type"]:
        case "extra_forbidden":
            key = str(path[-1])
            said = f"'{key}' is not known here{nearest(key, _keys_at(path[:-1]))}"
            return Mistake(document.key_place(path), said)
        case "missing":
            said = f"'{path[-1]}' is missing"
            return Mistake(document.key_place(path[:-1]), said)
        case "literal_error":
            text = str(detail["input"])
            said = f"expected {context['expected']}, not '{text[:40]}'"
        case "string_pattern_mismatch":
            said = f"'{str(detail['input'])[:40]}' is not a name: letters, digits and _ only"
        case "string_type" | "dict_type" | "list_type" | "model_type":
            said = f"expected {_KIND[detail['type']]}, not {_kind_of(detail['input'])}"
        case _:
            said = said[:1].lower() + said[1:]
    place = document.key_place(path) if "[key]" in detail["loc"] else document.place(path)
    return Mistake(place, said)


_KIND = {
    "string_type": "a text",
    "dict_type": "a mapping",
    "list_type": "a list",
    "model_type": "a mapping",
}


def _kind_of(value: object) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, dict | list):
        return "a mapping" if isinstance(value, dict) else "a list"
    return f"'{str(value)[:40]}'"


def _keys_at(path: Path) -> list[str]:
    """The keys that a model file may have at `path`."""
    shape: Any = ModelShape
    for part in path:
        if isinstance(part, int):
            continue
        if not _is_shape(shape):
            return []
        field = next((f for n, f in shape.model_fields.items() if (f.alias or n) == part), None)
        if field is None:
            continue  # the name of an entry in a mapping of shapes
        shape = _shape_within(field.annotation)
    return [f.alias or n for n, f in shape.model_fields.items()] if _is_shape(shape) else []


def _is_shape(kind: Any) -> bool:
    return isinstance(kind, type) and hasattr(kind, "model_fields")


def _shape_within(annotation: Any) -> type[BaseModel] | None:
    if _is_shape(annotation):
        return annotation  # type: ignore[no-any-return]
    found = [_shape_within(argument) for argument in get_args(annotation)]
    return next((shape for shape in found if shape is not None), None)
