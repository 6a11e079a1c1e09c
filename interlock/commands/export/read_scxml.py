"""State charts taken over as the plant of a model: flat machines of the W3C's SCXML.

Only what a plant can say is taken: states, and transitions on one event with a guard and one
target. Everything else is refused with its place, never silently left out.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from xml.parsers import expat

from interlock.base.errors import InputError, Mistake, MistakeList, Place, nearest
from interlock.model.files import read_text
from interlock.st.parser import parse_expression
from interlock.st.write import write_expression

NAMESPACE = "http://www.w3.org/2005/07/scxml"
# Attributes of other namespaces are allowed anywhere (section 3.1 of the recommendation).
OWN_NAMESPACE = "urn:interlock:model"
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*\Z")
_TOKEN = re.compile(
    r"\s*(?:(?P<in>In\(\s*['\"](?P<state>[\w.\-]+)['\"]\s*\))|(?P<word>[A-Za-z_][A-Za-z0-9_]*)"
    r"|(?P<number>\d+)|(?P<sign>&&|\|\||===|!==|==|!=|<=|>=|[!()<>+\-*/%]))"
)
_SIGNS = {"&&": "AND", "||": "OR", "!": "NOT", "==": "=", "===": "=", "!=": "<>", "!==": "<>"}
_SIGNS |= {"%": "MOD"}
_WORDS = {"true": "TRUE", "false": "FALSE"}


@dataclass
class Element:
    """An element of a document with its place; attributes by local name, own ones behind ``:``."""

    name: str
    attributes: dict[str, str]
    place: Place
    children: list[Element] = field(default_factory=list)


@dataclass(frozen=True)
class TakenMove:
    """A transition as a move."""

    source: str
    target: str
    event: str
    when: str | None
    by: str | None
    says: str | None
    also: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class TakenMachine:
    """A region as a machine."""

    name: str
    says: str | None
    states: tuple[str, ...]
    initial: str
    moves: tuple[TakenMove, ...]
    is_control: bool
    released: str | None = None


def read_scxml(file: Path) -> tuple[TakenMachine, ...]:
    """The machines of a chart.

    Raises
    ------
    InputError
        With everything that a plant cannot say, each with its place.
    """
    root = parse(read_text(file), str(file))
    return _Taker(root).machines()


def parse(text: str, file: str) -> Element:
    """The elements of a document.

    Raises
    ------
    InputError
        Where it is not well formed, or has a document type: that could define anything.
    """
    parser = expat.ParserCreate(namespace_separator=" ")
    top: list[Element] = []
    stack: list[Element] = []

    def here() -> Place:
        return Place(file, parser.CurrentLineNumber, parser.CurrentColumnNumber + 1)

    def start(name: str, attributes: dict[str, str]) -> None:
        space, _, local = name.rpartition(" ")
        own = {_local(key): value for key, value in attributes.items()}
        element = Element(local if space == NAMESPACE else f"{space}:{local}", own, here())
        (stack[-1].children if stack else top).append(element)
        stack.append(element)
        if len(stack) > 200:
            raise InputError([Mistake(element.place, "nested more than 200 levels deep")])

    def refuse(*_: object) -> None:
        raise InputError([Mistake(here(), "a document type is not supported in a chart")])

    parser.StartElementHandler = start
    parser.EndElementHandler = lambda _name: stack.pop()
    parser.StartDoctypeDeclHandler = refuse
    try:
        parser.Parse(text.encode("utf-8"), True)
    except expat.ExpatError as error:
        place = Place(file, error.lineno, error.offset + 1)
        raise InputError(
            [Mistake(place, f"not well-formed XML: {expat.ErrorString(error.code)}")]
        ) from None
    return top[0]


def _local(key: str) -> str:
    space, _, local = key.rpartition(" ")
    return local if not space else f":{local}" if space == OWN_NAMESPACE else f"{space}:{local}"


class _Taker:
    def __init__(self, root: Element) -> None:
        self.root = root
        self.mistakes = MistakeList()
        self._states: dict[str, tuple[str, str]] = {}

    def _add(self, element: Element, says: str) -> None:
        self.mistakes.append(Mistake(element.place, says))

    def machines(self) -> tuple[TakenMachine, ...]:
        if self.root.name != "scxml":
            said = f'expected <scxml xmlns="{NAMESPACE}">, not <{self.root.name}>'
            raise InputError([Mistake(self.root.place, said)])
        regions = list(self._regions())
        named = [(element, self._machine_name(element)) for element in regions]
        for element, name in named:
            for state in self._children(element, ("state", "final"), quiet=True):
                id_ = state.attributes.get("id", "")
                self._states[id_] = (name, self._state_name(state, name))
        found = [self._machine(element, name) for element, name in named]
        if self.mistakes:
            raise InputError(self.mistakes)
        return tuple(found)

    def _regions(self) -> Iterator[Element]:
        """The regions of one ``<parallel>``, or the chart itself where its states are flat."""
        below = [c for c in self.root.children if c.name not in ("datamodel",)]
        parallel = [c for c in below if c.name == "parallel"]
        if not parallel:
            yield self.root
            return
        for other in below:
            if other is not parallel[0]:
                self._add(other, f"<{other.name}> beside a <parallel> is not supported")
        for region in parallel[0].children:
            if region.name == "state":
                yield region
            else:
                self._add(region, f"<{region.name}> is no region of flat states")

    def _machine_name(self, element: Element) -> str:
        given = element.attributes.get("id") or element.attributes.get("name") or "machine"
        if not _NAME.match(given):
            self._add(element, f"'{given}' cannot name a machine: letters, digits and _ only")
        return given

    def _state_name(self, state: Element, machine: str) -> str:
        id_ = state.attributes.get("id", "")
        name = id_.removeprefix(f"{machine}.")
        if not _NAME.match(name):
            self._add(state, f"'{id_}' cannot name a state: letters, digits and _ only")
        return name

    def _children(self, element: Element, names: tuple[str, ...], quiet: bool) -> list[Element]:
        kept = []
        for child in element.children:
            if child.name in names:
                kept.append(child)
            elif not quiet and child.name != "datamodel":
                said = (
                    f"<{child.name}> is not supported: only flat states and their transitions are"
                )
                self._add(child, said)
        return kept

    def _machine(self, element: Element, name: str) -> TakenMachine:
        states = self._children(element, ("state", "final"), quiet=False)
        names = [self._state_name_of(state) for state in states]
        if not states:
            self._add(element, f"'{name}' has no states")
        moves = [move for state in states for move in self._moves(state, name)]
        given = element.attributes
        return TakenMachine(
            name,
            given.get(":says"),
            tuple(names),
            self._initial(element, name, states),
            tuple(moves),
            given.get(":control") == "true",
            given.get(":released"),
        )

    def _initial(self, element: Element, name: str, states: list[Element]) -> str:
        """The state that the chart begins in; the first one where it does not say."""
        given = element.attributes.get("initial")
        if given is None or not states:
            return self._state_name_of(states[0]) if states else ""
        machine, state = self._states.get(given, ("", ""))
        if machine != name:
            known = [found.attributes.get("id", "") for found in states]
            said = f"initial: '{given}' is not one of its states{nearest(given, known)}"
            self._add(element, said)
        return state

    def _state_name_of(self, state: Element) -> str:
        return self._states.get(state.attributes.get("id", ""), ("", "?"))[1]

    def _moves(self, state: Element, machine: str) -> Iterator[TakenMove]:
        for transition in self._children(state, ("transition",), quiet=False):
            move = self._move(transition, state, machine)
            if move is not None:
                yield move

    def _move(self, element: Element, state: Element, machine: str) -> TakenMove | None:
        given = element.attributes
        target, event = given.get("target", ""), given.get("event", "")
        if event == f"follow.{target}":
            return None  # how a chart of interlock's own lets one machine carry another along
        also = self._also(element)
        if also is None:
            return None
        if len(target.split()) != 1 or self._states.get(target, ("", ""))[0] != machine:
            known = [id_ for id_, (name, _) in self._states.items() if name == machine]
            self._add(
                element, f"target: '{target}' is not one state of {machine}{nearest(target, known)}"
            )
            return None
        if len(event.split()) != 1 or "*" in event:
            self._add(
                element, "a transition needs one event, without *: it becomes the move's name"
            )
            return None
        when = None
        if "cond" in given:
            when = self._guard(given["cond"], element)
            if when is None:
                return None
        return TakenMove(
            self._state_name_of(state),
            self._states[target][1],
            event,
            when,
            given.get(":by"),
            given.get(":says"),
            also,
        )

    def _also(self, element: Element) -> tuple[tuple[str, str], ...] | None:
        """The machines that a transition carries along, each with its new state."""
        found: dict[str, list[tuple[str | None, str]]] = {}
        for child in element.children:
            inner = child.children[0] if child.name == "if" and len(child.children) == 1 else child
            event = inner.attributes.get("event", "").removeprefix("follow.")
            if inner.name != "raise" or inner.children or event not in self._states:
                said = "executable content is not supported: what else changes is 'also' in a model"
                self._add(child, said)
                return None
            when = None
            if inner is not child:
                when = self._guard(child.attributes.get("cond", ""), child)
                if when is None:
                    return None
            machine, state = self._states[event]
            found.setdefault(machine, []).append((when, state))
        return tuple((machine, _chosen(cases)) for machine, cases in found.items())

    def _guard(self, cond: str, element: Element) -> str | None:
        """A guard in ECMAScript as Structured Text; the signs that both have, and ``In()``."""
        at, parts = 0, []
        while at < len(cond.rstrip()):
            found = _TOKEN.match(cond, at)
            if found is None:
                self._add(element, f"cond: cannot be read from '{cond[at : at + 20].strip()}' on")
                return None
            parts.append(self._part(found, element))
            at = found.end()
        if "" in parts:
            return None
        try:
            tree = parse_expression(" ".join(parts), locate=lambda _offset: element.place)
        except InputError:
            self._add(element, f"cond: '{cond}' is no expression over In(), names and && || !")
            return None
        return write_expression(tree)

    def _part(self, found: re.Match[str], element: Element) -> str:
        if found["in"]:
            if found["state"] not in self._states:
                known = list(self._states)
                self._add(
                    element, f"In: '{found['state']}' is no state{nearest(found['state'], known)}"
                )
                return ""
            machine, state = self._states[found["state"]]
            if (state, found["state"]) == ("TRUE", f"{machine}.TRUE"):
                return machine
            return f"({machine} = {state})"
        if found["word"]:
            return _WORDS.get(found["word"], found["word"])
        return found["number"] or _SIGNS.get(found["sign"], found["sign"])


def _chosen(cases: list[tuple[str | None, str]]) -> str:
    """One expression for states under conditions of which one always holds."""
    *first, (_, value) = cases
    for when, state in reversed(first):
        value = f"SEL({when}, {value}, {state})" if when is not None else state
    return value


def to_yaml(machines: tuple[TakenMachine, ...], quoted: Callable[[str], str]) -> str:
    """The machines as the ``plant`` and ``controls`` of a model file.

    Parameters
    ----------
    machines : tuple of TakenMachine
    quoted : callable
        Writes a text as a YAML scalar.
    """
    lines: list[str] = []
    plant = [m for m in machines if not m.is_control]
    controls = [m for m in machines if m.is_control]
    if plant:
        lines.append("plant:")
    for machine in plant:
        lines.append(f"  {machine.name}:")
        if machine.says:
            lines.append(f"    says: {quoted(machine.says)}")
        lines.append(f"    states: [{', '.join(quoted(s) for s in machine.states)}]")
        if machine.initial != machine.states[0]:
            lines.append(f"    initial: {quoted(machine.initial)}")
        if machine.moves:
            lines.append("    moves:")
        lines += [f"      - {_move_yaml(move, quoted)}" for move in machine.moves]
    if controls:
        lines.append("controls:")
    for machine in controls:
        lines.append(f"  {machine.name}: {{{', '.join(_control_yaml(machine, quoted))}}}")
    return "\n".join(lines) + "\n"


def _control_yaml(machine: TakenMachine, quoted: Callable[[str], str]) -> Iterator[str]:
    if machine.says:
        yield f"says: {quoted(machine.says)}"
    if set(machine.states) != {"FALSE", "TRUE"}:
        yield f"positions: [{', '.join(map(quoted, machine.states))}]"
        if machine.initial != machine.states[0]:
            yield f"initial: {quoted(machine.initial)}"
        if machine.released is not None:
            yield f"released: {quoted(machine.released)}"
    if any(move.by == "driver" for move in machine.moves):
        yield "by: driver"
    guards = {move.when for move in machine.moves}
    if len(guards) == 1 and (guard := next(iter(guards))) is not None:
        yield f"when: {quoted(guard)}"


def _move_yaml(move: TakenMove, quoted: Callable[[str], str]) -> str:
    parts = [f"from: {quoted(move.source)}", f"to: {quoted(move.target)}"]
    if move.when is not None:
        parts.append(f"when: {quoted(move.when)}")
    if move.by in ("operator", "driver", "human"):
        parts.append(f"by: {move.by}")
    if move.also:
        also = ", ".join(f"{name}: {quoted(value)}" for name, value in move.also)
        parts.append(f"also: {{{also}}}")
    parts.append(f"name: {quoted(move.event)}")
    if move.says:
        parts.append(f"says: {quoted(move.says)}")
    return "{" + ", ".join(parts) + "}"
