"""Fair endless runs: the compiled search finds a component, this builds a run around it."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from time import perf_counter

from interlock.engines.enumerate import components as comp
from interlock.engines.enumerate.legs import Route, Walk
from interlock.engines.enumerate.runtime import NOWHERE
from interlock.engines.enumerate.space import SLICE_S, Space
from interlock.kernel.query import Answer
from interlock.kernel.system import System
from interlock.kernel.witness import Step, Witness

_FIRST_COMPONENT = (1 << 32) - 1
_NOT_FAIR = 0xFFFF

# A step inside a component: a move's number and the index it leads to.
_Edge = tuple[int, int]


class DepthFirst:
    """One compiled depth-first search with its arrays.

    Parameters
    ----------
    space : Space
    routine : str
        ``"trap"``, ``"stay"`` or ``"longest"``.
    roots : sequence of int, optional
        The states to start from, in this order; all where not given.
    bytes_beside : int
        What arrays of the caller take for each state.
    """

    def __init__(
        self,
        space: Space,
        routine: str,
        roots: Sequence[int] | None = None,
        bytes_beside: int = 0,
    ) -> None:
        self.space = space
        self._bytes = 5 + bytes_beside
        self._routine = space.routines[routine]
        n_states = space.n_states
        for name, width in (("marks", 4), ("frames", 4), ("positions", 2), ("stack", 4)):
            space.new_array(name, width, n_states + 1)
        shared = space.shared
        for name in ("n_frames", "n_stack", "most_frames", "most_stack", "cursor"):
            shared[name] = 0
        shared["visit"], shared["component"] = 1, _FIRST_COMPONENT
        shared["n_roots"] = n_states if roots is None else len(roots)
        if roots is not None:
            space.new_array("roots", 4, len(roots)).fill(array("I", roots).tobytes())

    def run(self, stage: str) -> int:
        """Search to the end or to the first fair component; UNFINISHED where time ran out."""
        space, step, depth = self.space, 1 << 14, self.space.depth
        while True:
            space.budget.report(stage, space.n_states, depth)
            if space.budget.out_of_time():
                return comp.UNFINISHED
            started = perf_counter()
            status = int(self._routine(space.shared.address, step))
            if status != comp.UNFINISHED:
                return status
            if perf_counter() - started < SLICE_S / 2:
                step *= 2

    def close(self) -> None:
        """Give the arrays back and note how much of them was touched."""
        space, shared = self.space, self.space.shared
        touched = (
            self._bytes * space.n_states + 6 * shared["most_frames"] + 4 * shared["most_stack"]
        )
        space.n_analysis_bytes = max(space.n_analysis_bytes, touched)
        space.drop("marks", "frames", "positions", "stack", "roots")


class FairMoves:
    """The fair moves of a system as bits of a few words, for the compiled code.

    Parameters
    ----------
    system : System
    """

    def __init__(self, system: System) -> None:
        fair = [n for n, move in enumerate(system.moves) if move.fair is not None]
        self.bit = {number: bit for bit, number in enumerate(fair)}
        self.n_words = max(1, -(-len(fair) // 64))

    def share(self, space: Space) -> None:
        """Tell the compiled code."""
        shared = space.shared
        shared["unowed"] = space.conditions.address("unowed")
        shared["fair_words"] = self.n_words
        space.new_array("paid", 8, self.n_words)
        space.new_array("pending", 8, self.n_words)
        bits = space.new_array("fair_bits", 2, max(1, len(space.system.moves)))
        for number in range(len(space.system.moves)):
            bits[number] = self.bit.get(number, _NOT_FAIR)
        self.set_pending(space, (1 << len(self.bit)) - 1)

    def set_pending(self, space: Space, bits: int) -> None:
        """Say which fair moves are owed."""
        for n in range(self.n_words):
            space.arrays["pending"][n] = (bits >> (64 * n)) & ((1 << 64) - 1)


def find_loop(
    space: Space, fair: FairMoves, function: int, roots: Sequence[int] | None = None
) -> tuple[int | None, Answer]:
    """Answer one `Stay` query.

    Parameters
    ----------
    space : Space
    fair : FairMoves
    function : int
        Address of the function that gives whether a state stays and whether it starts.
    roots : sequence of int, optional
        The states that may start, the nearest first; all where not given.

    Returns
    -------
    root : int or None
        The state that starts to stay.
    Answer
    """
    space.new_array("flags", 1, space.n_states)
    fair.share(space)
    if not space.flag(function, "premises", to_the_end=False):
        space.drop("flags")
        return None, Answer(None)
    search = DepthFirst(space, "stay", roots)
    status = search.run("loops")
    root = None
    if status == comp.FOUND:
        builder = _Builder(space, fair)
        root, answer = builder.start, Answer(True, builder.witness())
    else:
        answer = Answer(False if space.complete and status == comp.FINISHED else None)
    search.close()
    space.drop("flags")
    return root, answer


def find_loop_along(
    space: Space, fair: FairMoves, route: Route, legs_function: int, function: int
) -> Answer:
    """Answer one `Stay` query along a route.

    `function` is as for `find_loop`, `legs_function` gives the flags of the route's states.
    """
    walk = Walk(space, route, legs_function)
    hits = walk.hits()
    root, answer = find_loop(space, fair, function, hits)
    if root is not None and answer.witness is not None:
        steps, found = walk.steps_to(hits.index(root)), answer.witness
        assert found.loop_start is not None
        n_before = len(space.steps_to(root))
        answer = Answer(
            True,
            Witness(
                found.initial,
                (*steps, *found.steps[n_before:]),
                found.loop_start - n_before + len(steps),
            ),
        )
    elif answer.found is False and not walk.complete:
        answer = Answer(None)
    walk.close()
    return answer


class _Builder:
    """Builds the run after `stay` has stopped at a fair component."""

    def __init__(self, space: Space, fair: FairMoves) -> None:
        self.space = space
        self.fair = fair
        shared = space.shared
        # While a root's search goes on, it lies at the bottom of the depth-first stack; a root
        # whose own component was found has left it, but still stands there.
        self.start = space.arrays["frames"][0]
        component = space.arrays["marks"][shared["cursor"]]
        space.routines["mark"](shared.address, component)

    def witness(self) -> Witness:
        """The run: to the start, to the loop, round the loop."""
        space = self.space
        approach = self._path(self.start, comp.STAYS, comp.ON_LOOP)
        entry = approach[-1][1] if approach else self.start
        loop = self._loop(entry)
        steps = space.steps_to(self.start) + self._as_steps(approach)
        return Witness(space.state(0), tuple(steps + self._as_steps(loop)), len(steps))

    def _as_steps(self, edges: list[_Edge]) -> list[Step]:
        return [self.space.step(move, target) for move, target in edges]

    def _edges(self, number: int) -> list[_Edge]:
        """The steps that stay in the component."""
        flags = self.space.arrays["flags"]
        found = self.space.successors(number)
        return [(m, t) for m, t in found if t is not None and flags[t] & comp.ON_LOOP]

    def _still_owed(self, owing: int, number: int) -> int:
        """The moves among `owing` that a state owes."""
        space = self.space
        paid = space.arrays["paid"]
        for n in range(self.fair.n_words):
            paid[n] = 0
        state = space.shared["order"] + 8 * space.n_words * number
        space.conditions.function("unowed", 2)(state, paid.address)
        bits = sum(paid[n] << (64 * n) for n in range(self.fair.n_words))
        return owing & ~bits

    def _without(self, owing: int, edges: list[_Edge]) -> int:
        for move, _ in edges:
            if move in self.fair.bit:
                owing &= ~(1 << self.fair.bit[move])
        return owing

    def _loop(self, entry: int) -> list[_Edge]:
        if not self.space.successors(entry):
            return []
        owing = self._still_owed((1 << len(self.fair.bit)) - 1, entry)
        loop: list[_Edge] = []
        here = entry
        while owing:
            self.fair.set_pending(self.space, owing)
            loop += self._path(here, comp.ON_LOOP, 0, paying=True)
            here = loop[-1][1] if loop else entry
            owing = self._still_owed(self._without(owing, loop), here)
            for move, target in self._edges(here):
                if self._without(owing, [(move, target)]) != owing:
                    loop.append((move, target))
                    here = target
                    owing = self._still_owed(self._without(owing, loop), here)
                    break
        if not loop:
            loop = self._edges(entry)[:1]
            here = loop[0][1]
        return loop + self._path_back(here, entry)

    def _path_back(self, here: int, entry: int) -> list[_Edge]:
        if here == entry:
            return []
        flags = self.space.arrays["flags"]
        flags[entry] |= comp.STARTS << 4
        path = self._path(here, comp.ON_LOOP, comp.STARTS << 4)
        flags[entry] &= 0xFF ^ (comp.STARTS << 4)
        return path

    def _path(self, source: int, inside: int, target: int, paying: bool = False) -> list[_Edge]:
        space, came = self.space, self.space.arrays["frames"]
        search = space.routines["search"]
        number = search(space.shared.address, source, inside, target, int(paying))
        if number == NOWHERE:
            raise AssertionError("a component is connected")
        path: list[_Edge] = []
        while number != source:
            before = came[number]
            move = next(m for m, t in space.successors(before) if t == number)
            path.append((move, number))
            number = before
        return path[::-1]
