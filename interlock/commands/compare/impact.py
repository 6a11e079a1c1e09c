"""What a change touches: what must be validated again, and what must be commissioned again.

Machines, signals and outputs are touched as the change spreads (`spread.py`); a requirement where
its verdict or its statement changed, or where it speaks of something touched; one that claims to
survive faults also where something touched under faults is spoken of. Hazards are touched through
their requirements. Commissioning steps are for what changed itself: a signal
that only reads something touched is wired as it was.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from interlock.commands.compare.differences import Difference, Kind
from interlock.commands.compare.spread import Node, retained_otherwise, signal_node
from interlock.commands.compare.study import Comparison
from interlock.commands.compare.verdicts import Effect
from interlock.model.build import ARITHMETIC, TIME
from interlock.model.model import Formula, Model, Statement

_Reasons = dict[str, list[str]]


@dataclass(frozen=True)
class Touched:
    """Something that must be validated again.

    Attributes
    ----------
    kind : str
        ``"requirement"``, ``"hazard"``, ``"output"``, ``"signal"`` or ``"machine"``.
    name, says : str
    why : tuple of str
    """

    kind: str
    name: str
    says: str
    why: tuple[str, ...]


@dataclass(frozen=True)
class Step:
    """A commissioning step to repeat, and for the sake of what."""

    action: str
    because: str


@dataclass(frozen=True)
class Impact:
    """The impact of a change.

    Attributes
    ----------
    touched : tuple of Touched
        Requirements first, then hazards, outputs, signals and machines.
    untouched : tuple of str
        Requirements that hold as before and speak of nothing touched.
    steps : tuple of Step
    """

    touched: tuple[Touched, ...]
    untouched: tuple[str, ...]
    steps: tuple[Step, ...]

    def of_kind(self, kind: str) -> tuple[Touched, ...]:
        """What is touched of one kind."""
        return tuple(touched for touched in self.touched if touched.kind == kind)


def find_impact(comparison: Comparison) -> Impact:
    """Derive the impact from a comparison."""
    return _Impact(comparison).found()


class _Impact:
    def __init__(self, comparison: Comparison) -> None:
        self.comparison = comparison
        self.models = (comparison.old_model, comparison.new_model)
        self.spread = comparison.spread
        self.outputs = self._named((n, n.casefold()) for m in self.models for n in m.outputs)
        self.signals = self._named((n, signal_node(n)) for m in self.models for n in m.sensors)
        self.machines = self._named((n, n.casefold()) for m in self.models for n in m.machines)
        self.requirements = self._requirements()

    def found(self) -> Impact:
        touched = [
            Touched("requirement", verdict.id, verdict.says, tuple(self.requirements[verdict.id]))
            for verdict in self.comparison.verdicts
            if verdict.id in self.requirements
        ]
        touched += self._hazards()
        for kind, found in (
            ("output", self.outputs),
            ("signal", self.signals),
            ("machine", self.machines),
        ):
            touched += [Touched(kind, n, self._says(kind, n), tuple(w)) for n, w in found.items()]
        asked = [verdict.id for verdict in self.comparison.verdicts]
        untouched = tuple(id_ for id_ in asked if id_ not in self.requirements)
        return Impact(tuple(touched), untouched, tuple(self._steps()))

    def _differences(self, *sections: str) -> list[Difference]:
        found = self.comparison.differences
        return [d for d in found if d.section in sections and not d.is_wording]

    # What is touched

    def _named(self, nodes: Iterable[tuple[str, Node]]) -> _Reasons:
        """By name in the new model, or in the old one: why something is touched, where it is."""
        names = {node: name for name, node in nodes}
        found = {name: list(self.spread.reasons.of(node)) for node, name in names.items()}
        return {name: why for name, why in found.items() if why}

    def _own(self, node: Node) -> list[str]:
        """The reasons that lie in it, not in what it depends on."""
        return self.spread.reasons.own.get(node, [])

    def _requirements(self) -> _Reasons:
        found: _Reasons = {}
        for verdict in self.comparison.verdicts:
            if verdict.effect is not Effect.SAME:
                _note(found, verdict.id, f"verdict: {verdict.effect.value}")
            if verdict.newly_vacuous:
                _note(found, verdict.id, "its premise never occurs")
            if verdict.gained_sets:
                _note(found, verdict.id, "other faults break it")
        for difference in self._differences("requirement"):
            _note(found, difference.name, f"requirement {difference.kind.value}")
        if self._differences("statement", "declaration") and ARITHMETIC in self._asked():
            _note(found, ARITHMETIC, "the program changed")
        if self._differences("statement", "declaration", "move", "run") and TIME in self._asked():
            _note(found, TIME, "what takes time changed")
        scan_changed = any(
            detail.facet in ("scan", "time")
            for d in self._differences("run")
            for detail in d.details
        )
        for model in self.models:
            for id_, statement in model.statements.items():
                self._note_spoken_of(found, model, statement)
                if statement.within is not None and scan_changed:
                    _note(found, id_, "the period of the scan changed")
        return found

    def _asked(self) -> set[str]:
        return {verdict.id for verdict in self.comparison.verdicts}

    def _note_spoken_of(self, found: _Reasons, model: Model, statement: Statement) -> None:
        formulas = _formulas(statement)
        spread = self.spread
        nodes = sorted(spread.nodes_read(model, formulas, statement.about_signals))
        for node in nodes:
            if spread.reasons.touches(node):
                _note(found, statement.id, f"speaks of {spread.says(node)}")
            elif statement.survives and spread.under_faults.touches(node):
                why = "; ".join(spread.under_faults.of(node)[:1])
                said = f"claims to survive faults and speaks of {spread.says(node)}"
                _note(found, statement.id, f"{said}: {why}")

    def _hazards(self) -> Iterator[Touched]:
        old, new = self.models
        changed = {d.name: d.kind.value for d in self._differences("hazard")}
        for id_, hazard in {**old.hazards, **new.hazards}.items():
            guards = [
                [r for r, statement in model.statements.items() if id_ in statement.hazards]
                for model in self.models
            ]
            held = [r for r in self.requirements if r in guards[0] or r in guards[1]]
            why = [f"hazard {changed[id_]}"] if id_ in changed else []
            if held:
                why.append(f"guarded by {', '.join(held)}")
            lost = [r for r in guards[0] if r not in guards[1]]
            if lost:
                why.append(f"no longer guarded by {', '.join(lost)}")
            if guards[0] and not guards[1]:
                why.append("no requirement of the new model guards it")
            if why:
                yield Touched("hazard", id_, hazard.says, tuple(why))

    def _says(self, kind: str, name: str) -> str:
        for model in reversed(self.models):
            found: object = None
            if kind == "output":
                found = model.outputs.get(name)
            elif kind == "signal":
                found = model.sensors.get(name)
            else:
                found = model.machines.get(name)
            if found is not None:
                return str(getattr(found, "says", ""))
        return ""

    # What to repeat

    def _steps(self) -> Iterator[Step]:
        if self._differences("statement", "declaration"):
            yield Step(
                "Load the new program; record its checksum and the one that it replaces.",
                "the program changed",
            )
        for difference in self._differences("declaration"):
            for detail in difference.details:
                if detail.facet == "preset" and difference.kind is Kind.CHANGED:
                    action = f"Measure the time of {difference.name}: {detail.after}."
                    yield Step(action, f"preset changed from {detail.before}")
        for name in retained_otherwise(self.comparison.differences):
            action = (
                f"Switch the controller off and on again with {name} set, and see what it keeps."
            )
            yield Step(action, f"{name} keeps another value over a restart")
        yield from self._signal_steps()
        yield from self._output_steps()
        yield from self._machine_steps()

    def _signal_steps(self) -> Iterator[Step]:
        for name in self.signals:
            why = self._own(signal_node(name))
            if not why:
                continue  # the device and its wire are as they were
            sensor = self.models[1].sensors.get(name)
            if sensor is None:
                action = f"See that nothing is wired to the former input {name} any more."
            else:
                action = (
                    f"Bring about both states of input {name} ({sensor.reads.text}) at the "
                    "device and see each at the controller."
                )
            yield Step(action, "; ".join(why))

    def _output_steps(self) -> Iterator[Step]:
        behaviour = self.comparison.behaviour
        runs = {} if behaviour is None else {o.output: o for o in behaviour.outputs}
        for name in self.outputs:
            why = self._own(name.casefold())
            if not why:
                continue
            compared = runs.get(name)
            if compared is not None and compared.run is not None:
                action = (
                    f"Follow the run to the first difference of {name} "
                    f"({len(compared.run.happenings)} steps) and see {name} "
                    f"{value_words(self.models[0], name, compared.run.after)} where it was "
                    f"{value_words(self.models[0], name, compared.run.before)} before."
                )
            elif name in self.models[1].outputs:
                action = f"Bring about both states of output {name} and see each at the device."
            else:
                action = f"See that nothing is wired to the former output {name} any more."
            yield Step(action, "; ".join(why))

    def _machine_steps(self) -> Iterator[Step]:
        machine_of = {m.name: m.machine for model in self.models for m in model.moves}
        moves = self.comparison.moves
        for name, why in self.machines.items():
            if name not in self.models[1].machines:
                yield Step(f"See that {name} is gone, as the new model says.", "; ".join(why))
                continue
            said = (
                f"Take {name} through every move of the model, each once allowed and once refused"
            )
            for changes, words in ((moves.gained, "newly possible"), (moves.lost, "now refused")):
                named = [c.move for c in changes if machine_of[c.move] == name]
                if named:
                    said += f"; {words}: {', '.join(named)}"
            yield Step(said + ".", "; ".join(why))


def value_words(model: Model, output: str, value: int) -> str:
    """A value of an output as it is told."""
    for declared in model.program.variables:
        if declared.name == output and str(declared.type) != "BOOL":
            labels = getattr(declared.type, "labels", None)
            return str(labels[value]) if labels else str(value)
    return "on" if value else "off"


def _note(found: _Reasons, name: str, reason: str) -> None:
    reasons = found.setdefault(name, [])
    if reason not in reasons:
        reasons.append(reason)


def _formulas(statement: Statement) -> list[Formula]:
    given = (statement.p, statement.s, statement.when, statement.opens, statement.closes)
    return [formula for formula in given if formula is not None]
