"""A system: finite variables, an initial state and guarded moves.

**A step.** In a state, any move whose guard holds may be taken. All its updates read the state
before the move and are written together; variables without an update keep their value.

**Fairness.** A move with a `fair` condition is owed: on an endless run, if that condition holds
for ever from some moment on, the move is taken again and again. Moves without one (operators,
drivers, faults) owe nothing. The condition may be weaker than the guard: a plant move is owed
while its physical condition lasts, although the scan has its turn in between.

**Standstill.** In a state without an enabled move the run stays where it is for ever.

The scan phase, when a system has a controller, is the ordinary variable `PHASE`: whether, or how
often, the environment has moved since the last scan. A state with ``PHASE = 0`` follows a completed
scan; the states between a move and its scan are states like any other.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum
from functools import cached_property

from interlock.kernel.evaluate import Interval, State, bounds, python_function
from interlock.kernel.expr import FALSE, Expr, Op, topological, variables_of

PHASE = "scan.pending"

MOVED = "scan.moved."
"""With a machine's name behind it: the count of its moves since the scan, where that matters."""

SCANNED_BY = "scan.by"
"""Of several controllers: the one whose scan led here, counted from 1; 0 behind all else."""

AGE = "scan.age."
"""With a signal's name: the scans since its sensor last gave the other value."""

LATE = "scan.late."
"""With a signal's name: whether the next scan reads that other value."""


class Role(Enum):
    """What a variable stands for; engines may order variables by it but never need it."""

    PLANT = "plant"
    CONTROL = "control"  # a button, lever or key that an operator sets
    OUTPUT = "output"
    MEMORY = "memory"
    TIMER = "timer"
    FAULT = "fault"
    AGE = "age"  # how old a signal may be that a scan reads
    OBSERVER = "observer"
    PHASE = "phase"


class MoveKind(Enum):
    """Who makes a move."""

    PLANT = "plant"
    OPERATOR = "operator"
    INPUT = "input"  # an input of the program that may change at any moment
    DRIVER = "driver"
    TIMER = "timer"
    FAULT = "fault"
    HUMAN = "human"  # a declared human error, a run class of its own
    BUS = "bus"  # a signal is late, so that the scan will read what it was
    EFFECT = "effect"  # what an output has ordered takes effect, or does so no longer
    SCAN = "scan"
    TIME = "time"  # one unit of it passes


UNCOUNTED = (MoveKind.SCAN, MoveKind.BUS, MoveKind.EFFECT)
"""What no record tells of: any number of these may lie between two of its samples."""


class Event(Enum):
    """What may happen at any moment without anybody's doing."""

    STRIKE = "strikes"  # of a fault
    CLEARING = "clears"
    ELAPSE = "elapses"  # of a timer
    DELAY = "is late"  # of a signal
    EFFECT = "takes effect"  # of what an output is
    LAG = "lags behind"  # of an output: what it was takes effect


@dataclass(frozen=True)
class Origin:
    """What a move comes from that nobody makes: an event, and the fault or timer it belongs to.

    Attributes
    ----------
    event : Event
    of : str
        Id of the fault, or name of the timer, the signal or the output.
    """

    event: Event
    of: str

    @classmethod
    def strike(cls, fault: str) -> Origin:
        """The strike of a fault."""
        return cls(Event.STRIKE, fault)

    @classmethod
    def clearing(cls, fault: str) -> Origin:
        """The clearing of a fault."""
        return cls(Event.CLEARING, fault)

    @classmethod
    def elapse(cls, timer: str) -> Origin:
        """The end of a timer's time."""
        return cls(Event.ELAPSE, timer)

    @classmethod
    def delay(cls, signal: str) -> Origin:
        """That a signal is late at the next scan."""
        return cls(Event.DELAY, signal)

    @property
    def move_name(self) -> str:
        """What people and run files call the move; nobody else takes it apart."""
        return f"{self.of} {self.event.value}"

    @property
    def struck(self) -> str | None:
        """The fault that strikes; None for any other event."""
        return self.of if self.event is Event.STRIKE else None

    @property
    def fault(self) -> str | None:
        """The fault that strikes or clears; None for a timer or a signal."""
        return self.of if self.event in (Event.STRIKE, Event.CLEARING) else None


