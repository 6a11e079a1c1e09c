"""Programs, function blocks and functions of a file: first what they declare, then their code."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from interlock.base.errors import InputError, MistakeList, nearest
from interlock.exchange.additional import Additional, assignments_in
from interlock.exchange.bodies import LANGUAGES, language_of, statements_in
from interlock.exchange.charts import read_chart
from interlock.exchange.declarations import SECTIONS, declarations, type_of
from interlock.exchange.elements import Element, Text
from interlock.exchange.known_types import KnownTypes, Scope, by_name
from interlock.exchange.making import Making
from interlock.exchange.nodes import read_drawn
from interlock.st import syntax as sx
from interlock.st.parser import parse_units

_KINDS = {"program": "PROGRAM", "functionblock": "FUNCTION_BLOCK", "function": "FUNCTION"}
_CODE = ("body", "actions", "transitions")


@dataclass
class Head:
    """A unit whose code is not read yet.

    Attributes
    ----------
    unit : syntax.Unit
        With its declarations, and its methods without their code.
    element : Element
    methods : list of Head
    """

    unit: sx.Unit
    element: Element
    methods: list[Head] = field(default_factory=list)

    @property
    def says(self) -> str:
        """What places in it name it."""
        return f"{self.unit.kind} {self.unit.name}"


def read_head(element: Element, additional: Additional) -> Head:
    """What a ``pou`` declares.

    Raises
    ------
    InputError
    """
    name = element.get("name")
    if not name:
        element.refuse("a pou needs a name")
    given = element.get("pouType")
    kind = _KINDS.get(given.casefold())
    if kind is None:
        says = f"pouType is one of program, functionBlock, function; not '{given[:40]}'"
        element.refuse(says + nearest(given[:40], ("program", "functionBlock", "function")))
    return _head(element, kind, name, additional)


def read_interface(element: Element, additional: Additional) -> Head:
    """What an INTERFACE declares.

    Raises
    ------
    InputError
    """
    return _head(element, "INTERFACE", element.get("name"), additional)


def _head(element: Element, kind: str, name: str, additional: Additional) -> Head:
    element.stand_in(f"{kind} {name}")
    declared, returns, extends, implements = _interface(element, additional)
    methods = []
    for data in additional.data(element, "method"):
        for inner in data.children:
            if not inner.get("name"):
                inner.refuse("a method needs a name")
            methods.append(_head(inner, "METHOD", inner.get("name"), additional))
    for data in additional.data(element, "property"):
        for inner in data.children:
            methods += _property(inner, additional)
    unit = sx.Unit(
        kind,
        name,
        tuple(declared),
        (),
        element.place,
        returns=returns,
        methods=tuple(one.unit for one in methods),
        extends=extends,
        implements=implements,
    )
    return Head(unit, element, methods)


def _property(element: Element, additional: Additional) -> list[Head]:
    """The GET and SET of a property."""
    name = element.get("name")
    _, returns, _, _ = _interface(element, additional)
    found = []
    for inner in element.children:
        kind = {"get": "GET", "set": "SET"}.get(inner.name.casefold()[:3])
        if kind is None:
            continue
        head = _head(inner, kind, name, additional)
        head.unit = replace(head.unit, returns=head.unit.returns or returns)
        found.append(head)
    if not name or not found or any(head.unit.returns is None for head in found):
        element.refuse("a property needs a name, a type, and a GET or a SET")
    return found


def _interface(
    element: Element, additional: Additional
) -> tuple[list[sx.Declaration], sx.TypeRef | None, str, tuple[str, ...]]:
    """Declarations, type of the result, base and interfaces of a unit."""
    interface = element.first("interface")
    declared: list[sx.Declaration] = []
    returns = None
    extends, implements = _inheritance(element, additional)
    if interface is None:
        return declared, returns, extends, implements
    result = interface.first("returnType")
    if result is not None and result.children:
        returns = type_of(result)
    for section in interface.children:
        if section.name in SECTIONS:
            declared += with_assignments(section, declarations(section), additional)
    if not extends and not implements:
        extends, implements = _inheritance(interface, additional)
    if declared or returns is not None:
        return declared, returns, extends, implements
    for data in additional.data(interface, "interfaceasplaintext"):
        unit = _declared_in_text(data, additional)
        if unit is not None:
            extends, implements = extends or unit.extends, implements or unit.implements
            return list(unit.declarations), unit.returns, extends, implements
    return declared, returns, extends, implements


def with_assignments(
    section: Element, declared: list[sx.Declaration], additional: Additional
) -> list[sx.Declaration]:
    """Declarations with the values that additional data give the inputs of instances.

    Raises
    ------
    InputError
    """
    found = []
    for declaration, variable in zip(declared, section.all("variable"), strict=True):
        for data in additional.data(variable, "inputassignments"):
            given = assignments_in(data)
            if given and declaration.initial is None:
                value = sx.StructValue(given, data.place)
                declaration = replace(declaration, initial=value)
        found.append(declaration)
    return found


def _inheritance(element: Element, additional: Additional) -> tuple[str, tuple[str, ...]]:
    extends, implements = "", []
    for data in additional.data(element, "pouinheritance", "inheritance"):
        for part in data.walk():
            if part.name.casefold() == "extends":
                extends = part.get("name") or Text(part).text.strip()
            elif part.name.casefold() in ("implements", "implement"):
                words = part.get("name") or Text(part).text
                implements += [word.strip() for word in words.split(",") if word.strip()]
    return extends, tuple(implements)


def _declared_in_text(data: Element, additional: Additional) -> sx.Unit | None:
    text = Text(data)
    if not text.text.strip():
        return None
    found = parse_units(text.text, text.locate, "declarations")
    additional.notes += [n for n in found.notes if "is missing" not in n.says]
    return found.units[0] if found.units else None


# Code


def complete(head: Head, known: KnownTypes, notes: list[sx.Note]) -> sx.Unit:
    """A unit with its code.

    Raises
    ------
    InputError
        With every mistake that was found in it.
    """
    mistakes = MistakeList()
    unit, element = head.unit, head.element
    action_elements = list(_parts_of(element, "actions", "action"))
    making = Making(
        head.says,
        Scope(known, variables_of(unit, known)),
        unit.declarations,
        remembers=unit.kind not in ("FUNCTION", "METHOD", "GET", "SET"),
        actions=frozenset(a.get("name").casefold() for a in action_elements),
        notes=notes,
    )
    making.taken |= {method.unit.name.casefold() for method in head.methods}
    making.taken |= {node.get("name").casefold() for node in element.walk() if node.name == "step"}
    actions = []
    for action in action_elements:
        try:
            actions.append(_action(action, making))
        except InputError as error:
            mistakes.extend(error.mistakes)
    methods = []
    for inner in head.methods:
        try:
            methods.append(complete(inner, _within(known, unit), notes))
        except InputError as error:
            mistakes.extend(error.mistakes)
    chart: sx.Chart | None = None
    body: tuple[sx.Statement, ...] = ()
    try:
        chart, body, more = _code(element, making)
        actions += more
    except InputError as error:
        mistakes.extend(error.mistakes)
    if mistakes:
        raise InputError(mistakes)
    return replace(
        unit,
        declarations=(*unit.declarations, *making.made, *making.temporaries),
        body=body,
        actions=tuple(actions),
        methods=(*methods, *making.methods),
        chart=chart,
    )


def variables_of(unit: sx.Unit, known: KnownTypes) -> dict[str, sx.TypeRef]:
    """The types of what may be named in a unit: its own variables and those of its bases."""
    found = by_name(unit.declarations)
    if unit.returns is not None:
        found.setdefault(unit.name.casefold(), unit.returns)
    seen = set()
    while unit.extends and unit.extends.casefold() not in seen:
        seen.add(unit.extends.casefold())
        base = known.units.get(unit.extends.casefold())
        if base is None:
            break
        found = by_name(base.declarations) | found
        unit = base
    return found


def _within(known: KnownTypes, owner: sx.Unit) -> KnownTypes:
    """What is known in the code of a method: variables of its owner as well."""
    return replace(known, globals=known.globals | variables_of(owner, known))


def _parts_of(element: Element, group: str, part: str) -> Iterator[Element]:
    for holder in element.all(group):
        for found in holder.all(part):
            if not found.get("name"):
                found.refuse(f"{part} needs a name")
            yield found


def _action(element: Element, making: Making) -> sx.Action:
    holder = element.first("body") or element
    name = element.get("name")
    return sx.Action(name, statements_in(holder, making, f"the action {name}"), element.place)


def _code(
    element: Element, making: Making
) -> tuple[sx.Chart | None, tuple[sx.Statement, ...], tuple[sx.Action, ...]]:
    conditions = {
        t.get("name").casefold(): t for t in _parts_of(element, "transitions", "transition")
    }
    bodies = element.all("body")
    codes = [code for code in map(_code_of, bodies) if code is not None]
    if not any(code.name == "SFC" for code in codes):
        statements: list[sx.Statement] = []
        for body in bodies:
            statements += statements_in(body, making, making.unit)
        return None, tuple(statements), ()
    if len(codes) > 1:
        codes[1].refuse("a unit has one chart or other bodies, not both")
    drawn = read_drawn(codes[0], making.unit, making.notes)
    chart = read_chart(drawn, conditions, making, codes[0])
    return chart.chart, (), chart.actions


def _code_of(body: Element) -> Element | None:
    """The element that holds a body's code, where it holds any."""
    code = language_of(body)
    if code is None and any(data.children for data in body.all("addData")):
        says = f"this body is in no language that is read: {', '.join(LANGUAGES[:4])}"
        body.refuse(says)
    if code is None or not (code.children or Text(code).text.strip()):
        return None
    return code
