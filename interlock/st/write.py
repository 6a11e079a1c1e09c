"""Syntax trees back to text; read again, it gives an equal tree. Comments are lost."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import groupby

from interlock.st import syntax as sx
from interlock.st.write_expressions import (
    write_expression,
    written_arguments,
    written_call,
    written_target,
)

__all__ = [
    "write_declarations",
    "write_expression",
    "write_file",
    "write_program",
    "write_statements",
]

_INDENT = "  "


def write_program(program: sx.Program) -> str:
    """The text of `program`; read again, it gives an equal tree."""
    unit = sx.Unit("PROGRAM", program.name, program.declarations, program.body, program.place)
    return _text([*_types(program.types), *_unit(unit)])


def write_statements(body: Iterable[sx.Statement]) -> list[str]:
    """The lines of statements by themselves."""
    return _body(body, "")


def write_declarations(unit: sx.Unit) -> str:
    """The head of a unit and what it declares, without its code and its end."""
    bare = replace(unit, body=(), actions=(), methods=(), chart=None)
    return _text(_unit(bare)[:-1])


def write_file(source: sx.SourceFile) -> str:
    """The text of `source`; read again, it gives an equal tree."""
    lines = [*_types(source.types), *_sections(source.globals, "")]
    for namespace, units in groupby(source.units, key=lambda unit: unit.namespace):
        written = [line for unit in units for line in _unit(unit)]
        lines += _in_namespace(namespace, written)
    return _text(lines + _configuration(source))


def _text(lines: Iterable[str]) -> str:
    return "\n".join(lines) + "\n"


def _in_namespace(namespace: str, lines: list[str]) -> list[str]:
    return [f"NAMESPACE {namespace}", *lines, "END_NAMESPACE"] if namespace else lines


# Types and declarations


def _types(types: Iterable[sx.TypeDef]) -> list[str]:
    lines: list[str] = []
    for type_def in types:
        extends = f" EXTENDS {type_def.extends}" if type_def.extends else ""
        first, *rest = _type_lines(type_def.type, _INDENT)
        written = ["TYPE", f"{_INDENT}{type_def.name}{extends} : {first}", *rest]
        written[-1] += _initial(type_def.initial)
        lines += _in_namespace(type_def.namespace, [*written, "END_TYPE"])
    return lines


def _type_lines(t: sx.TypeRef, indent: str) -> list[str]:
    if t.fields or not (t.name or t.labels):
        word = t.name or "STRUCT"
        inner = [line for d in t.fields for line in _declaration(d, indent + _INDENT)]
        return [word, *inner, f"{indent}END_{word}"]
    if t.of is not None:
        head = f"{t.name} TO " if t.name == "POINTER" else "REF_TO "
        if t.name == "ARRAY":
            head = f"ARRAY [{', '.join(map(_dimension, t.dimensions))}] OF "
        first, *rest = _type_lines(t.of, indent)
        return [head + first, *rest]
    if t.labels:
        values = ", ".join(
            label.name + (f" := {write_expression(label.value)}" if label.value else "")
            for label in t.labels
        )
        return [" ".join(filter(None, (t.base, f"({values})")))]
    if t.lo is not None and t.hi is not None:
        return [f"{t.name} ({write_expression(t.lo)}..{write_expression(t.hi)})"]
    return [t.name + (f"[{write_expression(t.lo)}]" if t.lo is not None else "")]


def _dimension(limits: tuple[sx.Expression, sx.Expression] | None) -> str:
    return "..".join(map(write_expression, limits)) if limits else "*"


def _initial(value: sx.Expression | None) -> str:
    return f" := {write_expression(value)};" if value is not None else ";"


def _declaration(d: sx.Declaration, indent: str) -> list[str]:
    names = ", ".join(name.text for name in d.names if name.text != d.address)
    at = f"AT {d.address}" if d.address else ""
    edge = f" {d.edge}" if d.edge else ""
    first, *rest = _type_lines(d.type, indent)
    lines = [f"{indent}{' '.join(filter(None, (names, at)))} : {first}", *rest]
    lines[-1] += edge + _initial(d.initial)
    return lines


def _sections(declarations: Iterable[sx.Declaration], indent: str) -> list[str]:
    lines: list[str] = []
    for head, group in groupby(declarations, key=_section_head):
        lines.append(indent + head)
        lines += [line for d in group for line in _declaration(d, indent + _INDENT)]
        lines.append(f"{indent}END_VAR")
    return lines


def _section_head(d: sx.Declaration) -> str:
    words = [word for word in d.words if word not in ("CONSTANT", "RETAIN", "PERSISTENT")]
    words += ["CONSTANT"] * d.constant + ["RETAIN"] * d.retain
    return " ".join((d.kind, *words))


# Units


def _unit(unit: sx.Unit, indent: str = "") -> list[str]:
    returns = f" : {_type_lines(unit.returns, indent)[0]}" if unit.returns else ""
    head = " ".join((unit.kind, *unit.words, unit.name))
    if unit.kind in ("GET", "SET"):
        property_head = " ".join(("PROPERTY", *unit.words, unit.name)) + returns
        return [
            indent + property_head,
            f"{indent}{unit.kind}",
            *_parts(unit, indent),
            f"{indent}END_{unit.kind}",
            f"{indent}END_PROPERTY",
        ]
    head += f" EXTENDS {unit.extends}" if unit.extends else ""
    head += f" IMPLEMENTS {', '.join(unit.implements)}" if unit.implements else ""
    return [indent + head + returns, *_parts(unit, indent), f"{indent}END_{unit.kind}"]


def _parts(unit: sx.Unit, indent: str) -> Iterator[str]:
    yield from _sections(unit.declarations, indent)
    for method in unit.methods:
        yield from _unit(method, indent + _INDENT)
    for action in unit.actions:
        yield f"{indent}ACTION {action.name}:"
        yield from _body(action.body, indent + _INDENT)
        yield f"{indent}END_ACTION"
    if unit.chart is not None:
        yield from _chart(unit.chart, indent)
    yield from _body(unit.body, indent)


def _chart(chart: sx.Chart, indent: str) -> Iterator[str]:
    for step in chart.steps:
        yield f"{indent}{'INITIAL_STEP' if step.initial else 'STEP'} {step.name}:"
        for use in step.actions:
            time = f", {write_expression(use.duration)}" if use.duration is not None else ""
            yield f"{indent}{_INDENT}{use.name}({use.qualifier}{time});"
        yield f"{indent}END_STEP"
    for t in chart.transitions:
        priority = f"(PRIORITY := {t.priority})" if t.priority is not None else ""
        ways = f"FROM {_steps(t.sources)} TO {_steps(t.targets)}"
        yield indent + " ".join(filter(None, ("TRANSITION", t.name, priority, ways)))
        yield f"{indent}{_INDENT}:= {write_expression(t.condition)};"
        yield f"{indent}END_TRANSITION"


def _steps(names: tuple[sx.Name, ...]) -> str:
    text = ", ".join(name.text for name in names)
    return text if len(names) == 1 else f"({text})"


def _configuration(source: sx.SourceFile) -> list[str]:
    if not (source.tasks or source.instances):
        return []
    lines = ["CONFIGURATION Plant", "RESOURCE Cpu ON Controller"]
    for task in source.tasks:
        given = f" (INTERVAL := T#{task.interval_ms}ms)" if task.interval_ms is not None else ""
        lines.append(f"{_INDENT}TASK {task.name}{given};")
    for instance in source.instances:
        task_name = f" WITH {instance.task}" if instance.task else ""
        connected = ""
        if instance.inputs or instance.outputs:
            connected = written_arguments(instance.inputs, instance.outputs)
        called = f"{instance.type_name}{connected}"
        lines.append(f"{_INDENT}PROGRAM {instance.name}{task_name} : {called};")
    return [*lines, "END_RESOURCE", "END_CONFIGURATION"]


# Statements


def _body(body: Iterable[sx.Statement], indent: str) -> list[str]:
    return [line for statement in body for line in _statement(statement, indent)]


def _statement(s: sx.Statement, indent: str) -> list[str]:
    inner = indent + _INDENT
    match s:
        case sx.If():
            return _if(s, indent)
        case sx.Case():
            return _case(s, indent)
        case sx.For():
            step = f" BY {write_expression(s.step)}" if s.step is not None else ""
            bounds = f"{write_expression(s.first)} TO {write_expression(s.last)}{step}"
            head = f"{indent}FOR {s.variable.text} := {bounds} DO"
            return [head, *_body(s.body, inner), f"{indent}END_FOR;"]
        case sx.While():
            head = f"{indent}WHILE {write_expression(s.condition)} DO"
            return [head, *_body(s.body, inner), f"{indent}END_WHILE;"]
        case sx.Repeat():
            end = [f"{indent}UNTIL {write_expression(s.until)}", f"{indent}END_REPEAT;"]
            return [f"{indent}REPEAT", *_body(s.body, inner), *end]
        case _:
            return [indent + _line(s)]


def _line(s: sx.Assign | sx.Leave | sx.Invoke | sx.Empty | sx.Refused | sx.Defect) -> str:
    match s:
        case sx.Assign():
            return f"{written_target(s.target)} := {write_expression(s.value)};"
        case sx.Invoke():
            called = written_call(s.on, s.instance.text)
            return called + ("" if s.bare else written_arguments(s.inputs, s.outputs)) + ";"
        case sx.Leave():
            return f"{s.word};"
        case sx.Refused():
            return s.text
        case sx.Defect():
            # There is no text for it: only elaboration makes it.
            return f"; // {s.says}"
        case _:
            return ";"


def _if(s: sx.If, indent: str) -> list[str]:
    lines = []
    for word, branch in zip(["IF"] + ["ELSIF"] * len(s.branches), s.branches, strict=False):
        lines.append(f"{indent}{word} {write_expression(branch.condition)} THEN")
        lines += _body(branch.body, indent + _INDENT)
    return lines + _else(s.otherwise, indent) + [f"{indent}END_IF;"]


def _case(s: sx.Case, indent: str) -> list[str]:
    lines = [f"{indent}CASE {write_expression(s.selector)} OF"]
    for branch in s.branches:
        lines.append(f"{indent}{_INDENT}{', '.join(map(_label, branch.labels))}:")
        lines += _body(branch.body, indent + 2 * _INDENT)
    return lines + _else(s.otherwise, indent) + [f"{indent}END_CASE;"]


def _else(body: tuple[sx.Statement, ...], indent: str) -> list[str]:
    return [f"{indent}ELSE", *_body(body, indent + _INDENT)] if body else []


def _label(label: sx.Label) -> str:
    first = write_expression(label.first)
    return first if label.last is None else f"{first}..{write_expression(label.last)}"
