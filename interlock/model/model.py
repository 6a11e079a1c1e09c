"""A model as its author wrote it: checked, but not yet lowered to a kernel system.

The builder (`interlock.model.build`) turns it into a system for the engines; the judge
(`interlock.independent_judge`) runs it as it is.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Generic, TypeVar

from interlock.base.errors import Place
from interlock.base.files import is_there
from interlock.drawings.elements import Drawing
from interlock.kernel.requirement import Pattern, ScopeKind
from interlock.kernel.system import MoveKind
from interlock.model.bands import Bands
from interlock.model.between import BetweenScans
from interlock.model.bound import Bound
from interlock.model.controller import Controller
from interlock.model.durations import Delay as Delay
from interlock.model.durations import Duration as Duration
from interlock.model.durations import Stay
from interlock.model.effect_matrix import EffectMatrix
from interlock.model.fault import Fault
from interlock.model.timing import Timing
from interlock.st.layout import Settings
from interlock.st.load import Loaded
from interlock.st.typed import Expression, Program
from interlock.st.types import Type


@dataclass(frozen=True)
class Formula:
    """A checked expression with the text and the place it was written in."""

    text: str
    place: Place
    tree: Expression = field(compare=False)


@dataclass(frozen=True)
class Machine:
    """A component of the plant, or a control that an operator sets.

    Attributes
    ----------
    name, says : str
    states : tuple of str
        Names of its states; for a button without positions ``("FALSE", "TRUE")``.
    initial : int
        Index into `states`.
    is_control : bool
    is_bool : bool
        A button read as a BOOL.
    released : int or None
        For a control: the position that a spring returns it to.
    places : tuple of Place
        Where each of its states is declared.
    is_free : bool
        It stands for an input of the program that no sensor is given for.
    bands : Bands or None
        Of a quantity: its states are these bands.
    """

    name: str
    says: str
    states: tuple[str, ...]
    initial: int
    is_control: bool = False
    is_bool: bool = False
    released: int | None = None
    places: tuple[Place, ...] = field(default=(), compare=False)
    is_free: bool = False
    bands: Bands | None = None

    def index(self, state: str) -> int:
        """Index of the state called `state`, in any case."""
        return [s.casefold() for s in self.states].index(state.casefold())


@dataclass(frozen=True)
class ModelMove:
    """A move of one machine, with what else changes in the same instant.

    Attributes
    ----------
    name : str
        Unique; also the name of the kernel move.
    machine : str
    source : int or None
        Index of the state it leaves; None for any other than the target.
    target : int
    when : Formula or None
    also : mapping of str to Formula
        New states of other machines, read before the move.
    takes : Duration or None
        Without time, verdicts depend on the least alone, and only where each machine moves once
        between scans.
    may : bool
        It happens by itself or not at all: nothing is owed, and nobody can bring it about.
    bounces : bool
        It sets a control that bounces.
    stays : Stay or None
        With time, what keeps it waiting, whatever becomes of the guard meanwhile.
    """

    name: str
    machine: str
    source: int | None
    target: int
    when: Formula | None
    also: Mapping[str, Formula]
    kind: MoveKind
    says: str
    place: Place
    takes: Duration | None = None
    may: bool = False
    bounces: bool = False
    stays: Stay | None = None

    @property
    def takes_no_turn(self) -> bool:
        """Whether any number of such moves may come between two scans."""
        return self.bounces or self.kind is MoveKind.INPUT


@dataclass(frozen=True)
class Sensor:
    """A signal and the truth it reads while it works.

    Attributes
    ----------
    address, terminal : str
        How it is wired, in its author's words.
    stands_for : tuple of (int, int, int)
        Of a free input of many values, for each of those that stand for others: between which
        values these lie, and the one.
    age : int
        So many scans old a value may be that the program reads; 0 where it reads what is.
    bus : str
        By what it comes late, in words; empty where that has no name.
    """

    name: str
    says: str
    reads: Formula
    pair: str | None
    place: Place
    delay: Delay | None = None
    is_free: bool = False
    address: str = ""
    terminal: str = ""
    stands_for: tuple[tuple[int, int, int], ...] = field(default=(), compare=False)
    age: int = 0
    bus: str = ""


@dataclass(frozen=True)
class Output:
    """An output of the controller and how it is shown.

    Attributes
    ----------
    announces : bool
        It tells people of something abnormal while it is on.
    delay : Delay or None
        From the end of the scan that switches it to its effect.
    """

    name: str
    says: str
    lamp: str | None = None
    sounds: bool = False
    announces: bool = False
    delay: Delay | None = None
    address: str = ""
    terminal: str = ""


@dataclass(frozen=True)
class Hazard:
    """A hazardous situation with the risk graph's parameters of ISO 13849-1, where given."""

    id: str
    says: str
    severity: str | None
    exposure: str | None
    avoidance: str | None


