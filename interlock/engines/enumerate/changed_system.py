"""A known space, and changed systems explored from it: `interlock.kernel.kept`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import cache
from typing import Any

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.enumerate import changed_routines as text
from interlock.engines.enumerate import runtime
from interlock.engines.enumerate.jit import Library
from interlock.engines.enumerate.linking import Compiler
from interlock.engines.enumerate.loops import FairMoves, find_loop
from interlock.engines.enumerate.program import Program
from interlock.engines.enumerate.space import Space
from interlock.engines.enumerate.traps import find_traps
from interlock.kernel.codec import Codec
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.kept import CONDITIONS_AT_ONCE
from interlock.kernel.query import Answer, Limits, ProgressSink, Trap
from interlock.kernel.system import System
from interlock.kernel.witness import Step, Witness

_FIRST_CHUNK = 1 << 16
_FIRST_QUOTA = 1 << 14
# A changed system may have so many more moves.
_MORE_MOVES = 8


@cache
def _routines(n_words: int) -> tuple[Library, dict[str, Any]]:
    library = Library(text.beside_text(n_words), optimised=True)
    return library, {name: library.function(name, n) for name, n in text.ARGUMENTS.items()}


class Known:
    """The reachable states of a system, kept.

    Parameters
    ----------
    system : System
    limits : Limits
    progress : callable, optional

    Attributes
    ----------
    complete : bool
        Whether no limit was hit; only then may changed systems be explored beside it.

    Raises
    ------
    DeclinedError
        As `EnumeratingEngine.explore`.
    """

    def __init__(
        self, system: System, limits: Limits = NO_LIMITS, progress: ProgressSink | None = None
    ) -> None:
        self.system = system
        self.codec = Codec.of_system(system)
        self.compiler = Compiler(self.codec)
        self.budget = Budget(limits, progress)
        program = self.compiler.system(system, {})
        self.space = Space(
            system,
            self.codec,
            program,
            self.budget,
            analysing=True,
            more_moves=_MORE_MOVES,
        )
        self._expand = program.address("expand")
        self.space.explore()
        self.complete = self.space.complete
        self.n_states = self.space.n_states
        self._library, self.routines = _routines(self.codec.n_words)
        self._aim: int | None = None

    def first(self, conditions: Sequence[Expr]) -> list[tuple[int, int] | None]:
        """For each condition how many states have it, and the first; None where none has."""
        found: list[tuple[int, int] | None] = []
        for start in range(0, len(conditions), CONDITIONS_AT_ONCE):
            group = conditions[start : start + CONDITIONS_AT_ONCE]
            program = Program(self.system, self.codec, ())
            program.add_bits("bits", group)
            library = Library(program.text(), optimised=False)
            found += self.space.tally(library.address("bits"), len(group), 0, self.n_states)[0]
        return found

    def state(self, number: int) -> State:
        """The state with that number."""
        return self.space.state(number)

    def changed(
        self,
        system: System,
        differs: Expr,
        conditions: Mapping[str, Sequence[Expr]],
        limits: Limits = NO_LIMITS,
    ) -> Changed:
        """A changed system, compiled for this space: see `Changed`."""
        return Changed(self, system, differs, conditions, limits)

    def depth_of(self, number: int) -> int:
        """Moves of a shortest run to a state."""
        return len(self.witness_to(number))

    def witness_to(self, number: int) -> Witness:
        """A shortest run to a state."""
        return Witness(self.space.state(0), tuple(self.steps_to(number)))

    def steps_to(self, number: int) -> list[Step]:
        """The steps of a shortest run to a state."""
        with self._own_moves():
            return self.space.steps_to(number)

    @contextmanager
    def _own_moves(self) -> Iterator[None]:
        """Expand states by the moves of this system, also where another one is beside it."""
        shared = self.space.shared
        other, shared["expand"] = shared["expand"], self._expand
        yield
        shared["expand"] = other

    @property
    def aim(self) -> int | None:
        """A state to which every other leads back but those before the first scan; None if not so.

        There is none where faults may strike: no way back leads from a state with one to all.

        With it come, for every state, a step on such a way (`aimed` and `toward`).
        """
        if self._aim is None:
            self._aim = self._find_aim()
        return self._aim or None

    def _find_aim(self) -> int:
        space, shared = self.space, self.space.shared
        # Power-up is left for ever by the first move; what it leads to is where runs come back to.
        candidate = next((target for _, target in space.successors(0) if target), 0)
        if not candidate or self.system.has_unbidden:
            return 0
        space.new_array("aimed", 4, self.n_states)
        space.new_array("toward", 4, self.n_states)
        space.new_array("moved", 2, self.n_states)
        flags = space.new_array("flags", 1, self.n_states)
        shared["n_aimed"] = 0
        flags[candidate] = text.ARRIVES
        lacking, backward = self.n_states, True
        while True:
            before, backward = lacking, not backward
            lacking = self.sweep(self.n_states, backward=backward, noting=True)
            if not lacking or lacking == before:
                break
        space.drop("flags")
        if lacking:
            space.drop("aimed", "toward", "moved")
            return 0
        return candidate

    def way(self, source: int, goal: Expr) -> list[str] | None:
        """The moves of a shortest way from a state to one with `goal`; None where there is none."""
        program = Program(self.system, self.codec, ())
        program.add_bits("goal", [goal])
        library = Library(program.text(), optimised=False)
        with self._own_moves():
            return self.space.way(source, library.address("goal"), 0)

    def sweep(self, n_states: int, *, backward: bool, noting: bool) -> int:
        """Let states arrive that have a step to one that does; how many do not."""
        lacking = 0

        def sweep(first: int, stop: int) -> None:
            nonlocal lacking
            if backward:
                first, stop = n_states - stop, n_states - first
            shared = self.space.shared.address
            lacking += self.routines["aim"](shared, first, stop, int(backward), int(noting))

        self.space.in_slices("ways back", n_states, sweep, to_the_end=True)
        return lacking


class Changed:
    """A changed system, compiled, for a known space.

    Parameters
    ----------
    known : Known
    system : System
        With the variables of the known system in the same order and with the same initial values.
    differs : Expr
        Holds in every known state in which any move of the two systems differs.
    conditions : mapping of str to sequence of Expr
        Up to 64 each, for what is asked later.
    limits : Limits
    """

    def __init__(
        self,
        known: Known,
        system: System,
        differs: Expr,
        conditions: Mapping[str, Sequence[Expr]],
        limits: Limits = NO_LIMITS,
    ) -> None:
        if system.variables != known.system.variables:
            raise ValueError("a changed system needs the variables of the known one")
        if len(system.moves) > len(known.system.moves) + _MORE_MOVES:
            raise ValueError("too many moves")
        self.known, self.system, self.limits = known, system, limits
        self.program = known.compiler.system(system, {"differs": [differs], **conditions})
        self.widths = {name: len(exprs) for name, exprs in conditions.items()}
        # What leads to states that are not known, from states that are.
        own = {move.name: move for move in known.system.moves}
        leading = [n for n, move in enumerate(system.moves) if own.get(move.name) != move]
        self.leading = known.compiler.part(system, leading)
        theirs = {move.name: move for move in system.moves}
        self.gone = bytes(theirs.get(m.name) != m for m in known.system.moves)

    def from_power_up(self, most_states: int) -> FromPowerUp:
        """What it reaches from its initial state, up to so many states."""
        return FromPowerUp(self, most_states)

    def beside(self, most_new: int) -> Beside:
        """What it reaches beside the known space, up to so many states; a context."""
        return Beside(self, most_new)


class FromPowerUp(Space):
    """What a changed system reaches from its initial state, up to so many states."""

    def __init__(self, changed: Changed, most_states: int) -> None:
        budget = Budget(replace(changed.limits, max_states=most_states), None)
        system, codec = changed.system, changed.known.codec
        super().__init__(system, codec, changed.program, budget, analysing=True)
        self._changed = changed
        self.explore()

    def found(self, name: str) -> list[tuple[int, int]]:
        """The conditions of `name` that some state meets, with the first that does."""
        changed = self._changed
        function, n_bits = changed.program.address(name), changed.widths[name]
        counted, _ = self.tally(function, n_bits, 0, self.n_states)
        return [(bit, entry[1]) for bit, entry in enumerate(counted) if entry is not None]

    def stays(self, name: str) -> Answer:
        """Whether a fair loop stays where condition 0 of `name` holds, from where 1 does on."""
        return find_loop(self, FairMoves(self.system), self._changed.program.address(name))[1]

    def traps(self, name: str, goals: Sequence[Trap]) -> list[Answer]:
        """The answers about goals, which are the conditions of `name`; up to eight.

        Where faults may strike or clear there are none: the parts of a changed model are not
        linked without these.
        """
        if self.system.has_unbidden:
            return [Answer(None)] * len(goals)
        return find_traps(self, goals, self._changed.program.address(name))


class Beside(Space):
    """What a changed system reaches beside a known space; at the context's end all is as before."""

    def __init__(self, changed: Changed, most_new: int) -> None:
        known = changed.known
        self.__dict__.update(known.space.__dict__)
        self.changed, self.known, self.system = changed, known, changed.system
        self.program = changed.program
        self.budget = Budget(changed.limits, None)
        self._successors = self.program.function("expand", 4)
        self.most_new = most_new
        self.is_full = False
        self.is_closed = False  # everything that follows was found
        self._next_known, self._next_new, self._tallied = 0, known.n_states, known.n_states
        self._chunk, self._quota = _FIRST_CHUNK, _FIRST_QUOTA

    def __enter__(self) -> Beside:
        shared, n_known = self.shared, self.known.n_states
        self._expand_before, self._most_before = shared["expand"], shared["most_states"]
        shared["expand"] = self.program.address("expand")
        shared["most_states"] = min(n_known + self.most_new, runtime.NOWHERE >> 32)
        shared["n_known"] = n_known
        self.new_array("came", 4, max(shared["room"] - n_known, 1))
        return self

    def __exit__(self, *_: object) -> None:
        shared, known = self.shared, self.known
        known.routines["retract"](shared.address, known.n_states)
        shared["expand"], shared["most_states"] = self._expand_before, self._most_before
        self.drop("came", "seeds", "flags")

    # What follows from where the systems differ

    def waves(self, name: str) -> Iterator[list[tuple[int, int]]]:
        """Find what follows, bit by bit, and tell what of it meets conditions.

        Yields
        ------
        list of (int, int)
            The number of a condition of `name` and the first new state that meets it; one list
            for every bit of the work. After the last one `is_closed` holds, unless there was too
            much of it.
        """
        n_known, function = self.known.n_states, self.program.address(name)
        while not self.is_closed and not self.is_full:
            self._look()
            self._follow(self._quota)
            self._quota = min(2 * self._quota, 1 << 21)
            n_bits = self.changed.widths[name]
            counted, _ = self.tally(function, n_bits, self._tallied, self.n_states)
            self._tallied = self.n_states
            if self._next_known >= n_known and self._next_new >= self.n_states:
                self.is_closed = not self.is_full
            yield [(bit, found[1]) for bit, found in enumerate(counted) if found is not None]

    def _look(self) -> None:
        """Look at some more known states, and expand those in which the systems differ."""
        first = self._next_known
        stop = min(first + self._chunk, self.known.n_states)
        if first >= stop:
            return
        self._chunk *= 4
        self._next_known = stop
        self.new_array("seeds", 4, stop - first)
        self.shared["n_seeds"] = 0
        leading, shared = self.changed.leading, self.shared
        if leading is not None:
            gather = self.known.routines["gather"]
            gather(shared.address, self.program.address("differs"), first, stop)
            every, shared["expand"] = shared["expand"], leading.address("expand")
            self._spread(0, shared["n_seeds"], through=True)
            shared["expand"] = every
        self.drop("seeds")

    def _follow(self, quota: int) -> None:
        """Expand some more of what was found."""
        stop = min(self._next_new + quota, self.n_states)
        self._next_new = self._spread(self._next_new, stop, through=False)
        self.is_full = self.is_full or self.budget.spent(self.n_bytes)

    def _spread(self, first: int, stop: int, *, through: bool) -> int:
        """Expand states; the first place that was not done."""
        shared = self.shared
        while first < stop:
            status = self.known.routines["spread"](shared.address, first, stop, int(through))
            first = shared["cursor"]
            if status == runtime.REFUSED or (status == runtime.MUST_GROW and not self._grown()):
                self.is_full = True
                break
        return first

    def _grown(self) -> bool:
        self._most = self.shared["most_states"]
        if not self._grow():
            return False
        # The arrays and the table are the known space's, too.
        self.arrays["came"].grow(max(self.shared["room"] - self.known.n_states, 1))
        self.shared["came"] = self.arrays["came"].address
        return True

    # Runs

    def steps_to(self, number: int) -> list[Step]:
        """The steps to a state; up to the first that is not known, those of the known system."""
        behind: list[Step] = []
        n_known = self.known.n_states
        while number >= n_known:
            parent = self.arrays["came"][number - n_known]
            move = next(m for m, target in self.successors(parent) if target == number)
            behind.append(self.step(move, number))
            number = parent
        return self.known.steps_to(number) + behind[::-1]

    # Analyses of everything that was found; `is_closed` first

    def stays(self, name: str) -> Answer:
        """Whether a fair loop stays where condition 0 of `name` holds, from where 1 does on."""
        return find_loop(self, FairMoves(self.system), self.program.address(name))[1]

    def can_go(self, source: int, name: str, bit: int) -> bool:
        """Whether a state that meets a condition of `name` can be reached from a state."""
        return self.way(source, self.program.address(name), bit) is not None

    def never_back(self, name: str) -> bytes:
        """For each state 1 where no state with condition 0 of `name` can be reached from it.

        Condition 1 of `name` says where the systems differ. The known space needs its aim, which
        is what condition 0 should say.
        """
        self.new_array("flags", 1, self.n_states)
        self.flag(self.program.address(name))
        self.new_array("gone", 1, len(self.changed.gone)).fill(self.changed.gone)
        lacking, backward = self.n_states, True
        while lacking:
            before, backward = lacking, not backward
            # What a step that is gone held up may go on by the noted steps once there is another.
            self.known.routines["inherit"](self.shared.address)
            lacking = self.known.sweep(self.n_states, backward=backward, noting=False)
            if lacking == before:
                break
        content = self.arrays["flags"].content(self.n_states)
        self.drop("flags", "gone")
        return content.translate(bytes(not value & text.ARRIVES for value in range(256)))

    def count_new(self, name: str) -> int:
        """How many states that are not known meet condition 0 of `name`."""
        function, n_known = self.program.address(name), self.known.n_states
        (counted,), _ = self.tally(function, 1, n_known, self.n_states)
        return 0 if counted is None else counted[0]
