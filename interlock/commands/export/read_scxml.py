"""State charts taken over as the plant of a model: flat machines of the W3C's SCXML.

Only what a plant can say is taken: states, and transitions on one event with a guard and one
target. Everything else is refused with its place, never silently left out. Of two transitions of
one state that an event could take, the first in the document does (W3C, section 3.13), so the
guard of the second says that that of the first does not hold.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from interlock.base.errors import InputError, Mistake, MistakeList, nearest
from interlock.commands.export.ecmascript import GuardReader, NoGuardError
from interlock.commands.export.xml_elements import NAMESPACE, Element, parse
from interlock.model.durations import GOES_ON, INTERRUPTED, STARTS_AGAIN
from interlock.model.files import read_text
from interlock.model.names import is_reserved

_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*\Z")
_EVENT = re.compile(r"[^\s.*]+(\.[^\s.*]+)*\Z")
# What a chart raises by itself (section 5.10.1), nobody makes.
_RAISED = ("done", "error")
_PEOPLE = ("operator", "driver")
_BOOL = {"FALSE", "TRUE"}


@dataclass(frozen=True)
class TakenDuration:
    """How long a move takes: least and greatest seconds, and where that comes from."""

    least: float
    greatest: float
    source: str | None
    assumed: bool
    goes_on: bool = False


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
    takes: TakenDuration | None = None


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


@dataclass(frozen=True)
class _Region:
    """One machine's element, with the names that it and its states get."""

    element: Element
    name: str
    is_control: bool
    states: tuple[Element, ...]

    @property
    def is_bool(self) -> bool:
        """A control that is pressed or not; only our own charts mark controls."""
        short = {s.attributes.get("id", "").removeprefix(f"{self.name}.") for s in self.states}
        return self.is_control and short == _BOOL


@dataclass(frozen=True)
class _Taken:
    """A transition that was taken, with its element."""

    move: TakenMove
    region: _Region
    element: Element


