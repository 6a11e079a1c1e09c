"""The rows of a timing diagram: everything that has values in a run, and what is asked of it."""

from __future__ import annotations

from collections import ChainMap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from interlock.independent_judge.moments import Moment
from interlock.model.model import Formula, Model
from interlock.model.patterns import PATTERNS
from interlock.pictures.truth import Reader
from interlock.st.evaluate import evaluate_expression
from interlock.st.types import BoolType, label_of

INPUTS = "inputs"


@dataclass(frozen=True)
class Signal:
    """One row of a diagram.

    Attributes
    ----------
    name, group : str
    values : tuple of str
        A label for each moment drawn.
    is_bool : bool
    lies : tuple of bool
        Whether it says something else than what is so, at each moment.
    """

    name: str
    group: str
    values: tuple[str, ...]
    is_bool: bool
    lies: tuple[bool, ...]

    @property
    def changes(self) -> bool:
        """Whether it has more than one value."""
        return len(set(self.values)) > 1

    @property
    def matters(self) -> bool:
        """Whether it is worth a row: inputs are where they lie, all else where it changes."""
        return any(self.lies) if self.group == INPUTS else self.changes

    @property
    def runs(self) -> Iterator[tuple[int, int, str]]:
        """First column, number of columns and value, of each stretch without a change."""
        start = 0
        for end in range(1, len(self.values) + 1):
            if end == len(self.values) or self.values[end] != self.values[start]:
                yield start, end - start, self.values[start]
                start = end


def signals_of(model: Model, moments: Sequence[Moment]) -> Iterator[Signal]:
    """A row for everything: controls, plant, faults, inputs and outputs."""
    truthful = (False,) * len(moments)
    for is_control, group in ((True, "controls"), (False, "plant")):
        for machine in model.machines.values():
            if machine.is_control is is_control:
                values = tuple(moment.shown[machine.name] for moment in moments)
                yield Signal(machine.name, group, values, machine.is_bool, truthful)
    for id_ in model.faults:
        values = tuple("TRUE" if id_ in moment.struck else "FALSE" for moment in moments)
        yield Signal(id_, "faults", values, True, truthful)
    for name, type_ in model.input_types.items():
        values = tuple(label_of(type_, moment.signals[name]) for moment in moments)
        lies = tuple(name in moment.lying for moment in moments)
        yield Signal(name, INPUTS, values, isinstance(type_, BoolType), lies)
    for sensor in model.late_sensors:
        read = [moment.read[sensor.name] for moment in moments]
        values = tuple("TRUE" if value else "FALSE" for value in read)
        older = tuple(m.signals[sensor.name] != v for m, v in zip(moments, read, strict=True))
        yield Signal(f"{sensor.name}, as read", INPUTS, values, True, older)
    outputs = model.output_types
    for name in model.outputs:
        values = tuple(moment.shown[name] for moment in moments)
        yield Signal(name, "outputs", values, isinstance(outputs[name], BoolType), truthful)


def conditions_of(model: Model, requirement: str) -> dict[str, Formula]:
    """What the requirement speaks of, by what it is to the requirement."""
    statement = model.statements.get(requirement)
    if statement is None:
        return {}
    roles = PATTERNS[statement.pattern].roles.values()
    given = dict(zip(roles, (statement.p, statement.s), strict=False))
    given["applies where"] = statement.when
    given |= {"scope opens": statement.opens, "scope closes": statement.closes}
    return {role: formula for role, formula in given.items() if formula is not None}


def judged(
    model: Model, moments: Sequence[Moment], requirement: str, conditions: Mapping[str, Formula]
) -> Iterator[Signal]:
    """A row for each condition of a requirement."""
    reader = Reader(model)
    truths: list[Mapping[str, int]] = []
    for moment in moments if conditions else ():
        truth = reader.read(moment.seen)
        signals = {name.casefold(): value for name, value in moment.signals.items()}
        # A signal may have the name of what it tells of; then the truth is meant.
        truths.append(ChainMap(truth, signals, moment.inside))  # type: ignore[arg-type]
    for role, formula in conditions.items():
        numbers = [evaluate_expression(formula.tree, truth) for truth in truths]
        values = tuple("TRUE" if number else "FALSE" for number in numbers)
        yield Signal(role, requirement, values, True, (False,) * len(values))
