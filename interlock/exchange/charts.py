"""Sequential function charts: steps, transitions from steps to steps, and actions."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from interlock.base.errors import InputError, Mistake, MistakeList, nearest
from interlock.exchange.bodies import condition_from, method, statements_in
from interlock.exchange.elements import Element
from interlock.exchange.logic import condition_of
from interlock.exchange.making import Making
from interlock.exchange.nodes import CHART, Drawn, Node, Pin
from interlock.exchange.texts import expression_of
from interlock.st import syntax as sx
from interlock.st.parser import parse_expression

_BARE_TIME = re.compile(r"[\d_.]+(ms|s|m|h|d)[\w.]*", re.IGNORECASE)
# What a simultaneous line joins and a selection divides multiplies.
_MOST_ENDS = 20_000
_DIVIDES = frozenset(("selectionDivergence", "simultaneousDivergence"))


@dataclass
class Chart:
    """A chart that was read.

    Attributes
    ----------
    chart : syntax.Chart
    actions : tuple of syntax.Action
        Those that stand in the chart itself.
    """

    chart: sx.Chart
    actions: tuple[sx.Action, ...]


def read_chart(
    drawn: Drawn, conditions: Mapping[str, Element], making: Making, place: Element
) -> Chart:
    """Read the chart of a unit.

    Parameters
    ----------
    drawn : Drawn
    conditions : mapping of str to Element
        The transitions with a body of their own, by their casefolded names.
    making : Making
    place : Element
        Where the chart stands.

    Raises
    ------
    InputError
        With every transition that leads nowhere, and the like.
    """
    return _Reader(drawn, conditions, making, place).read()


def _turn(step: Node) -> tuple[bool, int, float, float, int]:
    """Where in the order of steps one stands: by number where it has one, else by its place."""
    return (step.order is None, step.order or 0, *step.at, step.number)


@dataclass
class _Reader:
    drawn: Drawn
    conditions: Mapping[str, Element]
    making: Making
    place: Element
    after: dict[int, list[Node]] = field(default_factory=dict)
    steps: dict[str, Node] = field(default_factory=dict)
    actions: list[sx.Action] = field(default_factory=list)
    named: dict[str, sx.Expression] = field(default_factory=dict)
    mistakes: MistakeList = field(default_factory=MistakeList)
    n_ends: int = 0

    def read(self) -> Chart:
        """The chart."""
        self._find_steps()
        for node in self.drawn.nodes:
            if node.kind in CHART:
                for pin in node.pins:
                    for source, _ in pin.sources:
                        self.after.setdefault(id(source), []).append(node)
        if self.mistakes:
            raise InputError(self.mistakes)
        self._refuse_loose_logic()
        uses = self._uses()
        steps = [
            sx.Step(n.element.get("name"), n.element.is_true("initialStep"), uses[id(n)], n.place)
            for n in sorted(self.steps.values(), key=_turn)
        ]
        transitions = []
        # Of several branches the leftmost comes first.
        for node in sorted(self._all("transition"), key=lambda n: (n.at[1], n.at[0], n.number)):
            try:
                transitions.append(self._transition(node))
            except InputError as error:
                self.mistakes.extend(error.mistakes)
        if self.mistakes:
            raise InputError(self.mistakes)
        if not any(step.initial for step in steps):
            self.place.refuse("this chart has no initial step")
        chart = sx.Chart(tuple(steps), tuple(transitions), self.place.place)
        return Chart(chart, tuple(self.actions))

    def _all(self, *kinds: str) -> list[Node]:
        return [node for node in self.drawn.nodes if node.kind in kinds]

    def _find_steps(self) -> None:
        for node in self._all("macroStep"):
            says = "a macro step is not read; draw its steps in the chart itself"
            self.mistakes.append(Mistake(node.place, says))
        for node in self._all("step"):
            name = node.element.get("name")
            if not name:
                self.mistakes.append(Mistake(node.place, "a step needs a name"))
            elif self.steps.setdefault(name.casefold(), node) is not node:
                self.mistakes.append(Mistake(node.place, f"two steps are called '{name}'"))

    def _refuse_loose_logic(self) -> None:
        """What is drawn in a chart and acts, though no transition asks for it, has no turn."""
        for node in self._all("coil", "outVariable", "jump", "return", "label"):
            says = f"a {node.kind} in a chart belongs to no step; put it into an action"
            self.mistakes.append(Mistake(node.place, says))

    # Transitions

    def _transition(self, node: Node) -> sx.Transition:
        sources = self._before(node)
        targets = self._targets(node)
        for found, word in ((sources, "no step leads to it"), (targets, "it leads to no step")):
            if not found:
                raise node.refuse(word)
        self.n_ends += len(sources) + len(targets)
        if self.n_ends > _MOST_ENDS:
            raise node.refuse(f"more than {_MOST_ENDS:,} lines between steps and transitions")
        priority = node.element.get("priority")
        if priority and not priority.isdecimal():
            raise node.refuse(f"a priority is a whole number, not '{priority[:40]}'")
        return sx.Transition(
            "",
            tuple(sx.Name(step.element.get("name"), node.place) for step in sources),
            tuple(sx.Name(step.element.get("name"), node.place) for step in targets),
            self._condition(node),
            int(priority) if priority else None,
            node.place,
        )

    def _before(self, transition: Node) -> list[Node]:
        """The steps that must be active for a transition."""
        found: list[Node] = []
        seen = {id(transition)}
        waiting = [(transition, False)]
        while waiting:
            node, may_join = waiting.pop()
            sources = [source for pin in node.pins for source, _ in pin.sources]
            if len(sources) > 1 and not may_join:
                raise node.refuse("several lines lead to it; join them by a simultaneous one")
            for source in sources:
                if source.kind == "step":
                    found.append(source)
                elif source.kind in ("selectionDivergence", "simultaneousConvergence"):
                    if id(source) not in seen:
                        seen.add(id(source))
                        waiting.append((source, source.kind == "simultaneousConvergence"))
                else:
                    raise node.refuse(f"a {source.kind} cannot stand before it")
        return found

    def _targets(self, transition: Node) -> list[Node]:
        """The steps that become active by a transition."""
        found: list[Node] = []
        seen = {id(transition)}
        waiting = [transition]
        while waiting:
            node = waiting.pop()
            following = sorted(
                self.after.get(id(node), ()), key=lambda n: (n.at[1], n.at[0], n.number)
            )
            following = [n for n in following if n.kind != "actionBlock"]
            if len(following) > 1 and node.kind not in _DIVIDES:
                raise node.refuse(
                    "several lines lead on from it; divide them by a simultaneous one"
                )
            for one in following:
                if one.kind == "step":
                    found.append(one)
                elif one.kind == "jumpStep":
                    found.append(self._jump_target(one))
                elif one.kind in ("selectionConvergence", "simultaneousDivergence"):
                    if id(one) not in seen:
                        seen.add(id(one))
                        waiting.append(one)
                else:
                    raise node.refuse(f"a {one.kind} cannot stand behind it")
        return found

    def _jump_target(self, node: Node) -> Node:
        name = node.element.get("targetName")
        found = self.steps.get(name.casefold())
        if found is None:
            known = (step.element.get("name") for step in self.steps.values())
            raise node.refuse(f"there is no step '{name}'{nearest(name, known)}")
        return found

    def _condition(self, node: Node) -> sx.Expression:
        element = node.element.first("condition")
        if element is None or not element.children:
            raise node.refuse("this transition has no condition")
        value = self._raw_condition(node, element)
        return sx.Unary("NOT", value, node.place) if element.is_true("negated") else value

    def _raw_condition(self, node: Node, element: Element) -> sx.Expression:
        reference, inline = element.first("reference"), element.first("inline")
        if reference is not None:
            return self._referenced(reference, node)
        if inline is not None:
            name = inline.get("name") or self.making.name(f"transition_{node.id}")
            return condition_from(inline, name, self.making, node.says)
        pin = self.drawn.pin(element)
        if pin.is_open:
            raise node.refuse("nothing is connected to the condition of this transition")
        return self._wired(pin, node)

    def _wired(self, pin: Pin, node: Node) -> sx.Expression:
        own = self.making.method()
        logic = [other for other in self.drawn.nodes if other.kind not in CHART]
        statements, value = condition_of(pin, node, logic, own)
        if not statements:
            return value
        name = self.making.name(f"transition_{node.id}")
        self.making.taken.discard(name.casefold())
        assign = sx.Assign(sx.Name(name, node.place), value, node.place)
        return method(name, [*statements, assign], own, node.element)

    def _referenced(self, reference: Element, node: Node) -> sx.Expression:
        name = reference.get("name")
        body = self.conditions.get(name.casefold())
        if body is None:
            # A variable's name, or an expression, stands there in some exports.
            if not name:
                raise node.refuse("this transition has no condition")
            return parse_expression(name, locate=lambda _: reference.place)
        if name.casefold() not in self.named:
            holder = body.first("body") or body
            says = f"transition {name}"
            self.named[name.casefold()] = condition_from(holder, name, self.making, says)
        return self.named[name.casefold()]

    # Actions

    def _uses(self) -> dict[int, tuple[sx.ActionUse, ...]]:
        found: dict[int, list[sx.ActionUse]] = {id(step): [] for step in self.steps.values()}
        for block in self._all("actionBlock"):
            try:
                step = self._step_of(block)
                if block.negated:
                    raise block.refuse("a negated action block is not supported")
                for element in block.element.all("action"):
                    found[id(step)].append(self._use(element, step, block))
            except InputError as error:
                self.mistakes.extend(error.mistakes)
        return {key: tuple(uses) for key, uses in found.items()}

    def _step_of(self, block: Node) -> Node:
        steps = [source for pin in block.pins for source, _ in pin.sources]
        # Blocks of actions may hang one on the other.
        seen = {id(block)}
        while len(steps) == 1 and steps[0].kind == "actionBlock" and id(steps[0]) not in seen:
            seen.add(id(steps[0]))
            steps = [source for pin in steps[0].pins for source, _ in pin.sources]
        if len(steps) != 1 or steps[0].kind != "step":
            raise block.refuse("an action block belongs to one step: connect it to that")
        return steps[0]

    def _use(self, element: Element, step: Node, block: Node) -> sx.ActionUse:
        qualifier = element.get("qualifier").upper() or "N"
        duration = None
        if element.get("duration"):
            if _BARE_TIME.fullmatch(element.get("duration")):
                element.attributes["duration"] = f"T#{element.get('duration')}"
            duration = expression_of("duration", element)
        if element.get("indicator"):
            note = sx.Note(element.place, "the indicator of an action was read over")
            self.making.notes.append(note)
        reference, inline = element.first("reference"), element.first("inline")
        if reference is not None and reference.get("name"):
            return sx.ActionUse(reference.get("name"), qualifier, duration, element.place)
        if inline is None:
            element.refuse("an action is a reference or stands inline")
        name = self.making.name(f"{step.element.get('name')}_action_{block.id}")
        body = statements_in(inline, self.making, "an action")
        self.actions.append(sx.Action(name, body, element.place))
        return sx.ActionUse(name, qualifier, duration, element.place)
