"""The reachable states of one system, found by compiled code and kept in packed form.

No parents are stored. States are found in breadth-first order, so the number of states after
each 256 expansions tells which 256 states a parent is among; these are expanded once more.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from time import perf_counter
from typing import Any, Protocol

from interlock.base import cores
from interlock.base.errors import InternalError
from interlock.engines.budget import Budget
from interlock.engines.enumerate import runtime
from interlock.engines.enumerate.context import (
    BATCH,
    EXPANSIONS_PER_CHECKPOINT,
    Shared,
)
from interlock.engines.enumerate.jit import Library
from interlock.engines.enumerate.memory import Array
from interlock.engines.enumerate.routines import routines
from interlock.engines.enumerate.together import SIZES, Crew, Member, Together
from interlock.kernel.codec import Codec
from interlock.kernel.evaluate import State
from interlock.kernel.system import System
from interlock.kernel.witness import Step, Witness

# An index plus 1 has to fit 32 bits.
MOST_STATES = (1 << 32) - 1
_FIRST_SLOTS = 1 << 12
# Where the table is small its memory does not matter. Later 24 bytes a state must hold, which
# with two words for a state leave room for 8 bytes of the table at its emptiest.
_SMALL_TABLE = 1 << 20
SLICE_S = 0.1
"""How long compiled code may run before limits and interruptions are looked at."""


class Compiled(Protocol):
    """Compiled functions by their names."""

    def address(self, name: str) -> int:
        """Where a function starts."""

    def function(self, name: str, n_args: int) -> Any:
        """A function of 64-bit words as a Python callable."""


class Space:
    """The states of a system, its compiled program and the routines over both.

    Parameters
    ----------
    system : System
    codec : Codec
    program : Compiled
        Compiled from the system's `Program`.
    budget : Budget
    analysing : bool
        Whether traps, loops or runs along legs will be looked for.
    most_states : int
        How many states an index can number.
    more_moves : int
        How many more moves than `system` has another program for the same states may have.

    Attributes
    ----------
    conditions : Compiled
        What is asked of states; the program itself, where that is compiled with it.
    n_threads : int
        Threads that explore and look at states.
    has_all_threads : bool
        Whether the machine let all start that were to.
    sizes : Sizes
        What is worth the work of several threads.
    routines, made_anew : dict of str to callable
        The compiled routines; and those that make moves anew, whatever steps are kept.
    by_kept_steps : Library or None
        Holds the searches by kept steps.
    n_kept_bytes : int
        What kept steps take.
    spare : int
        States that fit beyond the room, since several threads notice late that it is used up.
    """

    def __init__(
        self,
        system: System,
        codec: Codec,
        program: Compiled,
        budget: Budget,
        *,
        analysing: bool,
        most_states: int = MOST_STATES,
        more_moves: int = 0,
    ) -> None:
        self.system, self.codec, self.program, self.budget = system, codec, program, budget
        self.conditions: Compiled = program
        self.n_words = codec.n_words
        self.library, self.made_anew = routines(codec.n_words, analysing)
        self.routines = self.made_anew
        self.by_kept_steps: Library | None = None
        self.n_kept_bytes = 0
        self.shared = shared = Shared()
        self.complete = False
        self.arrays: dict[str, Array] = {}
        self.n_analysis_bytes = 0
        limit = budget.limits.max_states
        self._most = most_states if limit is None else min(limit, most_states)
        n_most_moves = max(len(system.moves) + more_moves, 1)
        self._batch_moves = BATCH * n_most_moves
        self.n_threads = cores.in_use()
        self.has_all_threads = True
        self._together: Together | None = None
        self.sizes = SIZES
        self.spare = SIZES.spare(self.n_threads, self._batch_moves)
        shared["expand"] = program.address("expand")
        shared["batch_moves"] = self._batch_moves
        shared["most_states"] = self._most
        self.new_array("levels", 8, 256)
        shared["levels_room"] = 256
        # One more than is counted may be written; rehashing borrows the hashes' buffer.
        self.new_array("out_words", 8 * self.n_words, self._batch_moves + 1)
        self.new_array("out_moves", 2, self._batch_moves + 1)
        self.new_array("out_hashes", 8, max(self._batch_moves + 1, 2 * BATCH))
        order = self.new_array("order", 8 * self.n_words, 1)
        order[0] = self._packed(system.initial)
        self.new_array("checkpoints", 4, 1)
        shared["n_states"] = shared["level_end"] = shared["n_levels"] = 1
        self.arrays["levels"][0] = 1
        self._resize(max(_FIRST_SLOTS, 4 * self._batch_moves))
        self._successors = program.function("expand", 4)

    def new_array(self, name: str, width: int, length: int) -> Array:
        """A zeroed array under the name that the routines know."""
        self.drop(name)
        array = self.arrays[name] = Array(width, length)
        self.shared[name] = array.address
        return array

    def drop(self, *names: str) -> None:
        """Give arrays back."""
        for name in names:
            self.arrays.pop(name, None)
            self.shared[name] = 0

    @property
    def n_states(self) -> int:
        """States found so far."""
        return self.shared["n_states"]

    @property
    def depth(self) -> int:
        """Moves to the farthest state found so far."""
        return len(self.level_sizes()) - 1

    def level_sizes(self) -> list[int]:
        """New states at each depth."""
        ends = self.arrays["levels"].part(0, self.shared["n_levels"])
        if ends[-1] < self.n_states:
            ends.append(self.n_states)
        return [end - start for start, end in zip([0, *ends], ends, strict=False)]

    @property
    def n_bytes(self) -> int:
        """Memory allocated and touched at most so far."""
        kept = self.n_kept_bytes + self.n_analysis_bytes
        return self._bytes_with(self.shared["n_slots"]) + kept

    def has_room_for(self, n_bytes: int) -> bool:
        """Whether the memory limit lets so many more bytes be used."""
        most = self.budget.limits.max_bytes
        return most is None or self.n_bytes + n_bytes <= most

    def _bytes_with(self, n_slots: int) -> int:
        n_checkpoints = -(-self.shared["next"] // EXPANSIONS_PER_CHECKPOINT)
        per_move = 8 * self.n_words + 8 + 2
        return (
            8 * self.n_words * self.n_states
            + 4 * n_slots
            + 4 * n_checkpoints
            + 8 * self.shared["n_levels"]
            + per_move * self._batch_moves
        )

    def _resize(self, n_slots: int) -> None:
        """Make a new table, and room in the other arrays for as many states as it may take."""
        self.drop("table")  # the order array knows everything that is in it
        room = min(n_slots * 3 // 4, self._most + self._batch_moves)
        self.new_array("table", 4, n_slots)
        shared = self.shared
        shared["n_slots"], shared["room"] = n_slots, room
        shared["index_bits"] = min((room + self.spare).bit_length(), 32)
        for name, length in (
            ("order", room + self.spare),
            ("checkpoints", (room + self.spare) // EXPANSIONS_PER_CHECKPOINT + 1),
        ):
            self.arrays[name].grow(length)
            shared[name] = self.arrays[name].address
        if self._together is None or not self._together.rehash():
            self.routines["rehash"](shared.address)

    def _grow(self) -> bool:
        """Make more room; False where the memory limit forbids it."""
        shared = self.shared
        if shared["n_levels"] == shared["levels_room"]:
            levels = self.arrays["levels"]
            levels.grow(2 * levels.length)
            shared["levels"], shared["levels_room"] = levels.address, levels.length
        if self.n_states + self._batch_moves <= shared["room"]:
            return True
        n_slots = shared["n_slots"]
        if n_slots < _SMALL_TABLE:
            n_slots *= 4
        else:
            n_slots = 2 * n_slots if self.n_words == 1 else n_slots * 7 // 5
        if self.budget.spent(self._bytes_with(n_slots)):
            return False
        self._resize(n_slots)
        return True

    def explore(self) -> None:
        """Find every state, up to the limits."""
        with Together(self, self.n_threads) as self._together:
            self._explore(self._together)
        self._together = None

    def _explore(self, together: Together) -> None:
        shared, explore = self.shared, self.routines["explore"]
        budget, step = self.budget, 4 * EXPANSIONS_PER_CHECKPOINT
        while shared["next"] < self.n_states:
            budget.report("exploring", self.n_states, shared["n_levels"] - 1)
            if budget.spent(self.n_bytes):
                return
            if together.expand():
                continue
            started = perf_counter()
            status = explore(shared.address, together.alone_until(shared["next"] + step))
            if status == runtime.REFUSED:
                budget.refuse_state(self._most)
                return
            if status == runtime.MUST_GROW and not self._grow():
                return
            if perf_counter() - started < SLICE_S / 2:
                step *= 2
        self.complete = True

    def in_slices(
        self,
        stage: str,
        length: int,
        work: Callable[[int, int], object],
        *,
        to_the_end: bool = False,
        is_over: Callable[[], bool] | None = None,
    ) -> bool:
        """Call ``work(first, stop)`` over ``range(length)``; False where time ran out.

        Where `is_over` tells that, some of it is done anyway.
        """
        first, step, depth = 0, 1 << 14, self.depth
        out_of_time = self.budget.out_of_time
        while first < length:
            self.budget.report(stage, self.n_states, depth)
            if not to_the_end and (is_over is None or first) and (is_over or out_of_time)():
                return False
            started = perf_counter()
            work(first, min(first + step, length))
            first += step
            if perf_counter() - started < SLICE_S / 2:
                step *= 2
        return True

    def _packed(self, state: State) -> int:
        return sum(word << (64 * n) for n, word in enumerate(self.codec.pack(state)))

    def state(self, number: int) -> State:
        """The values of a state."""
        return self._unpacked(self.arrays["order"][number])

    def _unpacked(self, packed: int) -> State:
        return self.codec.unpack(
            [(packed >> (64 * n)) & ((1 << 64) - 1) for n in range(self.n_words)]
        )

    def successors(self, number: int) -> list[tuple[int, int | None]]:
        """The number of each enabled move with the index it leads to, None where not explored."""
        shared, arrays = self.shared, self.arrays
        state = shared["order"] + 8 * self.n_words * number
        count = self._successors(state, shared["out_words"], shared["out_moves"], 0)
        found = []
        for n in range(count):
            words = shared["out_words"] + 8 * self.n_words * n
            target = self.routines["index_of"](shared.address, words)
            found.append((arrays["out_moves"][n], None if target == runtime.NOWHERE else target))
        return found

    def step(self, move: int, target: int) -> Step:
        """The step by a move to a state."""
        return Step(self.system.moves[move].name, self.state(target))

    def steps_to(self, number: int) -> list[Step]:
        """The steps of the run that found a state."""
        shared, checkpoints = self.shared, self.arrays["checkpoints"]
        n_checkpoints = -(-shared["next"] // EXPANSIONS_PER_CHECKPOINT)
        steps = []
        while number:
            block = bisect_right(checkpoints, number, 0, n_checkpoints) - 1
            first = block * EXPANSIONS_PER_CHECKPOINT
            stop = min(first + EXPANSIONS_PER_CHECKPOINT, self.n_states)
            parent = self.routines["find_parent"](shared.address, first, stop, number)
            if parent == runtime.NOWHERE:
                raise InternalError("a state was found that no earlier one leads to")
            steps.append(self.step(self.arrays["out_moves"][shared["cursor"]], number))
            number = parent
        return steps[::-1]

    def witness_to(self, number: int) -> Witness:
        """The run that found a state."""
        return Witness(self.state(0), tuple(self.steps_to(number)))

    def tally(
        self,
        function: int,
        n_bits: int,
        first: int,
        stop: int,
        is_over: Callable[[], bool] | None = None,
    ) -> tuple[list[tuple[int, int] | None], bool]:
        """For each bit of a function how many states of a range have it, and the first of these.

        And whether all were looked at: `is_over`, where given, may end it before.
        """
        tally = self.routines["tally"]
        with Crew(self, stop - first, {"counts": (8, 64), "firsts": (8, 64)}) as crew:
            for member in crew.members:
                member.shared["seen"] = 0

            def work(member: Member, start: int, end: int) -> None:
                tally(member.shared.address, function, start, end)

            is_whole = self.in_slices(
                "conditions",
                stop - first,
                lambda a, b: crew.over(work, first + a, first + b),
                to_the_end=is_over is None,
                is_over=is_over,
            )
            found = [(m.arrays["counts"], m.arrays["firsts"]) for m in crew.members]
        return [_all_together(found, bit) for bit in range(n_bits)], is_whole

    def flag(self, function: int, stage: str = "flags", *, to_the_end: bool = True) -> bool:
        """Set the flags of every state to what a function of it gives; False where time ran out."""
        flag = self.routines["flag"]

        def work(member: Member, start: int, end: int) -> None:
            flag(member.shared.address, function, start, end)

        with Crew(self, self.n_states) as crew:
            return self.in_slices(
                stage, self.n_states, lambda a, b: crew.over(work, a, b), to_the_end=to_the_end
            )

    def way(self, source: int, function: int, bit: int) -> list[str] | None:
        """The moves of a shortest way from a state to one with a bit; None where there is none."""
        n_states = self.n_states
        flags = self.new_array("flags", 1, n_states)
        came = self.new_array("frames", 4, n_states + 1)
        self.new_array("stack", 4, n_states + 1)
        self.flag(function)
        inside, goal = 1, 2
        table = bytes(inside | (goal if value >> bit & 1 else 0) for value in range(256))
        flags.fill(flags.content(n_states).translate(table))
        number = self.routines["search"](self.shared.address, source, inside, goal, 0)
        found: list[str] | None = None
        if number != runtime.NOWHERE:
            found = []
            while number != source:
                before = came[number]
                move = next(m for m, target in self.successors(before) if target == number)
                found.append(self.system.moves[move].name)
                number = before
            found.reverse()
        self.drop("flags", "frames", "stack")
        return found


def _all_together(found: Sequence[tuple[Array, Array]], bit: int) -> tuple[int, int] | None:
    """How many states have a bit and which is the first, from what each thread has counted."""
    met = [(counts[bit], firsts[bit]) for counts, firsts in found if counts[bit]]
    return (sum(n for n, _ in met), min(first for _, first in met)) if met else None