@dataclass(frozen=True)
class Statement:
    """A requirement as stated in the model; predicates are source-level formulas.

    With `after_scan`, `after_scan_of` names the controller whose scans count; empty for any.
    """

    id: str
    says: str
    pattern: Pattern
    p: Formula
    s: Formula | None
    when: Formula | None
    scope: ScopeKind
    opens: Formula | None
    closes: Formula | None
    after_scan: bool
    about_signals: bool
    survives: int
    hazards: tuple[str, ...]
    place: Place
    within: Bound | None = None
    after_scan_of: str = ""


Result = TypeVar("Result")


@dataclass(frozen=True)
class Choice(Generic[Result]):
    """What an expression's value chooses: one result for each value it can have, in order."""

    formula: Formula
    results: tuple[Result, ...]


@dataclass(frozen=True)
class Part:
    """What the state does to one element of a drawing.

    Attributes
    ----------
    id : str
    shown : Formula or None
        Where it is drawn; always if None.
    moved : tuple of Choice of (float, float)
        To the right and downward; they add.
    text : Choice of str or None
    look : tuple of Choice of str
        Names of classes, parted by spaces.
    """

    id: str
    shown: Formula | None
    moved: tuple[Choice[tuple[float, float]], ...]
    text: Choice[str] | None
    look: tuple[Choice[str], ...]


@dataclass(frozen=True)
class MovingDrawing:
    """A drawing of the plant, and what the state does to it.

    Attributes
    ----------
    window : tuple of float
        What small pictures show of it: left, top, width and height.
    words : tuple of Choice of str
        The state in sentences.
    """

    drawing: Drawing
    window: tuple[float, float, float, float]
    parts: tuple[Part, ...]
    words: tuple[Choice[str], ...]


@dataclass(frozen=True)
class Supply:
    """A supply of power, and the formula that holds while it feeds."""

    name: str
    says: str
    feeds_while: Formula


