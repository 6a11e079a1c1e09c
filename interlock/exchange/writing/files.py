"""A project as one file of the open XML exchange format, version 2.01 of TC6."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import PurePath

from interlock.base.errors import Place
from interlock.exchange.files import ENDING
from interlock.exchange.known_types import KnownTypes
from interlock.exchange.writing.bodies import Bodies, BodyText
from interlock.exchange.writing.charts import ChartDrawing, named_transitions
from interlock.exchange.writing.declared import (
    can_be_said,
    data_type,
    refusal,
    sections,
    type_tag,
)
from interlock.exchange.writing.namespaces import names_of, without_namespaces
from interlock.exchange.writing.tags import Tag, document, documentation, formatted, tag
from interlock.st import syntax as sx
from interlock.st.comments import Source
from interlock.st.write import write_declarations

_KINDS = {
    "PROGRAM": "program",
    "FUNCTION_BLOCK": "functionBlock",
    # A class is a block without a body, and nothing else tells them apart.
    "CLASS": "functionBlock",
    "FUNCTION": "function",
}
_DATA = "urn:interlock:"


@dataclass
class Written:
    """A project that was written.

    Attributes
    ----------
    text : str
    told : list of (Place, str)
        What is text though it was to be drawn.
    losses : list of str
        What is not carried.
    """

    text: str
    told: list[tuple[Place, str]] = field(default_factory=list)
    losses: list[str] = field(default_factory=list)


def write_exchange(
    files: Sequence[sx.SourceFile],
    name: str,
    *,
    drawn: str = "",
    texts: Mapping[str, str] | None = None,
) -> Written:
    """A project as one file.

    Parameters
    ----------
    files : sequence of syntax.SourceFile
    name : str
        Of the project.
    drawn : str, optional
        ``ladder`` or ``blocks``: as what bodies are drawn where that means the same.
    texts : mapping of str to str, optional
        The texts that `files` were read from, in their order, by their names: their comments and
        the bodies that stay text are taken from there.

    Raises
    ------
    InputError
        With what the format has no word for.
    """
    return _Writer(files, drawn, texts or {}).write(name)


class _Writer:
    def __init__(
        self, files: Sequence[sx.SourceFile], drawn: str, texts: Mapping[str, str]
    ) -> None:
        self.written = Written("")
        if any(thing.namespace for thing in names_of(files)):
            self._lose("namespaces: each name stands by itself")
        files = without_namespaces(files)
        self._files = files
        self._drawn = drawn
        self._known = KnownTypes.of(files)
        self._sources: dict[str, Source] = {}
        plain = [(n, t) for n, t in texts.items() if PurePath(n).suffix.casefold() != ENDING]
        by_name = {PurePath(n).stem.casefold(): (n, t) for n, t in plain}
        for file in files:
            found = by_name.get(file.name.casefold())
            if found is not None:
                self._sources[found[0]] = Source(found[1], file)
        self._is_lost = len(plain) < len(texts)

    def write(self, name: str) -> Written:
        """The file."""
        types = [data_type(t, self._about) for file in self._files for t in file.types]
        units = [unit for file in self._files for unit in file.units]
        interfaces = [self._named_interface(unit) for unit in units if unit.kind == "INTERFACE"]
        pous = [self._unit(unit) for unit in units if unit.kind != "INTERFACE"]
        whole = document(
            name,
            "\n".join(line for source in self._sources.values() for line in source.last),
            tag("types", tag("dataTypes", *types), tag("pous", *pous)),
            tag("instances", tag("configurations", *self._configurations())),
            *([tag("addData", *interfaces)] if interfaces else []),
        )
        self.written.text = whole.write()
        if self._is_lost:
            self._lose("comments of what was read from the exchange format, or stands in text anew")
        return self.written

    def _lose(self, what: str) -> None:
        if what not in self.written.losses:
            self.written.losses.append(what)

    def _about(self, place: Place) -> list[str]:
        source = self._sources.get(place.file)
        return [] if source is None else source.about(place)

    # Units

    def _unit(self, unit: sx.Unit) -> Tag:
        if unit.words or any(method.words for method in unit.methods):
            self._lose("words of access such as PUBLIC and FINAL")
        if unit.kind == "CLASS":
            self._lose(f"that {unit.name} is a CLASS: it is a function block without a body")
        bodies = self._bodies(unit, self._drawn)
        actions = [
            tag("action", documentation(self._about(a.place)), bodies.body(a.body), name=a.name)
            for a in unit.actions
        ]
        for action in actions:
            # The schema has the documentation behind the body.
            action.inner.sort(key=lambda one: one.name == "documentation")
        transitions: list[Tag] = []
        if unit.chart is not None:
            body = tag("body", ChartDrawing(unit.chart).body())
            transitions = named_transitions(unit.chart)
        else:
            body = bodies.body(unit.body)
        actions += bodies.actions
        self._finish(bodies)
        data = [*self._inheritance(unit), *self._methods(unit)]
        return tag(
            "pou",
            self._interface(unit),
            tag("actions", *actions) if actions else None,
            tag("transitions", *transitions) if transitions else None,
            body,
            tag("addData", *data) if data else None,
            documentation(self._about(unit.place)),
            name=unit.name,
            pouType=_KINDS[unit.kind],
        )

    def _bodies(self, unit: sx.Unit, drawn: str) -> Bodies:
        source = self._sources.get(unit.place.file)
        text_of: BodyText | None = source.body if source is not None else None
        return Bodies(unit, self._known, drawn, self._about, text_of)

    def _finish(self, bodies: Bodies) -> None:
        self.written.told += bodies.told
        self._is_lost = self._is_lost or bodies.lost

    def _interface(self, unit: sx.Unit) -> Tag:
        if not can_be_said(unit.declarations):
            # The format has no word for some of it; so it stands as text beside an empty one.
            alone = "FUNCTION" if unit.kind in ("METHOD", "GET", "SET") else unit.kind
            head = replace(unit, kind=alone, extends="", implements=(), words=(), namespace="")
            text = write_declarations(head)
            inner = tag("InterfaceAsPlainText", formatted(text))
            return tag("interface", tag("addData", _data("interfaceasplaintext", inner)))
        returns = None
        if unit.returns is not None:
            returns = tag("returnType", type_tag(unit.returns))
        return tag("interface", returns, *sections(unit.declarations, self._about))

    def _named_interface(self, unit: sx.Unit) -> Tag:
        inner = tag(
            "Interface",
            self._interface(unit),
            tag("addData", *self._inheritance(unit), *self._methods(unit)),
            name=unit.name,
        )
        return _data("interface", inner)

    def _inheritance(self, unit: sx.Unit) -> list[Tag]:
        if not (unit.extends or unit.implements):
            return []
        inner = [tag("Extends", text=unit.extends)] if unit.extends else []
        inner += [tag("Implements", text=name) for name in unit.implements]
        return [_data("pouinheritance", tag("Inheritance", *inner))]

    def _methods(self, unit: sx.Unit) -> list[Tag]:
        found: list[Tag] = []
        properties: dict[str, list[sx.Unit]] = {}
        for method in unit.methods:
            if method.kind != "METHOD":
                properties.setdefault(method.name, []).append(method)
                continue
            whole = (self._interface(method), self._code(method))
            found.append(_data("method", tag("Method", *whole, name=method.name)))
        for name, parts in properties.items():
            first = parts[0]
            assert first.returns is not None, "a property has a type"
            returns = tag("interface", tag("returnType", type_tag(first.returns)))
            accessors = (
                tag(
                    f"{part.kind.title()}Accessor",
                    self._interface(replace(part, returns=None)),
                    self._code(part),
                )
                for part in parts
            )
            found.append(_data("property", tag("Property", returns, *accessors, name=name)))
        return found

    def _code(self, method: sx.Unit) -> Tag:
        # A method is text: drawn, it could not be told what its block's variables are.
        bodies = self._bodies(method, "")
        found = bodies.body(method.body)
        self._finish(bodies)
        return found

    # Instances

    def _configurations(self) -> list[Tag]:
        tasks = [task for file in self._files for task in file.tasks]
        instances = [one for file in self._files for one in file.instances]
        lists = [
            section
            for file in self._files
            for section in sections(file.globals, self._about, file.name)
        ]
        if not (tasks or instances or lists):
            return []
        for one in instances:
            if one.inputs or one.outputs:
                raise refusal(one.place, f"what is given to the program {one.name} is not written")
        within = [
            tag(
                "task",
                *(_instance(one) for one in instances if _is(one.task, task.name)),
                name=task.name,
                interval=None if task.interval_ms is None else f"T#{task.interval_ms}ms",
                priority=number,
            )
            for number, task in enumerate(tasks)
        ]
        names = [task.name for task in tasks]
        alone = [
            _instance(one) for one in instances if not any(_is(one.task, name) for name in names)
        ]
        resource = tag("resource", *within, *lists, *alone, name="Cpu")
        return [tag("configuration", resource, name="Plant")]


def _is(one: str, other: str) -> bool:
    return one.casefold() == other.casefold()


def _instance(one: sx.ProgramInstance) -> Tag:
    return tag("pouInstance", name=one.name, typeName=one.type_name)


def _data(name: str, inner: Tag) -> Tag:
    return tag("data", inner, name=_DATA + name, handleUnknown="implementation")
