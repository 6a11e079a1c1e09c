"""What elaboration knows while it reads, and what it has found out in earlier readings.

Some things are only known once everything was read: what depends on a text, which inputs are
assigned, which timers are called with inputs left out. They are kept in `Found`, and the project
is read again until nothing is added.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from interlock.base.errors import Mistake, MistakeList, Place
from interlock.st import syntax as sx
from interlock.st.elaborate.project import Project
from interlock.st.elaborate.shapes import Block, Located, Reference, Shape


class UnknowableError(Exception):
    """A value without a finite meaning is read; `why` completes 'it depends on …'.

    Where code is called of what is not in the files given, `at` is what it is called on.
    """

    def __init__(self, place: Place, why: str, at: Reference | None = None) -> None:
        super().__init__(why)
        self.place = place
        self.why = why
        self.at = at


class PointedError(UnknowableError):
    """What a pointer points to is asked for."""


class ToldError(Exception):
    """A mistake was noted; what it stands in is given up."""


@dataclass(frozen=True)
class Wanted:
    """The type that a value must have where it is read; not `is_sure` if only a number says so."""

    type: str
    is_sure: bool = True


@dataclass(frozen=True)
class Given:
    """What is read of a variable whose type is not in the files given, and as what."""

    path: str
    type: str
    place: Place
    is_sure: bool = True


@dataclass
class Found:
    """What earlier readings have found; it only grows.

    Attributes
    ----------
    unknown : dict of str to (Place, str)
        Variables whose value has no finite meaning, and why.
    explicit : set of str
        Instances of standard blocks whose inputs have to be remembered.
    copied : set of str
        Inputs of the root that the program assigns.
    shared : set of str
        Globals that somebody else may write, too; casefolded.
    written : set of str
        Globals and variables at addresses that the code which is executed writes.
    met : set of str
        Globals that the code reaches, casefolded.
    timed : set of (str, int)
        The step and the milliseconds that its time is compared with.
    given : dict of str to Given
        What is read of variables whose type is not in the files given, by its casefolded path.
    bound : dict of str to dict of str to Block
        The instances that a variable of an interface may stand for, by its path and theirs.
    missing : dict of str to Mistake
        Types that are not in the files given, by why a variable of theirs is unknown.
    elsewhere : dict of str to Place
        Lists of globals, or instances, that are not in the files given; where they are first read.
    """

    unknown: dict[str, tuple[Place, str]] = field(default_factory=dict)
    explicit: set[str] = field(default_factory=set)
    copied: set[str] = field(default_factory=set)
    shared: set[str] = field(default_factory=set)
    written: set[str] = field(default_factory=set)
    met: set[str] = field(default_factory=set)
    timed: set[tuple[str, int]] = field(default_factory=set)
    given: dict[str, Given] = field(default_factory=dict)
    bound: dict[str, dict[str, Block]] = field(default_factory=dict)
    missing: dict[str, Mistake] = field(default_factory=dict)
    elsewhere: dict[str, Place] = field(default_factory=dict)

    @property
    def n_bound(self) -> int:
        """How many instances variables of interfaces are known to stand for."""
        return sum(map(len, self.bound.values()))

    @property
    def size(self) -> int:
        """How much was found."""
        known = (self.unknown, self.explicit, self.copied, self.shared, self.written)
        sets = (*known, self.met, self.timed, self.given, self.elsewhere)
        return (
            sum(map(len, sets)) + self.n_bound + sum(given.is_sure for given in self.given.values())
        )

    def give(self, given: Given) -> None:
        """Take what is read for a value of a type, unless that is known already."""
        known = self.given.get(given.path.casefold())
        if known is None or (given.is_sure and not known.is_sure):
            self.given[given.path.casefold()] = given


@dataclass(frozen=True)
class Placed:
    """What stands at an address: the variable, its shape and its first declaration."""

    reference: Reference
    shape: Shape
    declaration: sx.Declaration


@dataclass
class Loop:
    """The flags of a loop that is left or whose pass is cut short; empty where none is."""

    left: str = ""
    skipped: str = ""


@dataclass
class Frame:
    """What names mean while the code of a unit is read.

    Attributes
    ----------
    unit : syntax.Unit or None
        Whose code it is; None for globals.
    names : dict of str to Reference
        By casefolded name.
    instance : Frame or None
        Of a method or an action: the variables of its instance.
    block : Block or None
        The shape of the instance; None in a program or a function.
    path : str
        Of the instance.
    raw : dict of str to Reference
        Where a call puts an input that the code sees as an edge.
    anew : list of (Located, syntax.Expression or None, Frame)
        Of an instance that lives as long as a call: its variables, with their initial values and
        where the names in these are looked up.
    returned : str
        The flag that is set by RETURN; empty where there is none.
    """

    unit: sx.Unit | None
    names: dict[str, Reference]
    instance: Frame | None = None
    block: Block | None = None
    path: str = ""
    raw: dict[str, Reference] = field(default_factory=dict)
    anew: list[tuple[Located, sx.Expression | None, Frame]] = field(default_factory=list)
    places: dict[str, Place] = field(default_factory=dict)
    returned: str = ""
    loops: list[Loop] = field(default_factory=list)

    def find(self, name: str) -> Reference | None:
        """What `name` means here, apart from globals."""
        found = self.names.get(name.casefold())
        if found is None and self.instance is not None:
            return self.instance.find(name)
        return found

    def known(self) -> list[str]:
        """Names worth suggesting."""
        return [*self.names, *(self.instance.known() if self.instance else [])]


@dataclass
class Reading:
    """One reading of the project.

    Attributes
    ----------
    declarations : list of syntax.Declaration
        Of the program of scalars.
    instances : dict of str to Frame
        Variables of each instance of a user's block, by its path.
    calling : list of str
        Functions that are being read, to find those that call themselves.
    reached : set of str
        Casefolded names of the units whose code was read.
    passing : dict of str to int
        The value of the variable of each loop whose pass is being read.
    outer : dict of str to str
        By the path of each of their parts, globals and variables at addresses by their names.
    at : dict of str to Placed
        What is declared at each plain address.
    addresses : list of (syntax.Expression, Frame)
        Initial values of pointers and of texts.
    pointed : dict of str to Located
        Variables that a pointer or a reference may point to.
    blind : UnknowableError or None
        Why any of these may be written: through a pointer, or by code that is not known.
    wanted : dict of int to (syntax.Expression, Wanted)
        The type that an expression must have, by its identity in the tree.
    any_values : set of str
        Inputs that let a variable have any value.
    sharing_bits : set of str
        Inputs that have bits in common and yet are given values each by itself.
    answers : dict of str to str or None
        Why a comparison has no answer that is known, by the input that takes its place; None
        where what depends on it is left out instead.
    foreign : dict of str to (Located, syntax.Expression)
        What is read of variables of types that are not in the files given, with its first value.
    bound_at_start : list of (str, syntax.Expression, Frame)
        Initial values of variables of an interface, by their paths.
    outside : set of str
        Variables that the world outside may change between any two scans.
    """

    project: Project
    found: Found
    mistakes: MistakeList = field(default_factory=MistakeList)
    declarations: list[sx.Declaration] = field(default_factory=list)
    enums: dict[str, sx.TypeDef] = field(default_factory=dict)
    instances: dict[str, Frame] = field(default_factory=dict)
    notes: dict[sx.Note, None] = field(default_factory=dict)
    calling: list[str] = field(default_factory=list)
    reached: set[str] = field(default_factory=set)
    prologue: list[sx.Statement] = field(default_factory=list)
    globals: dict[str, Reference] = field(default_factory=dict)
    inputs: set[str] = field(default_factory=set)
    passing: dict[str, int] = field(default_factory=dict)
    outer: dict[str, str] = field(default_factory=dict)
    at: dict[str, Placed] = field(default_factory=dict)
    addresses: list[tuple[sx.Expression, Frame]] = field(default_factory=list)
    pointed: dict[str, Located] = field(default_factory=dict)
    blind: UnknowableError | None = None
    wanted: dict[int, tuple[sx.Expression, Wanted]] = field(default_factory=dict)
    any_values: set[str] = field(default_factory=set)
    sharing_bits: set[str] = field(default_factory=set)
    answers: dict[str, str] | None = None
    foreign: dict[str, tuple[Located, sx.Expression]] = field(default_factory=dict)
    bound_at_start: list[tuple[str, sx.Expression, Frame]] = field(default_factory=list)
    outside: set[str] = field(default_factory=set)
    counter: int = 0

    def is_outside(self, path: str) -> bool:
        """Whether the world outside may change the variable at `path` between any two scans."""
        ends = [len(path), *(at for at, sign in enumerate(path) if sign in ".[")]
        return any(path[:end] in self.outside for end in ends)

    def refuse(self, place: Place, says: str) -> ToldError:
        """Note a mistake; raise what is returned to give up."""
        mistake = Mistake(place, says)
        # The code of a block is read once for each of its instances.
        if mistake not in self.mistakes:
            self.mistakes.append(mistake)
        return ToldError()

    def note(self, place: Place, says: str) -> None:
        """Tell the reader something that is no mistake."""
        self.notes[sx.Note(place, says)] = None

    def mark(self, path: str, place: Place, why: str) -> None:
        """The variable at `path` has no value that is known."""
        self.found.unknown.setdefault(path, (place, why))

    def number(self) -> int:
        """A number that no other temporary has."""
        self.counter += 1
        return self.counter