@dataclass(frozen=True)
class Domain:
    """The integers ``lo..hi``, with a label for each where the values have names."""

    lo: int
    hi: int
    labels: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.lo > self.hi:
            raise ValueError(f"empty domain {self.lo}..{self.hi}")
        if self.labels and len(self.labels) != self.size:
            raise ValueError(f"{len(self.labels)} labels for {self.size} values")

    @property
    def size(self) -> int:
        """How many values there are."""
        return self.hi - self.lo + 1

    def show(self, value: int) -> str:
        """The label of `value`, or its digits."""
        return self.labels[value - self.lo] if self.labels else str(value)


BOOL = Domain(0, 1, ("FALSE", "TRUE"))


def enumeration(*labels: str) -> Domain:
    """A domain with one value for each label, counted from 0."""
    return Domain(0, len(labels) - 1, labels)


@dataclass(frozen=True)
class Variable:
    """A named variable with a finite domain and an initial value."""

    name: str
    domain: Domain
    initial: int
    role: Role = Role.PLANT

    def __post_init__(self) -> None:
        if not self.domain.lo <= self.initial <= self.domain.hi:
            raise ValueError(f"{self.name}: initial value {self.initial} is outside its domain")


@dataclass(frozen=True)
class Move:
    """A guarded simultaneous update.

    Attributes
    ----------
    name : str
        Unique in its system.
    kind : MoveKind
    guard : Expr
    updates : mapping of str to Expr
        New values, read from the state before the move.
    fair : Expr or None
        Condition under which the move is owed, or None where it never is.
    says : str
        The move in the trade's words, for a witness; may be empty.
    origin : Origin or None
        Which fault, timer or signal it belongs to; None where the plant, people or the program make
        it.
    is_chance : bool
        It happens or not, and nobody can bring it about.
    """

    name: str
    kind: MoveKind
    guard: Expr
    updates: Mapping[str, Expr]
    fair: Expr | None = None
    says: str = ""
    origin: Origin | None = None
    is_chance: bool = False

    @property
    def is_unbidden(self) -> bool:
        """Whether it need not happen and nobody can bring it about: no way back counts on it."""
        return self.is_chance or self.kind is MoveKind.FAULT