class _Taker:
    def __init__(self, root: Element) -> None:
        self.root = root
        self.mistakes = MistakeList()
        self._states: dict[str, tuple[str, str]] = {}
        self._guards = GuardReader({})

    def _add(self, element: Element, says: str) -> None:
        self.mistakes.append(Mistake(element.place, says))

    def machines(self) -> tuple[TakenMachine, ...]:
        if self.root.name != "scxml":
            said = f'expected <scxml xmlns="{NAMESPACE}">, not <{self.root.name}>'
            raise InputError([Mistake(self.root.place, said)])
        language = self.root.attributes.get("datamodel", "ecmascript")
        if language not in ("ecmascript", "null"):
            self._add(self.root, f"guards in '{language[:40]}' cannot be read, only ECMAScript")
        regions = [self._region(element) for element in self._regions()]
        for region in regions:
            self._name_states(region)
        self._guards = GuardReader(self._asked(regions))
        taken = [one for region in regions for one in self._transitions(region)]
        self._check_events(taken)
        found = [self._machine(region, taken) for region in regions]
        if self.mistakes:
            raise InputError(self.mistakes)
        return tuple(found)

    # Regions and states.

    def _regions(self) -> Iterator[Element]:
        """The regions of one ``<parallel>``, or the chart itself where its states are flat."""
        below = [c for c in self.root.children if c.name not in ("datamodel",)]
        parallel = [c for c in below if c.name == "parallel"]
        if not parallel:
            yield self.root
            return
        initial = self.root.attributes.get("initial")
        if initial is not None and initial != parallel[0].attributes.get("id"):
            said = "initial: above a <parallel> it would begin regions in other states than theirs"
            self._add(self.root, said)
        for other in below:
            if other is not parallel[0]:
                self._add(other, f"<{other.name}> beside a <parallel> is not supported")
        for region in parallel[0].children:
            if region.name == "state":
                yield region
            else:
                self._add(region, f"<{region.name}> is no region of flat states")

    def _region(self, element: Element) -> _Region:
        name = element.attributes.get("id") or element.attributes.get("name") or "machine"
        if not _NAME.match(name):
            self._add(element, f"'{name}' cannot name a machine: letters, digits and _ only")
        elif is_reserved(name):
            self._add(element, f"'{name}' is a reserved word and cannot name a machine")
        states = tuple(self._children(element, ("state", "final")))
        if not states:
            self._add(element, f"'{name}' has no states")
        return _Region(element, name, element.attributes.get(":control") == "true", states)

    def _name_states(self, region: _Region) -> None:
        for state in region.states:
            id_ = state.attributes.get("id", "")
            name = id_.removeprefix(f"{region.name}.")
            if not _NAME.match(name):
                self._add(state, f"'{id_}' cannot name a state: letters, digits and _ only")
            elif is_reserved(name) and not region.is_bool:
                self._add(state, f"'{name}' is a reserved word and cannot name a state")
            if id_ in self._states:
                self._add(state, f"'{id_}' is the id of two states")
            self._states[id_] = (region.name, name)

    def _asked(self, regions: list[_Region]) -> dict[str, str]:
        """What asks for each state, as Structured Text."""
        pressed = {region.name for region in regions if region.is_bool}
        found = {}
        for id_, (machine, state) in self._states.items():
            found[id_] = f"({machine} = {state})"
            if machine in pressed:
                found[id_] = machine if state == "TRUE" else f"NOT {machine}"
        return found

    def _children(self, element: Element, names: tuple[str, ...]) -> Iterator[Element]:
        for child in element.children:
            if child.name in names:
                yield child
            elif child.name != "datamodel":
                said = (
                    f"<{child.name}> is not supported: only flat states and their transitions are"
                )
                self._add(child, said)

    def _state_name_of(self, state: Element) -> str:
        return self._states.get(state.attributes.get("id", ""), ("", "?"))[1]

    def _initial(self, region: _Region) -> str:
        """The state that the region begins in; the first one where it does not say."""
        given = region.element.attributes.get("initial")
        if given is None or not region.states:
            return self._state_name_of(region.states[0]) if region.states else ""
        machine, state = self._states.get(given, ("", ""))
        if machine != region.name:
            known = [found.attributes.get("id", "") for found in region.states]
            said = f"initial: '{given}' is not one of its states{nearest(given, known)}"
            self._add(region.element, said)
        return state

    def _machine(self, region: _Region, taken: list[_Taken]) -> TakenMachine:
        given = region.element.attributes
        moves = tuple(one.move for one in taken if one.region is region)
        names = tuple(self._state_name_of(state) for state in region.states)
        released = given.get(":released")
        if region.is_control:
            self._check_control(region, moves, names)
            if released is not None and released not in names:
                self._add(region.element, f"released: '{released}' is not one of its states")
        return TakenMachine(
            region.name,
            given.get(":says"),
            names,
            self._initial(region),
            moves,
            region.is_control,
            released,
        )

    def _check_control(
        self, region: _Region, moves: tuple[TakenMove, ...], names: tuple[str, ...]
    ) -> None:
        """A control can be set from any position to any other, under one condition, by one."""
        pairs = sorted((move.source, move.target) for move in moves)
        wanted = sorted((a, b) for a in names for b in names if a != b)
        alike = {(move.when, move.by) for move in moves}
        plain = all(not move.also and move.takes is None for move in moves)
        if pairs != wanted or len(alike) > 1 or not plain or (moves and moves[0].by not in _PEOPLE):
            said = (
                f"{region.name} is marked as a control, but cannot be set by one person from every "
                "position to every other under one condition; without the mark it is a machine"
            )
            self._add(region.element, said)

    # Transitions.

    def _transitions(self, region: _Region) -> Iterator[_Taken]:
        for state in region.states:
            earlier: list[TakenMove] = []
            for element in self._children(state, ("transition",)):
                if element.attributes.get(":follows") == "true":
                    continue  # how a chart of interlock's own lets one machine carry another along
                move = self._move(element, state, region)
                if move is None:
                    continue
                yield _Taken(self._after(earlier, move, element), region, element)
                earlier.append(move)

    def _after(self, earlier: list[TakenMove], move: TakenMove, element: Element) -> TakenMove:
        """The move where no earlier one of the same state takes the event."""
        before = [other for other in earlier if _takes(other.event, move.event)]
        if not before:
            return move
        if any(other.when is None for other in before):
            self._add(element, f"never taken: an earlier transition takes every '{move.event}'")
            return move
        parts = [f"NOT ({other.when})" for other in before]
        parts += [] if move.when is None else [f"({move.when})"]
        return replace(move, when=" AND ".join(parts))

    def _move(self, element: Element, state: Element, region: _Region) -> TakenMove | None:
        given = element.attributes
        target, event, by = given.get("target", ""), given.get("event", ""), given.get(":by")
        also = self._also(element, region)
        if also is None:
            return None
        if len(target.split()) != 1 or self._states.get(target, ("", ""))[0] != region.name:
            known = [id_ for id_, (name, _) in self._states.items() if name == region.name]
            said = f"target: '{target}' is not one state of {region.name}{nearest(target, known)}"
            self._add(element, said)
            return None
        said = ""
        if not _EVENT.match(event):
            said = "a transition needs one event, without *: it becomes the move's name"
        elif event.partition(".")[0] in _RAISED:
            said = f"'{event}' is raised by a chart itself, which is no move"
        elif by not in (None, "plant", "human", *_PEOPLE):
            said = f"'{by}' is nobody who makes moves"
        if said:
            self._add(element, said)
            return None
        when = None
        if "cond" in given:
            when = self._guard(given["cond"], element)
            if when is None:
                return None
        source, to = self._state_name_of(state), self._states[target][1]
        takes = self._duration(element)
        return TakenMove(source, to, event, when, by, given.get(":says"), also, takes)

    def _duration(self, element: Element) -> TakenDuration | None:
        given = element.attributes
        broken = given.get(":interrupted", STARTS_AGAIN)
        if broken not in INTERRUPTED:
            # Taken for the other it would let less happen than was meant.
            known = " or ".join(f"'{way}'" for way in INTERRUPTED)
            self._add(element, f"interrupted: '{broken[:40]}' is not {known}")
            return None
        if ":seconds" not in given:
            if ":interrupted" in given:
                self._add(element, "interrupted: only what takes seconds can be")
            return None
        try:
            least, greatest = map(float, given[":seconds"].split())
        except ValueError:
            self._add(element, f"seconds: '{given[':seconds'][:40]}' is not two numbers")
            return None
        is_assumed = given.get(":assumed") == "true"
        goes_on = broken == GOES_ON
        return TakenDuration(least, greatest, given.get(":source"), is_assumed, goes_on)

    def _check_events(self, taken: list[_Taken]) -> None:
        """One event makes a transition of every region that has one for it, all at once."""
        for number, one in enumerate(taken):
            for other in taken[:number]:
                if other.region is one.region:
                    continue
                events = (other.move.event, one.move.event)
                if _takes(*events) or _takes(*reversed(events)):
                    said = (
                        f"'{one.move.event}' moves {other.region.name} in the same instant, and "
                        "moves of a plant are made one by one; give it an event of its own"
                    )
                    self._add(one.element, said)
                    break

    def _also(self, element: Element, region: _Region) -> tuple[tuple[str, str], ...] | None:
        """The machines that a transition carries along, each with its new state."""
        found: dict[str, list[tuple[str | None, str]]] = {}
        for child in element.children:
            inner = child.children[0] if child.name == "if" and len(child.children) == 1 else child
            event = inner.attributes.get("event", "").removeprefix("follow.")
            raised = inner.name == "raise" and not inner.children
            if not raised or event not in self._states or not self._is_followed(event):
                said = "executable content is not supported: what else changes is 'also' in a model"
                self._add(child, said)
                return None
            when = None
            if inner is not child:
                when = self._guard(child.attributes.get("cond", ""), child)
                if when is None:
                    return None
            machine, state = self._states[event]
            if machine == region.name:
                self._add(child, "a machine cannot carry itself along")
                return None
            found.setdefault(machine, []).append((when, state))
        return tuple((machine, _chosen(machine, cases)) for machine, cases in found.items())

    def _is_followed(self, target: str) -> bool:
        """Whether every other state of the target's region goes there when it is called."""
        machine = self._states[target][0]
        followers = {
            state.attributes.get("id")
            for region in self._followable
            for state in region.children
            for t in state.children
            if t.attributes.get(":follows") == "true"
            and "cond" not in t.attributes
            and t.attributes.get("event") == f"follow.{target}"
            and t.attributes.get("target") == target
        }
        others = {id_ for id_, (name, _) in self._states.items() if name == machine} - {target}
        return others <= followers

    @property
    def _followable(self) -> list[Element]:
        return [c for p in self.root.children if p.name == "parallel" for c in p.children]

    def _guard(self, cond: str, element: Element) -> str | None:
        try:
            return self._guards.read(cond, element.place)
        except NoGuardError as reason:
            self._add(element, f"cond: {reason}")
            return None


def _takes(descriptor: str, event: str) -> bool:
    """Whether a transition on `descriptor` is taken by `event` (W3C, section 3.12.1)."""
    return event == descriptor or event.startswith(f"{descriptor}.")


def _chosen(machine: str, cases: list[tuple[str | None, str]]) -> str:
    """One expression for the state in which a machine ends; the last condition that holds counts.

    Where none does, the machine stays; of two that are opposite, one always holds.
    """
    if len(cases) == 2:
        (one, first), (other, second) = cases
        if other == f"NOT ({one})":
            return f"SEL({one}, {second}, {first})"
        if one == f"NOT ({other})":
            return f"SEL({other}, {first}, {second})"
    value = machine
    for when, state in cases:
        value = state if when is None else f"SEL({when}, {value}, {state})"
    return value
