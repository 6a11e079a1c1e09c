"""Explores a space stretch by stretch with several threads; the numbers are those of one thread.

`together_text` holds the compiled code and the reason why.
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from functools import cache
from itertools import count
from time import thread_time
from typing import Any, Protocol

from interlock.base.team import Team
from interlock.engines.enumerate.context import (
    BATCH,
    Shared,
    Ticket,
)
from interlock.engines.enumerate.jit import Library
from interlock.engines.enumerate.memory import Array
from interlock.engines.enumerate.runtime import space_text
from interlock.engines.enumerate.together_text import Portions, together_text

# An entry of the table numbers so many states, fresh ones included.
_MOST_NUMBERS = (1 << 32) - 1
# Processor time of a stretch that is long enough: others on the machine make the clock run on, and
# then it costs most to wait for each other often.
_LONG_S = 0.1
_PORTIONS = Portions()


@dataclass(frozen=True)
class Sizes:
    """What is worth the work of several threads, and how it is cut.

    Attributes
    ----------
    portions : Portions
    few_parents : int
        Fewer are not worth a wait for all threads; the first stretch has as many.
    most_parents : int
        Of a stretch, for each thread: new states should stay in the processor's caches.
    fresh_each : int
        New states for each parent of a stretch, on the average, that a stretch may find.
    alone : int
        So many parents of the next level one thread expands before the others are asked again.
    few_states : int
        So many are looked at by one thread.
    piece : int
        States that a thread looks at before it takes the next ones.
    """

    portions: Portions = _PORTIONS
    few_parents: int = 1 << 12
    most_parents: int = 1 << 17
    fresh_each: int = 4
    alone: int = 256
    few_states: int = 1 << 16
    piece: int = 1 << 14

    def spare(self, n_threads: int, batch_moves: int) -> int:
        """States that threads may find before they notice that a table or a buffer is full."""
        if n_threads < 2:
            return 0
        return n_threads * (self.portions.block * batch_moves // BATCH + self.portions.fresh)


SIZES = Sizes()

_ROUTINES = {"discover": 1, "number_blocks": 1, "settle": 1, "forget": 1, "enter": 1}


@cache
def _routines(n_words: int, portions: Portions) -> tuple[Library, dict[str, Any]]:
    text = "\n".join([space_text(n_words), together_text(n_words, portions)])
    library = Library(text, optimised=True)
    return library, {name: library.function(name, n) for name, n in _ROUTINES.items()}


class Space(Protocol):
    """What threads need of a space; see `interlock.engines.enumerate.space.Space`."""

    shared: Shared
    n_words: int
    n_threads: int
    has_all_threads: bool
    sizes: Sizes
    spare: int
    n_analysis_bytes: int

    @property
    def n_states(self) -> int:
        """States found so far."""

    def new_array(self, name: str, width: int, length: int) -> Array:
        """A zeroed array under the name that the routines know."""

    def drop(self, *names: str) -> None:
        """Give arrays back."""


def _team(space: Space, size: int) -> Team:
    """A team for work on a space, which notes where the machine lets fewer threads start."""
    team = Team(size)
    if team.size < size:
        space.n_threads, space.has_all_threads = team.size, False
    return team


class Member:
    """What one thread has to itself: the shared words, with arrays of its own.

    Parameters
    ----------
    space : Space
    own : mapping of str to (int, int)
        Width and length of its arrays, by the names that the routines know.

    Attributes
    ----------
    arrays : dict of str to Array
    """

    def __init__(self, space: Space, own: Mapping[str, tuple[int, int]]) -> None:
        self._space = space
        self.shared = Shared()
        self.arrays = {name: Array(*size) for name, size in own.items()}
        self.follow()

    def follow(self) -> int:
        """Take the space's words, but for the own arrays; the address of what results."""
        self.shared.copy(self._space.shared)
        for name, array in self.arrays.items():
            self.shared[name] = array.address
        return self.shared.address


class Crew:
    """Several threads that look at states, each with arrays of its own; a context.

    Parameters
    ----------
    space : Space
    n_states : int
        How many there are to look at; a few are looked at by one thread.
    own : mapping of str to (int, int), optional
        As for `Member`.

    Attributes
    ----------
    members : list of Member
    """

    def __init__(
        self, space: Space, n_states: int, own: Mapping[str, tuple[int, int]] | None = None
    ) -> None:
        self._piece = space.sizes.piece
        self._team = _team(space, space.n_threads if n_states > space.sizes.few_states else 1)
        self.members = [Member(space, own or {}) for _ in range(self._team.size)]

    def __enter__(self) -> Crew:
        return self

    def __exit__(self, *_: object) -> None:
        self._team.close()

    def over(self, work: Callable[[Member, int, int], object], first: int, stop: int) -> None:
        """Call ``work(member, start, end)`` for the pieces of a range; for each member in order."""
        piece = self._piece
        starts = count(first, piece)

        def take(number: int) -> None:
            while (start := next(starts)) < stop:
                work(self.members[number], start, min(start + piece, stop))

        self._team.all_do(take)


