"""Procedures: who does what, in which order, and how one sees that it is done.

A file ``procedures.yaml`` beside the model holds them. A step's ``do`` lists what a person does,
one action after the other, each as a move of the model by its name (``'legs: UP to MID'``) or as
``MACHINE to STATE``, which stands for any move of a person that brings the machine there. A step
may end with ``hold``: controls held until the step is done, as in ``hold: {deadman: 'TRUE',
panel: RAISE}``. They are pressed in that order, held all at once, and let go from the last to the
first. A step with neither waits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator
from pydantic_core import PydanticCustomError

from interlock.base.errors import Mistake, nearest
from interlock.base.files import is_there
from interlock.kernel.system import MoveKind
from interlock.model.files import read_text
from interlock.model.machines import read_duration
from interlock.model.model import Duration, Formula, Machine, Model, ModelMove
from interlock.model.names import Mistakes, Names
from interlock.model.schema import ModelShape
from interlock.model.schema_fields import Expression, Name, Seconds, Words
from interlock.model.schema_wired import SensorShape
from interlock.model.shape import validated
from interlock.model.yaml import Document, Path, read

PROCEDURES_FILE = "procedures.yaml"
PERSONS = (MoveKind.OPERATOR, MoveKind.DRIVER, MoveKind.HUMAN)


class _Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class StepShape(_Shape):
    """One step of a procedure."""

    id: Name
    says: Words
    who: Literal["driver", "operator"]
    do: list[Words] = Field(default_factory=list, max_length=30)
    hold: dict[Name, Name] = Field(
        default_factory=dict,
        description="Controls with the positions in which they are held, all at once.",
    )
    done: Expression
    observer: Words
    seconds: list[Seconds] | None = Field(
        None,
        min_length=2,
        max_length=2,
        description="Where absent, what the plant's moves take in it.",
    )
    source: Words | None = None
    assumed: bool = False

    @field_validator("hold", mode="before")
    @classmethod
    def _is_told_by_positions(cls, hold: object) -> object:
        """Say how controls are held, where it was said otherwise."""
        if not isinstance(hold, dict):
            says = "expected controls with the position of each, {panel: RAISE} for one, "
            raise PydanticCustomError(
                "hold", says + "{deadman: 'TRUE', panel: RAISE} for two at once"
            )
        several = [control for control, position in hold.items() if isinstance(position, list)]
        if several:
            says = f"{several[0]} can be held in one position at a time; a second one takes a step "
            raise PydanticCustomError("hold", says + "of its own")
        return hold


class ProcedureShape(_Shape):
    """One procedure, or one branch for when something went otherwise."""

    says: Words
    kind: Literal["conversion", "abnormal"] = "conversion"
    starts: Expression
    ends: Expression
    check_off: bool = Field(False, description="Each step is ticked off on paper when done.")
    steps: list[StepShape] = Field(min_length=1, max_length=60)


class ProceduresShape(_Shape):
    """A file of procedures."""

    goal: Expression = Field(description="Where recovery leads: fit for the road.")
    cautions: list[Words] = Field(default_factory=list)
    procedures: dict[Name, ProcedureShape] = Field(min_length=1)


@dataclass(frozen=True)
class Action:
    """What a person does to one machine.

    Attributes
    ----------
    machine : str
    target : int
        Index of the state that the machine is brought to.
    moves : tuple of str
        The moves that bring it there; which one depends on where it is.
    sources : frozenset of int
        The states that `moves` and `errors` leave.
    errors : tuple of str
        Declared human errors (``by: human``) that bring it there.
    """

    machine: str
    target: int
    moves: tuple[str, ...]
    errors: tuple[str, ...]
    sources: frozenset[int]
    says: str


@dataclass(frozen=True)
class Hold:
    """A control held in a position until the step is done, and then let go."""

    control: str
    position: int
    released: int
    press: str
    release: str


@dataclass(frozen=True)
class ProcedureStep:
    """A step: its actions in order, then what is held, until it is done.

    Attributes
    ----------
    holds : tuple of Hold
        Held all at once: pressed in this order, let go in the opposite one.
    takes : Duration or None
        None where the file leaves it to the durations of the plant's moves.
    """

    id: str
    says: str
    who: str
    actions: tuple[Action, ...]
    holds: tuple[Hold, ...]
    done: Formula
    observer: str
    takes: Duration | None


@dataclass(frozen=True)
class Procedure:
    """Steps in order, from where to where.

    Attributes
    ----------
    abnormal : bool
        It is a branch for when something went otherwise; conversions teach the ordinary actions.
    check_off : bool
        Steps are ticked off on paper.
    """

    id: str
    says: str
    abnormal: bool
    starts: Formula
    ends: Formula
    check_off: bool
    steps: tuple[ProcedureStep, ...]


@dataclass(frozen=True)
class Procedures:
    """Everything a file of procedures says.

    Attributes
    ----------
    goal : Formula
        Fit for the road: where recovery leads.
    sources : mapping of str to str
        Text of the file by its name.
    """

    goal: Formula
    cautions: tuple[str, ...]
    procedures: Mapping[str, Procedure]
    sources: Mapping[str, str] = field(default_factory=dict, repr=False)


def load_procedures(model: Model) -> Procedures:
    """Read and check the procedures beside `model`; a revision without any has those it revises.

    Raises
    ------
    InputError
        With every mistake of the file and its place.
    """
    file = model.beside(PROCEDURES_FILE)
    text = read_text(file)
    document = read(text, str(file))
    shape = validated(document, ProceduresShape, "procedures: 'goal: …' and 'procedures: …'")
    reader = _Reader(model, document)
    goal = reader.formula(("goal",), shape.goal)
    found = {id_: reader.procedure(id_, given) for id_, given in shape.procedures.items()}
    reader.mistakes.raise_if_any()
    assert goal is not None, "a goal that was not read is a mistake"
    procedures = {id_: given for id_, given in found.items() if given is not None}
    return Procedures(goal, tuple(shape.cautions), procedures, {str(file): text})


def find_procedures(model: Model) -> Procedures | None:
    """As `load_procedures`; None where no file of procedures lies beside the model.

    Raises
    ------
    InputError
        With every mistake of the file and its place.
    """
    file = model.beside(PROCEDURES_FILE)
    return load_procedures(model) if is_there(file) else None


class _Reader:
    """Checks names and expressions of procedures against a model."""

    def __init__(self, model: Model, document: Document) -> None:
        self.model = model
        self.document = document
        self.mistakes = Mistakes()
        # What expressions may name was checked when the model was loaded.
        known: dict[str, Any] = {
            "terms": {
                name: formula.text
                for name, formula in model.terms.items()
                if name not in model.free_inputs
            },
            "sensors": {
                name: SensorShape(reads=sensor.reads.text)
                for name, sensor in model.sensors.items()
                if not sensor.is_free
            },
            "faults": dict.fromkeys(model.faults),
        }
        shape = ModelShape.model_construct(**known)
        inputs, outputs, terms = model.input_types, model.output_types, dict(model.terms)
        self._names = Names(
            document, shape, self.mistakes, model.machines, inputs, outputs, terms=terms
        )
        self._moves = {move.name: move for move in model.moves if move.kind in PERSONS}

    def formula(self, path: Path, text: str) -> Formula | None:
        """The expression over the truth at `path`; what is wrong with it is noted."""
        before = len(self.mistakes.found)
        formula = self._names.formula(path, text, self._names.truth())
        for number in range(before, len(self.mistakes.found)):
            self.mistakes.found[number] = self._hinted(self.mistakes.found[number])
        return formula

    def _hinted(self, mistake: Mistake) -> Mistake:
        """Say why a signal cannot be named, where one was."""
        for name in self.model.sensors:
            if mistake.says.startswith(f"'{name}' is not declared"):
                said = f"'{name}' is a signal, which may lie; people see the truth and the lamps"
                return Mistake(mistake.place, said)
        return mistake

    def procedure(self, id_: str, shape: ProcedureShape) -> Procedure | None:
        """The procedure `id_`, or None after noting what is wrong with it."""
        path: Path = ("procedures", id_)
        starts = self.formula((*path, "starts"), shape.starts)
        ends = self.formula((*path, "ends"), shape.ends)
        steps = []
        used: set[str] = set()
        for number, given in enumerate(shape.steps):
            here = (*path, "steps", number)
            if given.id.casefold() in used:
                place = self.document.place((*here, "id"))
                self.mistakes.add(place, f"the step '{given.id}' is given twice")
            used.add(given.id.casefold())
            steps.append(self._step(here, given))
        known = [step for step in steps if step is not None]
        if starts is None or ends is None or len(known) < len(steps):
            return None
        abnormal = shape.kind == "abnormal"
        return Procedure(id_, shape.says, abnormal, starts, ends, shape.check_off, tuple(known))

    def _step(self, path: Path, shape: StepShape) -> ProcedureStep | None:
        done = self.formula((*path, "done"), shape.done)
        actions = [self._action((*path, "do", n), text) for n, text in enumerate(shape.do)]
        held = [self._hold((*path, "hold", c), c, position) for c, position in shape.hold.items()]
        holds = [hold for hold in held if hold is not None]
        takes = read_duration(shape, self.document, path, self.mistakes)
        known = [action for action in actions if action is not None]
        if done is None or len(known) < len(actions) or len(holds) < len(held):
            return None
        return ProcedureStep(
            id=shape.id,
            says=shape.says,
            who=shape.who,
            actions=tuple(known),
            holds=tuple(holds),
            done=done,
            observer=shape.observer,
            takes=takes,
        )

    def _action(self, path: Path, text: str) -> Action | None:
        if text in self._moves:
            move = self._meant(self._moves[text])
            return _action_of(self.model, move.machine, move.target, [move], move.says or text)
        place = self.document.place(path)
        name, _, state = (part.strip() for part in text.partition(" to "))
        machine = self.model.machines.get(name)
        if not state or machine is None:
            said = f"'{text}' is neither a move of a person nor 'MACHINE to STATE'"
            near = nearest(text, self._moves) if ":" in text else nearest(name, self.model.machines)
            self.mistakes.add(place, said + near)
            return None
        target = self._state(machine, state, path)
        if target is None:
            return None
        moves = [m for m in self._moves.values() if (m.machine, m.target) == (name, target)]
        if not moves:
            self.mistakes.add(place, f"no person brings {name} to {state}: the plant does")
            return None
        ordinary = [m for m in moves if m.kind is not MoveKind.HUMAN]
        says = next((m.says for m in [*ordinary, *moves] if m.says), text)
        return _action_of(self.model, name, target, ordinary or moves, says)

    def _meant(self, named: ModelMove) -> ModelMove:
        """Where moves have the same ends, the name that says these means the one that is no error.

        Which of them has the plain name depends on nothing but their order in the model.
        """
        machine = self.model.machines[named.machine]
        if named.kind is not MoveKind.HUMAN or named.source is None:
            return named
        source, target = machine.states[named.source], machine.states[named.target]
        by_ends = f"{machine.name}: {source} to {target}"
        ends = (named.machine, named.source, named.target)
        like = [m for m in self._moves.values() if (m.machine, m.source, m.target) == ends]
        meant = [move for move in like if move.kind is not MoveKind.HUMAN]
        return meant[0] if meant and named.name == by_ends else named

    def _state(self, machine: Machine, state: str, path: Path) -> int | None:
        folded = [s.casefold() for s in machine.states]
        if state.casefold() in folded:
            return folded.index(state.casefold())
        said = f"'{state}' is not a state of {machine.name}{nearest(state, machine.states)}"
        self.mistakes.add(self.document.place(path), said)
        return None

    def _hold(self, path: Path, name: str, position: str) -> Hold | None:
        controls = {n: m for n, m in self.model.machines.items() if m.is_control}
        with self.mistakes.collected():
            if not self._names.known(name, controls, path, "a control"):
                return None
        control = controls[name]
        target = self._state(control, position, path)
        if target is None:
            return None
        if control.released is None or control.released == target:
            said = f"{name} cannot be held in {position}: no spring takes it back from there"
            self.mistakes.add(self.document.place(path), said)
            return None
        press = control_move(self.model, name, target)
        release = control_move(self.model, name, control.released)
        return Hold(name, target, control.released, press, release)


def control_move(model: Model, control: str, position: int) -> str:
    """Name of the move that sets a control to a position."""
    return next(m.name for m in model.moves if (m.machine, m.target) == (control, position))


def _action_of(
    model: Model, machine: str, target: int, moves: list[ModelMove], says: str
) -> Action:
    errors = [
        m
        for m in model.moves
        if m.kind is MoveKind.HUMAN and (m.machine, m.target) == (machine, target)
    ]
    n_states = len(model.machines[machine].states)
    sources = {m.source for m in (*moves, *errors) if m.source is not None}
    if any(m.source is None for m in moves):
        sources = set(range(n_states)) - {target}
    return Action(
        machine,
        target,
        tuple(m.name for m in moves),
        tuple(m.name for m in errors),
        frozenset(sources),
        says,
    )
