"""Projects in text as files of the exchange format, with code in text: for tests of reading."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from xml.sax.saxutils import escape, quoteattr

from interlock.st import syntax as sx
from interlock.st.write import write_expression, write_program
from tests.support.exchange_files import project

_SECTIONS = {
    "VAR_INPUT": "inputVars",
    "VAR_OUTPUT": "outputVars",
    "VAR_IN_OUT": "inOutVars",
    "VAR": "localVars",
    "VAR_TEMP": "tempVars",
    # The format has no words for these.
    "VAR_STAT": "localVars",
    "VAR_INST": "localVars",
    "VAR_EXTERNAL": "externalVars",
    "VAR_GLOBAL": "globalVars",
}
_KINDS_READ = {"VAR_STAT": "VAR", "VAR_INST": "VAR"}
_KINDS = {"PROGRAM": "program", "FUNCTION_BLOCK": "functionBlock", "FUNCTION": "function"}
_ELEMENTARY = frozenset(
    ("BOOL", "BYTE", "WORD", "INT", "DINT", "USINT", "UDINT", "REAL", "LREAL", "TIME")
)


def part_of_the_format(source: sx.SourceFile) -> sx.SourceFile:
    """What of `source` the format has a word for: no classes, interfaces, namespaces, charts."""
    return replace(
        source,
        types=tuple(t for t in source.types if not (t.namespace or t.extends)),
        units=tuple(
            unit
            for unit in source.units
            if unit.kind in _KINDS
            and not (unit.namespace or unit.implements or unit.words or unit.chart)
            and not any(method.words for method in unit.methods)
        ),
        tasks=(),
        instances=(),
    )


def as_exchange_file(source: sx.SourceFile) -> str:
    """A file of the exchange format that says what `source` does."""
    types = "".join(
        f"<dataType name={quoteattr(t.name)}><baseType>{_type(t.type)}</baseType>"
        f"{_initial(t.initial)}</dataType>"
        for t in source.types
    )
    globals_ = f"<configuration name='C'>{_sections(source.globals)}</configuration>"
    units = "".join(_unit(unit) for unit in source.units)
    return project(units, types=types, configurations=globals_)


def as_read(source: sx.SourceFile) -> sx.SourceFile:
    """`source` as it is read from there: one declaration a name, no edges, no VAR_STAT."""
    return replace(
        source,
        types=tuple(replace(t, type=_read_type(t.type)) for t in source.types),
        units=tuple(_read_unit(unit) for unit in source.units),
        globals=_read_declarations(source.globals),
    )


def _read_unit(unit: sx.Unit) -> sx.Unit:
    return replace(
        unit,
        declarations=_read_declarations(unit.declarations),
        methods=tuple(_read_unit(method) for method in unit.methods),
    )


def _read_declarations(declared: Iterable[sx.Declaration]) -> tuple[sx.Declaration, ...]:
    return tuple(
        replace(
            d, names=(name,), edge="", kind=_KINDS_READ.get(d.kind, d.kind), type=_read_type(d.type)
        )
        for d in declared
        for name in d.names
    )


def _read_type(t: sx.TypeRef) -> sx.TypeRef:
    of = None if t.of is None else _read_type(t.of)
    return replace(t, fields=_read_declarations(t.fields), of=of)


# Units


def _unit(unit: sx.Unit) -> str:
    data = "".join(map(_method, _properties(unit)))
    if unit.extends:
        inner = f"<Inheritance><Extends>{unit.extends}</Extends></Inheritance>"
        data += f"<data name='x/pouinheritance' handleUnknown='implementation'>{inner}</data>"
    actions = "".join(
        f"<action name='{a.name}'><body>{_code(a.body)}</body></action>" for a in unit.actions
    )
    return (
        f"<pou name='{unit.name}' pouType='{_KINDS[unit.kind]}'>{_interface(unit)}"
        f"<actions>{actions}</actions><body>{_code(unit.body)}</body>"
        f"<addData>{data}</addData></pou>"
    )


def _properties(unit: sx.Unit) -> list[list[sx.Unit]]:
    """Methods one by one; the parts of a property together."""
    found: list[list[sx.Unit]] = []
    for method in unit.methods:
        if method.kind != "METHOD" and found and found[-1][0].name == method.name:
            found[-1].append(method)
        else:
            found.append([method])
    return found


def _method(parts: list[sx.Unit]) -> str:
    first = parts[0]
    body = f"{_interface(first)}<body>{_code(first.body)}</body>"
    if first.kind == "METHOD":
        inner = f"<Method name='{first.name}'>{body}</Method>"
        return f"<data name='x/method' handleUnknown='implementation'>{inner}</data>"
    inner = "".join(
        f"<{p.kind.title()}Accessor>{_interface(replace(p, returns=None))}"
        f"<body>{_code(p.body)}</body></{p.kind.title()}Accessor>"
        for p in parts
    )
    assert first.returns is not None
    returns = f"<interface><returnType>{_type(first.returns)}</returnType></interface>"
    whole = f"<Property name='{first.name}'>{returns}{inner}</Property>"
    return f"<data name='x/property' handleUnknown='implementation'>{whole}</data>"


def _interface(unit: sx.Unit) -> str:
    returns = f"<returnType>{_type(unit.returns)}</returnType>" if unit.returns else ""
    return f"<interface>{returns}{_sections(unit.declarations)}</interface>"


def _code(body: tuple[sx.Statement, ...]) -> str:
    place = sx.Name("", None).place  # type: ignore[arg-type]
    written = write_program(sx.Program("P", (), (), body, place))
    lines = "\n".join(written.split("\n")[1:-2])
    return f"<ST><xhtml:p>{escape(lines)}</xhtml:p></ST>"


def _sections(declared: Iterable[sx.Declaration]) -> str:
    text = ""
    for d in declared:
        words = ' constant="true"' if d.constant else ""
        words += ' retain="true"' if d.retain else ""
        text += f"<{_SECTIONS[d.kind]}{words}>{_variables(d)}</{_SECTIONS[d.kind]}>"
    return text


def _variables(d: sx.Declaration) -> str:
    at = f" address={quoteattr(d.address)}" if d.address else ""
    return "".join(
        f"<variable name={quoteattr(name.text)}{at}><type>{_type(d.type)}</type>"
        f"{_initial(d.initial)}</variable>"
        for name in d.names
    )


# Types and values


def _type(t: sx.TypeRef) -> str:
    if t.labels:
        values = "".join(
            f"<value name='{one.name}'"
            + (f" value='{write_expression(one.value)}'" if one.value is not None else "")
            + "/>"
            for one in t.labels
        )
        return f"<enum><values>{values}</values></enum>"
    if t.fields:
        return f"<struct>{''.join(map(_variables, t.fields))}</struct>"
    if t.of is not None:
        dimensions = "".join(
            f"<dimension {_limits(*limits)}/>" for limits in t.dimensions if limits is not None
        )
        return f"<array>{dimensions}<baseType>{_type(t.of)}</baseType></array>"
    plain = f"<{t.name}/>" if t.name in _ELEMENTARY else f"<derived name={quoteattr(t.name)}/>"
    if t.lo is not None and t.hi is not None:
        range_ = f"<range {_limits(t.lo, t.hi)}/>"
        return f"<subrangeSigned>{range_}<baseType>{plain}</baseType></subrangeSigned>"
    return plain


def _limits(lower: sx.Expression, upper: sx.Expression) -> str:
    return f"lower='{write_expression(lower)}' upper='{write_expression(upper)}'"


def _initial(value: sx.Expression | None) -> str:
    return "" if value is None else f"<initialValue>{_value(value)}</initialValue>"


def _value(value: sx.Expression) -> str:
    if isinstance(value, sx.ArrayValue):
        items = "".join(
            f"<value repetitionValue='{times}'>{'' if one is None else _value(one)}</value>"
            for times, one in value.items
        )
        return f"<arrayValue>{items}</arrayValue>"
    if isinstance(value, sx.StructValue):
        fields = "".join(
            f"<value member='{f.name}'>{_value(f.value)}</value>" for f in value.fields
        )
        return f"<structValue>{fields}</structValue>"
    return f"<simpleValue value={quoteattr(write_expression(value))}/>"