@dataclass(frozen=True)
class Model:
    """Everything a model folder says. Names are unique across machines, outputs and terms.

    Attributes
    ----------
    sources : mapping of str to str
        Text of every file that was read, by its name.
    revises : Path or None
        Folder of the model that this one revises.
    changes : tuple of str
        What a revision changes, in its author's words.
    side_view : MovingDrawing or None
    expected_violated, expected_vacuous : tuple of str
        Requirements that the author knows to be violated or vacuous. No verdict depends on them.
    expected_under : mapping of str to tuple of str
        By fault: requirements that the author knows to be violated where it alone may strike.
    inside : mapping of str to str
        What requirements name inside the program: its casefolded name in the program by its
        casefolded path.
    project : Loaded or None
        The program as it was written, and what of it was left out; None where it was changed.
    program_files : tuple of str
        The names in `sources` of the program's files.
    declared_between_scans : BetweenScans or None
        What its author says happens between two scans, where something else is assumed.
    timing : Timing or None
        How time is counted; None where durations decide nothing.
    matrix : EffectMatrix or None
        The matrix of causes and effects that it names; its signs are among the statements.
    several : tuple of Controller
        Where it has several, all of them; `program`, `settings` and `project` then answer nobody.
    """

    title: str
    says: str
    folder: Path
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    between_scans: BetweenScans
    machines: Mapping[str, Machine]
    moves: tuple[ModelMove, ...]
    sensors: Mapping[str, Sensor]
    outputs: Mapping[str, Output]
    terms: Mapping[str, Formula]
    hazards: Mapping[str, Hazard]
    faults: Mapping[str, Fault]
    statements: Mapping[str, Statement]
    program: Program
    settings: Settings
    map_machines: tuple[str, ...]
    unsafe: Formula | None
    sources: Mapping[str, str] = field(default_factory=dict, repr=False)
    revises: Path | None = None
    changes: tuple[str, ...] = ()
    expected_violated: tuple[str, ...] = ()
    expected_vacuous: tuple[str, ...] = ()
    expected_under: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    side_view: MovingDrawing | None = None
    supplies: Mapping[str, Supply] = field(default_factory=dict)
    inside: Mapping[str, str] = field(default_factory=dict)
    project: Loaded | None = field(default=None, compare=False, repr=False)
    program_files: tuple[str, ...] = ()
    matrix: EffectMatrix | None = None
    declared_between_scans: BetweenScans | None = field(default=None, compare=False)
    timing: Timing | None = None
    several: tuple[Controller, ...] = ()

    @property
    def controllers(self) -> tuple[Controller, ...]:
        """Every controller; a single one has no name."""
        return self.several or (Controller("", self.program, self.settings, self.project),)

    @property
    def input_types(self) -> dict[str, Type]:
        """The type of each signal that a program reads, by the sensor's name."""
        return {n: v.type for one in self.controllers for n, v in one.inputs.items()}

    @property
    def output_types(self) -> dict[str, Type]:
        """The type of each output."""
        return {n: v.type for one in self.controllers for n, v in one.written.items()}

    @property
    def quantities(self) -> tuple[Machine, ...]:
        """The machines that are quantities."""
        return tuple(m for m in self.machines.values() if m.bands is not None)

    def takes_turn(self, move: ModelMove) -> bool:
        """Whether what is assumed between two scans limits `move`: no clock decides when it may."""
        return not move.takes_no_turn and (self.timing is None or move.takes is None)

    def assuming(self, between: BetweenScans) -> Model:
        """The same model under another assumption on what happens between two scans."""
        declared = self.declared_between_scans or self.between_scans
        other = None if declared == between else declared
        return replace(self, between_scans=between, declared_between_scans=other)

    @property
    def program_texts(self) -> dict[str, str]:
        """The text of each file of the program, by its name in `sources`."""
        return {name: self.sources[name] for name in self.program_files}

    @property
    def free_inputs(self) -> tuple[str, ...]:
        """The inputs of the program that no sensor is given for."""
        return tuple(name for name, sensor in self.sensors.items() if sensor.is_free)

    def beside(self, name: str) -> Path:
        """The file `name` beside the model, or beside what it revises where it has none itself."""
        file = self.folder / name
        if self.revises is None or is_there(file):
            return file
        return self.revises / name

    @property
    def late_sensors(self) -> tuple[Sensor, ...]:
        """The signals of which the program may see older values."""
        return tuple(s for s in self.sensors.values() if s.age or (s.delay and s.delay.in_time))

    @property
    def delayed_outputs(self) -> tuple[Output, ...]:
        """The outputs whose effect comes later than they do, where time is counted."""
        return tuple(o for o in self.outputs.values() if o.delay is not None and o.delay.in_time)

    @property
    def name(self) -> str:
        """Name of the model: that of its folder, also where it was given as ``.``."""
        return Path(os.path.abspath(self.folder)).name

    @property
    def live_faults(self) -> tuple[Fault, ...]:
        """The faults that may strike: all that are not excluded."""
        return tuple(fault for fault in self.faults.values() if fault.excluded is None)

    @property
    def independent_faults(self) -> tuple[str, ...]:
        """The faults that claims to survive faults speak of: all but common causes."""
        return tuple(id_ for id_, fault in self.faults.items() if not fault.common_cause)