class Together:
    """Expands stretches of parents with several threads, where they are worth it; a context.

    Parameters
    ----------
    space : Space
    n_threads : int
        Threads that are wanted; they are started when there is something for them to do.
    """

    def __init__(self, space: Space, n_threads: int) -> None:
        self._space, self._n_threads = space, n_threads
        self._stretches: Stretches | None = None
        self._leaving = ExitStack()

    def __enter__(self) -> Together:
        return self

    def __exit__(self, *_: object) -> None:
        self._leaving.close()

    def expand(self) -> bool:
        """Expand a stretch; False where one thread should go on alone, and nothing was done."""
        shared = self._space.shared
        n_parents = shared["level_end"] - shared["next"]
        if self._n_threads < 2 or n_parents < self._space.sizes.few_parents or not self._has_room:
            return False
        if self._stretches is None and not self._start():
            return False
        assert self._stretches is not None
        if self._stretches.expand(shared["level_end"]):
            return True
        # One thread will find the very state that is one too many.
        self._n_threads = 1
        return False

    def _start(self) -> bool:
        team = _team(self._space, self._n_threads)
        self._leaving.callback(team.close)
        self._n_threads = team.size
        if team.size > 1:
            self._stretches = Stretches(self._space, team)
            self._leaving.callback(self._stretches.close)
        return team.size > 1

    @property
    def _has_room(self) -> bool:
        """Whether the table bears what threads may add to it before they look at its room."""
        shared, space = self._space.shared, self._space
        most = shared["room"] + space.spare
        is_sparse = most + shared["n_slots"] // 8 < shared["n_slots"]
        is_full = shared["n_states"] + shared["batch_moves"] > shared["room"]
        return is_sparse and not is_full and most < min(1 << shared["index_bits"], _MOST_NUMBERS)

    def rehash(self) -> bool:
        """Fill a new table; False where one thread should do it alone."""
        if self._stretches is None:
            return False
        self._stretches.run("enter")
        return True

    def alone_until(self, stop: int) -> int:
        """How far one thread should go alone, at most to `stop`."""
        if self._n_threads < 2:
            return stop
        shared = self._space.shared
        return min(stop, max(shared["level_end"], shared["next"]) + self._space.sizes.alone)


class Stretches:
    """Expands stretches of parents with all threads of a team.

    Parameters
    ----------
    space : Space
    team : Team
    """

    def __init__(self, space: Space, team: Team) -> None:
        self._space, self._team = space, team
        self._library, self._do = _routines(space.n_words, space.sizes.portions)
        self._block = space.sizes.portions.block
        batch = space.shared["batch_moves"]
        own = {"out_words": (8 * space.n_words, batch + 1), "out_moves": (2, batch + 1)}
        own["out_hashes"] = (8, batch + 1)
        self._members = [Member(space, own) for _ in range(team.size)]
        self._tickets = space.new_array("tickets", 8, Ticket.LENGTH)
        self._lay_out(max(space.sizes.few_parents, self._block))

    def _lay_out(self, n_parents: int) -> None:
        """Make room for stretches of so many parents."""
        space, self._n_parents = self._space, n_parents
        self._fresh_room = space.sizes.fresh_each * n_parents
        n_fresh = self._fresh_room + space.spare
        space.new_array("fresh_words", 8 * space.n_words, n_fresh)
        space.new_array("fresh_ranks", 8, n_fresh)
        space.new_array("fresh_slots", 8, n_fresh)
        for name in ("block_news", "block_notes", "block_n_notes"):
            space.new_array(name, 8, n_parents // self._block + 2)
        for member in self._members:
            member.arrays["notes"] = Array(4, n_fresh)

    def close(self) -> None:
        """Give the arrays back."""
        self._space.drop("tickets", "fresh_words", "fresh_ranks", "fresh_slots")
        self._space.drop("block_news", "block_notes", "block_n_notes")

    def run(self, routine: str) -> None:
        """Let every thread run one of the routines, with tickets from the first on."""
        self._tickets[Ticket.BLOCK] = 0
        do, addresses = self._do[routine], [member.follow() for member in self._members]
        self._team.all_do(lambda member: do(addresses[member]))

    def expand(self, stop: int) -> bool:
        """Expand parents, up to `stop` of one level; False where there are too many states.

        Then nothing has changed. Else it is where one thread would be that has expanded as many.
        """
        shared = self._space.shared
        started = thread_time()
        first = shared["next"]
        stop = min(stop, first + self._n_parents)
        n_blocks = -(-stop // self._block) - first // self._block
        room = shared["room"] - shared["batch_moves"] - shared["n_states"]
        for name, value in (
            ("stretch_first", first),
            ("stretch_stop", stop),
            ("n_blocks", n_blocks),
            ("fresh_limit", min(room + 1, self._fresh_room)),
        ):
            shared[name] = value
        self._tickets[Ticket.FRESH] = 0
        ctypes.memset(shared["block_news"], 0, 8 * n_blocks)
        self.run("discover")
        n_moves = sum(member.shared["n_moves"] for member in self._members)
        shared["n_blocks"] = done = min(self._tickets[Ticket.BLOCK], n_blocks)
        n_states = self._do["number_blocks"](shared.address)
        if n_states > shared["most_states"]:
            self._do["forget"](shared.address)
            return False
        self.run("settle")
        shared["n_states"] = n_states
        shared["n_moves"] += n_moves
        shared["next"] = min(stop, (first // self._block + done) * self._block)
        self._note_bytes()
        if done == n_blocks and thread_time() - started < _LONG_S / 2:
            self._lengthen()
        return True

    def _note_bytes(self) -> None:
        space, width = self._space, 8 * self._space.n_words + 8 + 8 + 4
        touched = width * self._tickets[Ticket.FRESH]
        space.n_analysis_bytes = max(space.n_analysis_bytes, touched)

    def _lengthen(self) -> None:
        """Let the next stretch be longer, as far as it is short beside what is known."""
        longer = min(2 * self._n_parents, self._team.size * self._space.sizes.most_parents)
        if self._n_parents < longer < self._space.n_states // 8:
            self._lay_out(longer)
