"""What is being executed, and what its parts ask of each other."""

from __future__ import annotations

from dataclasses import dataclass, field

from interlock.base.errors import Mistake, Place
from interlock.st import syntax as sx
from interlock.st.direct.arithmetic import Arithmetic
from interlock.st.direct.kinds import Kind, Value
from interlock.st.direct.project import Project
from interlock.st.direct.storage import Cell, Instance, Standard, Store
from interlock.st.layout import Settings, Timers


@dataclass
class Frame:
    """One call under way.

    Attributes
    ----------
    owner : syntax.Unit
        The unit in whose text the statements stand; SUPER is what this extends.
    names : dict of str to Store
        Variables that live as long as the call, by casefolded name.
    instance : Instance or None
        Of a FUNCTION_BLOCK, PROGRAM or CLASS.
    """

    owner: sx.Unit
    names: dict[str, Store] = field(default_factory=dict)
    instance: Instance | None = None


@dataclass(frozen=True)
class Property:
    """A property of an instance, to be read by its GET or written by its SET."""

    instance: Instance
    name: str


@dataclass(frozen=True)
class Arguments:
    """What a call gives and takes."""

    inputs: tuple[sx.InputArgument, ...]
    outputs: tuple[sx.OutputArgument, ...]


class NothingThereError(Exception):
    """A reference that points to nothing was followed in a trial, which sets none in earnest."""


class Base:
    """What all parts of the machine share, and what they ask of those built upon them.

    Parameters
    ----------
    project : Project
    settings : Settings
    """

    def __init__(self, project: Project, settings: Settings) -> None:
        self.project = project
        self.settings = settings
        self.executed: list[Place] = []
        self.defects: list[Mistake] = []
        self.writes: dict[int, Place] = {}
        self.arithmetic = Arithmetic(self.note, settings.saturates)
        # The variables of the loops that are being executed whose passes the text tells.
        self.counting: list[Cell] = []
        self.globals: dict[str, Store] = {}
        # Globals by the name of the list they stand in, which may be written before theirs.
        self.lists: dict[str, dict[str, Store]] = {}
        # What stands at each place, and every variable at an address with its name.
        self.placed: dict[str, Store] = {}
        self.located: list[tuple[Store, str, sx.Declaration]] = []
        # Variables of functions that persist, by unit and name.
        self.statics: dict[str, Store] = {}
        self.labels: dict[str, list[Kind]] = {}
        self.depth = 0
        # In a trial every branch is executed once, to find what cannot be; see `Machine.try_out`.
        self.is_trial = False
        self.mistakes: list[Mistake] = []

    @property
    def is_counted(self) -> bool:
        """Whether timers count scans."""
        return self.settings.timers is Timers.COUNTED

    def note(self, place: Place, says: str) -> None:
        """A flaw of the program that was met."""
        self.defects.append(Mistake(place, says))

    def evaluate(self, e: sx.Expression, frame: Frame, hint: Kind | None = None) -> Value:
        """The value of an expression; `hint` tells values of enumerations apart."""
        raise NotImplementedError

    def reach(
        self, e: sx.Expression, frame: Frame, writes: bool = False
    ) -> Store | Property | Value:
        """What an expression names."""
        raise NotImplementedError

    def enumeration(self, ref: sx.TypeRef, name: str, frame: Frame) -> Kind:
        """The type that a list of values makes."""
        raise NotImplementedError

    def make(self, ref: sx.TypeRef, name: str, frame: Frame, retain: bool = False) -> Store:
        """A new variable with its type's initial values."""
        raise NotImplementedError

    def assign(self, target: Store | Property | Value, value: Value, place: Place) -> None:
        """Give a variable or property a value."""
        raise NotImplementedError

    def get(self, property_: Property, place: Place) -> Value:
        """The value of a property."""
        raise NotImplementedError

    def call(self, e: sx.Call, frame: Frame, hint: Kind | None = None) -> Value:
        """The value of a function or method."""
        raise NotImplementedError

    def run(self, body: tuple[sx.Statement, ...], frame: Frame) -> str:
        """Execute statements; the word by which they were left, or an empty text."""
        raise NotImplementedError

    def run_chart(self, chart: sx.Chart, frame: Frame) -> None:
        """Execute a chart once."""
        raise NotImplementedError

    def call_standard(self, block: Standard) -> None:
        """Execute a standard function block once on the inputs that it has."""
        raise NotImplementedError
