"""What a change touches: what must be validated again, and what must be commissioned again.

An output is touched unless lockstep showed it equal over everything reachable, or it is computed
by the same expressions of the same signals; a machine is
touched where one of its moves changed, reads something touched, or became possible or impossible
somewhere; a requirement where its verdict or its statement changed, or where it speaks of
something touched. Hazards are touched through their requirements.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from interlock.commands.compare.behaviour import Likeness, OutputComparison
from interlock.commands.compare.differences import Difference, Kind
from interlock.commands.compare.study import Comparison
from interlock.commands.compare.verdicts import Effect
from interlock.model.build import names_behind
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
        self.outputs = dict(self._outputs())
        self.terms = {
            d.name.casefold(): f"term {d.name} {d.kind.value}"
            for d in comparison.differences
            if d.section == "term"
        }
        self.signals = self._signals()
        self.machines = self._machines()
        self.touched_names = self._touched_names()
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

    def _outputs(self) -> Iterator[tuple[str, list[str]]]:
        behaviour = self.comparison.behaviour
        old, new = (set(model.outputs) for model in self.models)
        if behaviour is None:
            why = f"lockstep not applicable: {self.comparison.not_applicable}"
            for name in sorted(old & new):
                yield name, [why]
        else:
            for output in behaviour.outputs:
                if output.likeness not in (Likeness.EQUAL, Likeness.SAME_LOGIC):
                    yield output.output, [likeness_words(output)]
        compared = set() if behaviour is None else set(behaviour.product.differs)
        folded = {name.casefold() for name in compared}
        for name in self.models[0].outputs:
            if name.casefold() not in folded and not (behaviour is None and name in new):
                yield name, ["only the old controller has it, or it changed its type"]
        for name in self.models[1].outputs:
            if name.casefold() not in folded and not (behaviour is None and name in old):
                yield name, ["only the new controller has it, or it changed its type"]
        for difference in self._differences("output"):
            if difference.kind is Kind.CHANGED:
                yield difference.name, ["it is declared otherwise"]

    def _signals(self) -> _Reasons:
        found: _Reasons = {}
        for difference in self._differences("sensor"):
            found.setdefault(difference.name, []).append(f"signal {difference.kind.value}")
        for model in self.models:
            for name, sensor in model.sensors.items():
                read = names_behind(model, sensor.reads.tree)
                for term in sorted(read & self.terms.keys()):
                    _note(found, name, f"reads the {self.terms[term]}")
        return found

    def _machines(self) -> _Reasons:
        found: _Reasons = {}
        machine_of = {m.name: m.machine for model in self.models for m in model.moves}
        for difference in self._differences("machine", "control"):
            _note(found, difference.name, f"{difference.section} {difference.kind.value}")
        for difference in self._differences("move"):
            said = f"move '{difference.name}' {difference.kind.value}"
            _note(found, machine_of[difference.name], said)
        outputs = {name.casefold(): name for name in self.outputs}
        for model in self.models:
            for move in model.moves:
                formulas = [f for f in (move.when, *move.also.values()) if f is not None]
                read = set().union(*(names_behind(model, f.tree) for f in formulas))
                for name in sorted(read & outputs.keys()):
                    _note(found, move.machine, f"moved by output {outputs[name]}")
                for name in sorted(read & self.terms.keys()):
                    _note(found, move.machine, f"moves by the {self.terms[name]}")
        moves = self.comparison.moves
        for changes, words in ((moves.gained, "newly possible"), (moves.lost, "less possible")):
            for change in changes:
                _note(found, machine_of[change.move], f"'{change.move}' is {words}")
        return found

    def _touched_names(self) -> dict[str, str]:
        """Casefolded names that a requirement may speak of, with what is said of them."""
        names = dict(self.terms)
        names |= {name.casefold(): f"signal {name}" for name in self.signals}
        names |= {name.casefold(): f"machine {name}" for name in self.machines}
        names |= {name.casefold(): f"output {name}" for name in self.outputs}
        return names

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
        for model in self.models:
            for id_, statement in model.statements.items():
                read: set[str] = set()
                for formula in _formulas(statement):
                    read |= names_behind(model, formula.tree)
                for name in sorted(read & self.touched_names.keys()):
                    _note(found, id_, f"speaks of {self.touched_names[name]}")
        return found

    def _hazards(self) -> Iterator[Touched]:
        new, old = self.models[1], self.models[0]
        changed = {d.name: d.kind.value for d in self._differences("hazard")}
        for id_, hazard in {**old.hazards, **new.hazards}.items():
            held = [
                r
                for r in self.requirements
                if any(r in m.statements and id_ in m.statements[r].hazards for m in self.models)
            ]
            why = [f"hazard {changed[id_]}"] if id_ in changed else []
            if held:
                why.append(f"guarded by {', '.join(held)}")
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
        yield from self._signal_steps()
        yield from self._output_steps()
        yield from self._machine_steps()

    def _signal_steps(self) -> Iterator[Step]:
        for name, why in self.signals.items():
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
        for name, why in self.outputs.items():
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


def likeness_words(output: OutputComparison) -> str:
    """What is known of an output, in words."""
    if output.run is None:
        return output.likeness.value
    n = len(output.run.happenings)
    return "differs from power-up on" if n == 0 else f"differs after {n} step{'s'[: n != 1]}"


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