@dataclass(frozen=True)
class System:
    """Variables, an initial state and moves. Checked when built.

    Raises
    ------
    ValueError
        If names repeat, a move reads or writes an unknown variable, or an update could leave
        its variable's domain (by interval arithmetic: clamp it where that is too coarse).
    """

    variables: tuple[Variable, ...]
    moves: tuple[Move, ...]
    title: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        if len(self.index) != len(self.variables):
            raise ValueError("variable names repeat")
        names = [move.name for move in self.moves]
        if len(set(names)) != len(names):
            repeated = sorted({name for name in names if names.count(name) > 1})
            raise ValueError(f"move names repeat: {repeated}")
        # Moves share most of what they read, which is looked at once.
        found: dict[Expr, Interval] = {}
        for move in self.moves:
            self._check(move, found)

    def _check(self, move: Move, found: dict[Expr, Interval]) -> None:
        """Check a move; `found` has the intervals of what was checked before, and gets its own."""
        roots = [
            move.guard,
            *move.updates.values(),
            *([move.fair] if move.fair is not None else []),
        ]
        new = {node.name for node in topological(roots, found) if node.op is Op.VAR}
        unknown = new.union(move.updates) - self.index.keys()
        if unknown:
            raise ValueError(f"move {move.name}: unknown variables {sorted(unknown)}")
        found |= bounds(roots, self.intervals, found)
        for name, update in move.updates.items():
            lo, hi = self.intervals[name]
            if found[update][0] < lo or found[update][1] > hi:
                raise ValueError(
                    f"move {move.name}: {name} may become {found[update]}, outside {lo}..{hi}"
                )

    @cached_property
    def index(self) -> dict[str, int]:
        """Position of each variable in a state."""
        return {variable.name: number for number, variable in enumerate(self.variables)}

    @cached_property
    def intervals(self) -> dict[str, tuple[int, int]]:
        """Least and greatest value of each variable."""
        return {v.name: (v.domain.lo, v.domain.hi) for v in self.variables}

    @property
    def initial(self) -> State:
        """The initial state, values in the order of `variables`."""
        return tuple(variable.initial for variable in self.variables)

    @cached_property
    def onward(self) -> Mapping[str, Move]:
        """The moves that a way back may use, by name: all but faults' and what is chance."""
        return {move.name: move for move in self.moves if not move.is_unbidden}

    @property
    def has_unbidden(self) -> bool:
        """Whether some move is one that no way back may use."""
        return len(self.onward) < len(self.moves)

    @cached_property
    def turns(self) -> tuple[str, ...]:
        """The variables that tell what has moved since the scan; all are 0 behind one."""
        return tuple(name for name in self.index if name == PHASE or name.startswith(MOVED))

    def variable(self, name: str) -> Variable:
        """The variable called `name`."""
        return self.variables[self.index[name]]

    def move(self, name: str) -> Move:
        """The move called `name`."""
        return self._moves_by_name[name]

    def event(self, origin: Origin) -> Move:
        """The move that comes from `origin`."""
        return self._moves_by_origin[origin]

    @cached_property
    def _moves_by_origin(self) -> dict[Origin, Move]:
        return {move.origin: move for move in self.moves if move.origin is not None}

    @cached_property
    def _moves_by_name(self) -> dict[str, Move]:
        return {move.name: move for move in self.moves}

    def named(self, state: State) -> dict[str, int]:
        """The state as a mapping of variable names to values."""
        return {v.name: value for v, value in zip(self.variables, state, strict=True)}

    def extended(self, variables: Sequence[Variable], moves: Sequence[Move]) -> System:
        """The same system with more variables and with `moves` in place of its own."""
        return replace(self, variables=self.variables + tuple(variables), moves=tuple(moves))

    def with_moves(self, moves: Sequence[Move]) -> System:
        """The same system with `moves` in place of its own; its own are not checked again.

        Raises
        ------
        ValueError
            As when a system is made.
        """
        own = {id(move) for move in self.moves}
        new = [move for move in moves if id(move) not in own]
        checked = replace(self, moves=tuple(new))
        made = object.__new__(System)
        for name, value in (*vars(checked).items(), ("moves", tuple(moves))):
            object.__setattr__(made, name, value)
        if len({move.name for move in moves}) != len(moves):
            raise ValueError("move names repeat")
        return made

    def starting_in(self, state: State) -> System:
        """The same system with another initial state; its moves are not checked again.

        Raises
        ------
        ValueError
            If a value is outside the domain of its variable.
        """
        started = zip(self.variables, state, strict=True)
        variables = tuple(replace(variable, initial=value) for variable, value in started)
        made = object.__new__(System)
        for name, value in (*vars(self).items(), ("variables", variables)):
            object.__setattr__(made, name, value)
        return made

    def narrowed(self, observed: Sequence[Expr]) -> System:
        """Without the variables that neither a guard nor `observed` can ever depend on."""
        # What follows a scan is asked after even where no move is possible that would count, and a
        # state has the same variables whichever moves, errors among them, are left out.
        needed = {PHASE, *self.turns, *variables_of([*observed, *self._conditions()])}
        grown = True
        while grown:
            updates = [e for m in self.moves for n, e in m.updates.items() if n in needed]
            more = set(variables_of(updates)) - needed
            needed |= more
            grown = bool(more)
        moves = [
            replace(m, updates={n: e for n, e in m.updates.items() if n in needed})
            for m in self.moves
        ]
        kept = tuple(v for v in self.variables if v.name in needed)
        return replace(self, variables=kept, moves=tuple(moves))

    def _conditions(self) -> list[Expr]:
        guards = [m.guard for m in self.moves if m.guard is not FALSE]
        return guards + [m.fair for m in self.moves if m.fair is not None]


class Stepper:
    """Executes a system one move at a time in plain Python; slow and obvious.

    Parameters
    ----------
    system : System
    """

    def __init__(self, system: System) -> None:
        self.system = system
        # Compiled when first taken: most who look for runs find none, or short ones.
        self._updates: dict[str, tuple[list[int], Callable[[State], tuple[int, ...]]]] = {}

    @cached_property
    def _guards(self) -> Callable[[State], tuple[int, ...]]:
        return python_function([m.guard for m in self.system.moves], self.system.index)

    def enabled(self, state: State) -> list[Move]:
        """The moves whose guard holds in `state`, in the system's order."""
        guards = self._guards(state)
        return [move for move, holds in zip(self.system.moves, guards, strict=True) if holds]

    def after(self, state: State, move: Move) -> State:
        """The state that `move` leads to; its guard is not asked."""
        if move.name not in self._updates:
            updates = self.system.move(move.name).updates
            function = python_function(list(updates.values()), self.system.index)
            self._updates[move.name] = [self.system.index[name] for name in updates], function
        places, function = self._updates[move.name]
        successor = list(state)
        for place, value in zip(places, function(state), strict=True):
            successor[place] = value
        return tuple(successor)

    def successors(self, state: State) -> list[tuple[Move, State]]:
        """Every enabled move with the state it leads to, in the system's order."""
        return [(move, self.after(state, move)) for move in self.enabled(state)]
