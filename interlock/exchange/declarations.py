"""Types, values and variables of the exchange format."""

from __future__ import annotations

from collections.abc import Iterable

from interlock.exchange.elements import Element
from interlock.exchange.texts import expression_of, value_of
from interlock.st import syntax as sx

SECTIONS = {
    "localVars": "VAR",
    "tempVars": "VAR_TEMP",
    "inputVars": "VAR_INPUT",
    "outputVars": "VAR_OUTPUT",
    "inOutVars": "VAR_IN_OUT",
    "externalVars": "VAR_EXTERNAL",
    "globalVars": "VAR_GLOBAL",
}
"""The sections of a declaration, and what they are in text."""

# Names of types whose elements are no names of types in text.
_RENAMED = {"string": "STRING", "wstring": "WSTRING", "BIT": "BOOL"}
_TEXTS = frozenset(("STRING", "WSTRING"))
_MOST_VALUES = 10_000


def declarations(section: Element) -> list[sx.Declaration]:
    """The variables of a section.

    Raises
    ------
    InputError
    """
    kind = SECTIONS[section.name]
    words = [word.upper() for word in ("constant", "persistent") if section.is_true(word)]
    if section.is_true("retain"):
        words.append("RETAIN")
    return [_declaration(variable, kind, words) for variable in section.all("variable")]


def _declaration(variable: Element, kind: str, words: list[str]) -> sx.Declaration:
    name = _named(variable, "a variable")
    place = variable.place
    type_ = type_in(variable, f"the variable {name}")
    return sx.Declaration(
        kind,
        bool({"RETAIN", "PERSISTENT"} & set(words)),
        (sx.Name(name, place),),
        type_,
        initial_of(variable, type_),
        place,
        constant="CONSTANT" in words,
        address=variable.get("address").upper(),
        words=tuple(words),
    )


def _named(element: Element, what: str) -> str:
    name = element.get("name")
    if not name:
        element.refuse(f"{what} needs a name")
    return name


def type_defs(data_types: Iterable[Element]) -> list[sx.TypeDef]:
    """The types that a file declares.

    Raises
    ------
    InputError
    """
    found = []
    for element in data_types:
        name = _named(element, "a type")
        element.stand_in(f"TYPE {name}")
        base = element.first("baseType")
        if base is None:
            element.refuse(f"the type {name} has no baseType")
        type_ = type_of(base)
        found.append(sx.TypeDef(name, type_, initial_of(element, type_), element.place))
    return found


# Types


def type_in(parent: Element, what: str) -> sx.TypeRef:
    """The type that stands in an element ``type``.

    Raises
    ------
    InputError
    """
    element = parent.first("type")
    if element is None:
        parent.refuse(f"{what} has no type")
    return type_of(element)


def type_of(holder: Element) -> sx.TypeRef:
    """The type that an element holds, such as ``returnType``.

    Raises
    ------
    InputError
    """
    inner = [child for child in holder.children if child.name not in ("addData", "documentation")]
    if len(inner) != 1:
        holder.refuse(f"'{holder.name}' holds one type, not {len(inner)}")
    element = inner[0]
    place = element.place
    match element.name:
        case "derived":
            return sx.TypeRef(_named(element, "a derived type"), None, None, place)
        case "array":
            return _array(element)
        case "struct":
            return sx.TypeRef("", None, None, place, fields=tuple(_members(element)))
        case "enum":
            return _enumeration(element)
        case "subrangeSigned" | "subrangeUnsigned":
            limits = _limits(_needed(element, "range"))
            return sx.TypeRef(type_of(_needed(element, "baseType")).name, *limits, place)
        case "pointer" | "reference":
            of = type_of(_needed(element, "baseType"))
            return sx.TypeRef(element.name.upper(), None, None, place, of=of)
    name = _RENAMED.get(element.name, element.name)
    length = expression_of("length", element) if element.get("length") else None
    return sx.TypeRef(name, length if name in _TEXTS else None, None, place)


def _needed(parent: Element, name: str) -> Element:
    found = parent.first(name)
    if found is None:
        parent.refuse(f"'{parent.name}' needs '{name}'")
    return found


def _limits(element: Element) -> tuple[sx.Expression, sx.Expression]:
    for name in ("lower", "upper"):
        if not element.get(name):
            element.refuse(f"'{element.name}' needs '{name}'")
    return expression_of("lower", element), expression_of("upper", element)


def _array(element: Element) -> sx.TypeRef:
    dimensions = tuple(_limits(dimension) for dimension in element.all("dimension"))
    if not dimensions:
        element.refuse("an array needs a dimension")
    of = type_of(_needed(element, "baseType"))
    return sx.TypeRef("ARRAY", None, None, element.place, dimensions=dimensions, of=of)


def _enumeration(element: Element) -> sx.TypeRef:
    labels = tuple(
        sx.EnumLabel(
            _named(value, "a value of an enumeration"),
            expression_of("value", value) if value.get("value") else None,
            value.place,
        )
        for value in _needed(element, "values").all("value")
    )
    if not labels:
        element.refuse("an enumeration needs values")
    base = element.first("baseType")
    named = type_of(base).name if base is not None else ""
    return sx.TypeRef("", None, None, element.place, labels=labels, base=named)


def _members(struct: Element) -> list[sx.Declaration]:
    return [_declaration(variable, "STRUCT", []) for variable in struct.all("variable")]


# Values


def initial_of(parent: Element, type_: sx.TypeRef) -> sx.Expression | None:
    """The initial value that an element gives a variable of `type_`.

    Raises
    ------
    InputError
    """
    element = parent.first("initialValue")
    if element is None or not element.children:
        return None
    return _value(element, type_)


def _value(holder: Element, type_: sx.TypeRef | None) -> sx.Expression | None:
    inner = [child for child in holder.children if child.name != "addData"]
    if len(inner) != 1:
        holder.refuse("a value is one simpleValue, arrayValue or structValue")
    element = inner[0]
    place = element.place
    match element.name:
        case "simpleValue":
            return _simple(element, type_)
        case "arrayValue":
            of = type_.of if type_ is not None else None
            return sx.ArrayValue(tuple(_items(element, of)), place)
    fields = []
    for member in element.all("value"):
        name = member.get("member")
        if not name:
            member.refuse("a value in a structValue needs 'member'")
        value = _value(member, None)
        if value is not None:
            fields.append(sx.InputArgument(name, value, member.place))
    return sx.StructValue(tuple(fields), place)


def _items(array: Element, of: sx.TypeRef | None) -> list[tuple[int, sx.Expression | None]]:
    items: list[tuple[int, sx.Expression | None]] = []
    for value in array.all("value"):
        times = value.get("repetitionValue") or "1"
        if not times.isdecimal() or int(times) > _MOST_VALUES:
            says = f"repetitionValue is a whole number up to {_MOST_VALUES:,}, not '{times[:40]}'"
            value.refuse(says)
        items.append((int(times), _value(value, of)))
    return items


def _simple(element: Element, type_: sx.TypeRef | None) -> sx.Expression | None:
    text = element.attributes.get("value", "").strip()
    is_text = type_ is not None and type_.name.upper() in _TEXTS
    if is_text and text[:1] not in ("'", '"'):
        assert type_ is not None
        return sx.Opaque(f"'{text}'", type_.name.upper(), element.place)
    if not text:
        return None
    return value_of("value", element)
