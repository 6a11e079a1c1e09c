"""Types, values and variables as elements."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import groupby

from interlock.base.errors import InputError, Mistake, Place
from interlock.exchange.declarations import SECTIONS
from interlock.exchange.writing.tags import Tag, documentation, tag
from interlock.st import syntax as sx
from interlock.st.write_expressions import write_expression

Comments = Callable[[Place], list[str]]
"""What was said in comments about what stands at a place."""

_SECTION_OF = {kind: section for section, kind in SECTIONS.items()}
_ELEMENTARY = frozenset(
    (
        *("BOOL", "BYTE", "WORD", "DWORD", "LWORD", "SINT", "INT", "DINT", "LINT", "USINT"),
        *("UINT", "UDINT", "ULINT", "REAL", "LREAL", "TIME", "DATE", "DT", "TOD"),
    )
)
_UNKNOWN = frozenset(("UNION", "REFERENCE"))
_TEXTS = {"STRING": "string", "WSTRING": "wstring"}
_UNSIGNED = frozenset(("USINT", "UINT", "UDINT", "ULINT", "BYTE", "WORD", "DWORD", "LWORD"))


def refusal(place: Place, says: str) -> InputError:
    """The error that tells what the format has no word for."""
    return InputError([Mistake(place, f"{says}: the exchange format has no word for it")])


def can_be_said(declarations: Iterable[sx.Declaration]) -> bool:
    """Whether the format has a word for all that is said in declarations."""
    return not any(
        d.edge or d.kind not in _SECTION_OF or _is_open(d.type) or d.type.name in _UNKNOWN
        for d in declarations
    )


def _is_open(t: sx.TypeRef) -> bool:
    return None in t.dimensions or (t.of is not None and _is_open(t.of))


def sections(
    declarations: Iterable[sx.Declaration], comments: Comments, list_name: str | None = None
) -> list[Tag]:
    """The sections of declarations, in their order.

    Parameters
    ----------
    declarations : iterable of syntax.Declaration
    comments : callable
    list_name : str, optional
        Of a list of globals.

    Raises
    ------
    InputError
        Where the format has no word for something.
    """
    found = []
    for head, group in groupby(declarations, key=_head):
        section, *words = head
        inner = [variable for d in group for variable in _variables(d, comments)]
        said = {"name": list_name} if list_name is not None else {}
        said |= dict.fromkeys(words, "true")
        found.append(Tag(section, said, inner))
    return found


def _head(d: sx.Declaration) -> tuple[str, ...]:
    if d.kind not in _SECTION_OF:
        raise refusal(d.place, f"{d.kind} is not written")
    persists = "PERSISTENT" in d.words
    words = [
        *(["constant"] if d.constant else []),
        *(["retain"] if d.retain and not ("RETAIN" not in d.words and persists) else []),
        *(["persistent"] if persists else []),
    ]
    return (_SECTION_OF[d.kind], *words)


def _variables(d: sx.Declaration, comments: Comments) -> list[Tag]:
    if d.edge:
        raise refusal(d.place, f"{d.edge} of {d.names[0].text} is not written")
    said = [comments(name.place) for name in d.names]
    return [
        tag(
            "variable",
            tag("type", type_tag(d.type)),
            initial_tag(d.initial),
            documentation(text),
            name=name.text,
            address=d.address or None,
        )
        for name, text in zip(d.names, said, strict=True)
    ]


def data_type(t: sx.TypeDef, comments: Comments) -> Tag:
    """The element of a type with a name.

    Raises
    ------
    InputError
        Where the format has no word for something.
    """
    if t.extends:
        raise refusal(t.place, f"the structure {t.name} extends {t.extends}, which is not written")
    base = tag("baseType", type_tag(t.type))
    return tag(
        "dataType", base, initial_tag(t.initial), documentation(comments(t.place)), name=t.name
    )


def type_tag(t: sx.TypeRef) -> Tag:
    """The element of a type.

    Raises
    ------
    InputError
        Where the format has no word for it.
    """
    if t.labels:
        values = (
            tag("value", name=one.name, value=None if one.value is None else _text(one.value))
            for one in t.labels
        )
        base = _plain(t.base) if t.base else None
        return tag("enum", tag("values", *values), tag("baseType", base) if base else None)
    if t.fields or not t.name:
        if t.name:
            raise refusal(t.place, f"{t.name} is not written")
        members = (one for d in t.fields for one in _variables(d, _silent))
        return tag("struct", *members)
    if t.of is not None:
        return _of_another(t, t.of)
    if t.lo is not None and t.hi is not None:
        which = "subrangeUnsigned" if t.name.upper() in _UNSIGNED else "subrangeSigned"
        limits = tag("range", lower=_text(t.lo), upper=_text(t.hi))
        return tag(which, limits, tag("baseType", _plain(t.name)))
    length = _text(t.lo) if t.lo is not None else None
    if t.name.upper() in _TEXTS:
        return tag(_TEXTS[t.name.upper()], length=length)
    return _plain(t.name)


def _of_another(t: sx.TypeRef, of: sx.TypeRef) -> Tag:
    base = tag("baseType", type_tag(of))
    if t.name == "POINTER":
        return tag("pointer", base)
    if t.name != "ARRAY":
        raise refusal(t.place, f"a {t.name} is not written")
    dimensions = []
    for limits in t.dimensions:
        if limits is None:
            raise refusal(t.place, "an ARRAY [*] is not written")
        dimensions.append(tag("dimension", lower=_text(limits[0]), upper=_text(limits[1])))
    return tag("array", *dimensions, base)


def _plain(name: str) -> Tag:
    return tag(name.upper()) if name.upper() in _ELEMENTARY else tag("derived", name=name)


def _silent(_: Place) -> list[str]:
    return []


def _text(e: sx.Expression) -> str:
    return write_expression(e)


def initial_tag(value: sx.Expression | None) -> Tag | None:
    """The element of an initial value; None where there is none."""
    return None if value is None else tag("initialValue", _value(value))


def _value(value: sx.Expression) -> Tag:
    if isinstance(value, sx.ArrayValue):
        items = (
            tag("value", None if one is None else _value(one), repetitionValue=times)
            for times, one in value.items
        )
        return tag("arrayValue", *items)
    if isinstance(value, sx.StructValue):
        members = (tag("value", _value(f.value), member=f.name) for f in value.fields)
        return tag("structValue", *members)
    return tag("simpleValue", value=_text(value))
