"""From YAML to a `ModelShape`, with every mistake of shape at its place."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar, get_args

from interlock.base.errors import InputError, Mistake, MistakeList, nearest
from interlock.model.schema import ModelShape, revision_shape
from interlock.model.schema_fields import PROGRAM_NAME
from interlock.model.yaml import Document, Path

if TYPE_CHECKING:
    from pydantic import BaseModel
    from pydantic_core import ErrorDetails

_Shape = TypeVar("_Shape", bound="BaseModel")


def shape_of(document: Document) -> ModelShape:
    """Check the shape of a model file, or of a revision put together with what it revises.

    Raises
    ------
    InputError
        With every mistake of shape.
    """
    return validated(document, ModelShape, "a model: 'title: …' and so on")


def check_revision(document: Document) -> None:
    """Check the shape of a revision's own file.

    Raises
    ------
    InputError
        With every mistake of shape in the file.
    """
    validated(document, revision_shape(), "a model: 'title: …' and so on")


def validated(document: Document, shape: type[_Shape], expected: str) -> _Shape:
    """What `document` says, checked against `shape`.

    Parameters
    ----------
    document : Document
    shape : type
        A pydantic model.
    expected : str
        What a file holds that is no mapping at all but should be one.

    Raises
    ------
    InputError
        With every mistake of shape.
    """
    from pydantic import ValidationError

    if not isinstance(document.value, dict):
        raise InputError([Mistake(document.place(()), f"expected {expected}")])
    try:
        return shape.model_validate(document.value)
    except ValidationError as error:
        details = error.errors(include_url=False, include_context=True)
        # A revision has the keys of a model.
        keys = ModelShape if shape is revision_shape() else shape
        mistakes = MistakeList()
        for mistake in dict.fromkeys(_mistake(document, detail, keys) for detail in details):
            mistakes.append(mistake)
        raise InputError(mistakes) from None


def _mistake(document: Document, detail: ErrorDetails, shape: type[BaseModel]) -> Mistake:
    path: Path = tuple(part for part in detail["loc"] if part != "[key]")
    kind, given = detail["type"], _kind_of(detail["input"])
    torn = _torn(document, path)
    if torn is not None:
        return torn
    if kind == "extra_forbidden":
        key = str(path[-1])
        said = f"'{_short(key)}' is not known here{nearest(key, _keys_at(path[:-1], shape))}"
        if path == ("run", "moves_per_scan"):
            said = f"'moves_per_scan' is now called 'between_scans': {_KNOWN_BETWEEN}"
        return Mistake(document.key_place(path), said)
    if kind == "missing":
        return Mistake(document.key_place(path[:-1]), f"'{path[-1]}' is missing")
    if kind in _EXPECTED:
        context = {**detail.get("ctx", {})}
        said = f"expected {_EXPECTED[kind].format(**context)}, not {given}"
    elif kind in _SIZES:
        said = f"expected {_SIZES[kind].format(**detail['ctx'])}"
    elif kind == "string_pattern_mismatch":
        said = f"{given} is not a name: letters, digits and _ only, no digit first"
        if detail.get("ctx", {}).get("pattern") == PROGRAM_NAME:
            said += "; a part of a variable is named as legs[2].firm"
    else:
        said = detail["msg"][:1].lower() + detail["msg"][1:]
    place = document.key_place(path) if "[key]" in detail["loc"] else document.place(path)
    return Mistake(place, said)


_KNOWN_BETWEEN = "one in all, two in all … eight in all, each once, any number"

_EXPECTED = {
    "literal_error": "{expected}",
    "string_type": "a text",
    "dict_type": "a mapping",
    "list_type": "a list",
    "model_type": "a mapping",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "finite_number": "a number",
    "bool_type": "TRUE or FALSE",
    "bool_parsing": "TRUE or FALSE",
    "greater_than_equal": "at least {ge}",
    "less_than_equal": "at most {le}",
    "string_too_long": "at most {max_length} characters",
    "string_too_short": "at least {min_length} character",
}
_SIZES = {
    "too_short": "at least {min_length} of them, found {actual_length}",
    "too_long": "at most {max_length} of them, found {actual_length}",
}


def _torn(document: Document, path: Path) -> Mistake | None:
    """That an expression without quotes was torn apart at a comma, where that went wrong."""
    inside: Any = document.value
    for part in path[:-1]:
        if isinstance(inside, list) and isinstance(part, int) and part < len(inside):
            inside = inside[part]
        else:
            inside = inside.get(part) if isinstance(inside, dict) else None
    if not path or not isinstance(inside, dict) or inside.get(path[-1]) is not None:
        return None
    for key, text in inside.items():
        if isinstance(text, str) and text.count("(") > text.count(")"):
            said = f"an expression with a comma needs quotes here: '{_short(text)}, …'"
            return Mistake(document.place((*path[:-1], key)), said)
    return None


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:39] + "…"


def _kind_of(value: object) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, dict | list):
        if not value:
            return "none"
        return "a mapping" if isinstance(value, dict) else "a list"
    return f"'{_short(' '.join(str(value).split()))}'"


def _keys_at(path: Path, shape: Any) -> list[str]:
    """The keys that a file of `shape` may have at `path`."""
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
