"""The memory that Python and the compiled code share."""

from __future__ import annotations

import ctypes
from collections.abc import Sequence

from interlock.engines.enumerate.ir import Function, Value, Variable

# One 64-bit word each; addresses and numbers alike.
NAMES = (
    # The space.
    "expand",  # address of the successor function
    "order",  # states in breadth-first order
    "table",  # open-addressing table of entries; 0 is free
    "n_slots",
    "index_bits",  # an entry: its low bits are an index plus 1, the others a part of the hash
    "n_states",
    "next",  # first state that is not expanded
    "level_end",
    "levels",  # index behind the last state of each level
    "n_levels",
    "levels_room",
    "checkpoints",  # number of states after each 256 expansions
    "room",  # states that fit before something must grow
    "most_states",
    "n_moves",  # enabled moves counted so far
    "batch_moves",  # most moves that a batch can have
    # Buffers for the successors of a batch.
    "out_words",
    "out_moves",
    "out_hashes",
    # Analyses.
    "flags",  # one byte a state
    "marks",  # 32 bits a state: order of visit, then component
    "frames",  # depth-first stack: states
    "positions",  # depth-first stack: next successor, and whether a loop to below was met
    "n_frames",
    "stack",  # states that wait for their component to be complete; also the queue of a search
    "n_stack",
    "most_frames",
    "most_stack",
    "cursor",
    "visit",  # number of the next state visited
    "component",  # number of the next component found
    "full",  # flags of a state with nothing left to find
    "unowed",  # address: which fair moves a state does not owe
    "fair_words",
    "fair_bits",  # number of each move among the fair ones, or -1
    "paid",  # bits of the fair moves that a component pays
    "pending",  # bits of the fair moves that a loop still owes
    "seen",  # conditions met so far
    "firsts",  # first state of each condition
    "counts",  # states of each condition
    "keys",  # combinations of values, one word each
    "key_cache",  # keys seen lately, by a few bits of their hash
    "key_known",  # which places of it are in use
    "roots",  # the states that a search starts from, in this order
    "n_roots",
    # Runs along legs.
    "visited",  # bits of the places that a state was met in
    "visited_width",  # bytes of these for each state
    "insides",  # for each place the flag of the states that a run goes on from
    "enters",  # for each place the flag of the states that begin the next leg
    "climbs",  # for each place a flag of what leads to the place behind it, if anything
    "counts_as",  # for each move a flag of what it counts as, if anything
    "walk_states",  # queue: states
    "walk_places",  # queue: their places
    "walk_from",  # queue: the entry that each was found from
    "walk_length",
    "walk_room",
    "walk_most",  # most entries that one state may add
    "nexts",  # for each place the one that the run enters without a move
    "stops",  # for each place which counted moves are not made any more
    "hits",  # entries of the queue in which was met what is looked for
    "n_hits",
    "hit_from",  # first place in which it counts
    "first_hit_ends",  # 1 where the first entry of these is enough
    "farthest",  # the last place in which it was met, plus 1
    # Steps that are kept, see `kept_steps`.
    "step_ends",  # behind the last step of each state, from the second place on
    "step_targets",
    "step_moves",
    "n_steps",
    # The longest way through a leg.
    "counted",  # for each state the most counted moves behind it
    "to_hit",  # the same up to what is looked for, plus 1; 0 is none
    "counted_as",  # what `counts_as` says of a counted move
    "most_counted",  # the greatest of the first
    "most_to_hit",  # and of the second
    # A changed system beside a known space.
    "n_known",  # states of the known space; those found beside it have greater numbers
    "seeds",  # states in which the systems differ
    "n_seeds",
    "came",  # for each state found beside the space, the one that it was found from
    "aimed",  # states in an order in which each has a step to one before it, or to the aim
    "toward",  # that step's end
    "moved",  # and its move
    "n_aimed",
    "gone",  # for each move 1 where it may be gone in states in which the systems differ
    # One stretch of parents, expanded by several threads.
    "tickets",  # what the threads count up together: see `Ticket`
    "stretch_first",
    "stretch_stop",
    "n_blocks",
    "block_news",  # new states of each block of parents; later the number of the first of these
    "block_notes",  # where the notes of each block begin
    "block_n_notes",
    "notes",  # fresh places, as one thread took them or got them for a lesser rank
    "fresh_words",  # new states in the order in which they came
    "fresh_ranks",  # their least parent and move
    "fresh_slots",  # where in the table they are
    "fresh_limit",  # no more blocks are begun once so many fresh places are taken
)
_INDEX = {name: number for number, name in enumerate(NAMES)}
EXPANSIONS_PER_CHECKPOINT = 256
BATCH = 16
KEY_CACHE_BITS = 12
LAST_IN_CHECKPOINT = EXPANSIONS_PER_CHECKPOINT - 1


class Ticket:
    """Where in ``tickets`` each count is; each has a cache line of its own."""

    BLOCK = 0  # the next block that no thread has taken
    FRESH = 16  # the next fresh place
    LENGTH = 32


class Shared:
    """The shared words, read and written as attributes of an array."""

    def __init__(self) -> None:
        self._words = (ctypes.c_uint64 * len(NAMES))()

    def __getitem__(self, name: str) -> int:
        return int(self._words[_INDEX[name]])

    def __setitem__(self, name: str, value: int) -> None:
        self._words[_INDEX[name]] = value

    def copy(self, other: Shared) -> None:
        """Take every word of another one."""
        ctypes.memmove(self.address, other.address, 8 * len(NAMES))

    @property
    def address(self) -> int:
        """Where they are."""
        return ctypes.addressof(self._words)


class Routine(Function):
    """A function whose first argument is the address of the shared words."""

    def __init__(self, name: str, params: Sequence[str] = ()) -> None:
        super().__init__(name, ["ptr", *params])
        self.shared = self.args[0]

    def word(self, name: str) -> Value:
        """A shared number."""
        return self.load("i64", self.shared, _INDEX[name])

    def pointer(self, name: str) -> Value:
        """A shared address."""
        return self.load("ptr", self.shared, _INDEX[name])

    def put(self, name: str, value: Value | int) -> None:
        """Set a shared number."""
        if isinstance(value, int):
            value = self.const("i64", value)
        self.store(value, self.shared, _INDEX[name])

    def mirror(self, name: str) -> Variable:
        """A variable with the value of a shared number; `put` it back when it has changed."""
        return self.variable("i64", self.word(name))
