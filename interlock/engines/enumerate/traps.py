"""From which states can a goal not be reached?"""

from __future__ import annotations

from collections.abc import Sequence

from interlock.engines.enumerate.components import FINISHED
from interlock.engines.enumerate.keeping import moved_by
from interlock.engines.enumerate.loops import DepthFirst
from interlock.engines.enumerate.space import Space
from interlock.kernel.query import Answer, Trap

# Goals are looked at together, one bit each in the flags of a state.
# Sweeps hand goals back quickly in the order of memory; what they leave over, a depth-first
# search settles for certain. A sweep that settles less than this share is the last.
_WORTH_A_SWEEP = 0.25


def find_traps(space: Space, queries: Sequence[Trap], function: int) -> list[Answer]:
    """Answer up to eight queries.

    Parameters
    ----------
    space : Space
    queries : sequence of Trap
    function : int
        Address of the function that gives the goals that hold in a state.

    Notes
    -----
    Where faults may strike or clear, the space's program must have the function ``onward``: a way
    to a goal does without them.
    """
    full = (1 << len(queries)) - 1
    flags = space.new_array("flags", 1, space.n_states)
    space.shared["full"] = full
    if not _settle_onward(space, function):
        answers = [Answer(None)] * len(queries)
    else:
        content = flags.content(space.n_states)
        answers = [_answer(space, content, 1 << n) for n in range(len(queries))]
    space.drop("flags")
    return answers


def _settle_onward(space: Space, function: int) -> bool:
    """`_settle` by the moves that a way to a goal may use; runs to a trap may use every move."""
    if not space.system.has_unbidden:
        return _settle(space, function)
    with moved_by(space, space.conditions.address("onward")):
        return _settle(space, function)


def _answer(space: Space, flags: bytes, bit: int) -> Answer:
    lacking = bytes(value for value in range(256) if not value & bit)
    # `translate` maps each state to whether it lacks the goal; the first such ends the run.
    table = bytes(value in lacking for value in range(256))
    first = flags.translate(table).find(1)
    if first < 0:
        return Answer(False if space.complete else None)
    return Answer(True, space.witness_to(first))


def _settle(space: Space, function: int) -> bool:
    """Complete the flags of all states; False where time ran out."""
    return space.flag(function, "goals", to_the_end=False) and settle(space)


def settle(space: Space) -> bool:
    """Give every state the flags of all that it leads to; False where time ran out.

    The word ``full`` says which flags there are.
    """
    shared, n_states, routines = space.shared, space.n_states, space.routines
    n_lacking, backward = n_states, True
    while n_lacking:
        lacking_before, backward = n_lacking, not backward
        n_lacking = 0

        def sweep(first: int, stop: int, backward: bool = backward) -> None:
            nonlocal n_lacking
            if backward:
                first, stop = n_states - stop, n_states - first
            n_lacking += routines["sweep"](shared.address, first, stop, int(backward))

        if not space.in_slices("ways to the goals", n_states, sweep):
            return False
        if lacking_before - n_lacking < _WORTH_A_SWEEP * lacking_before:
            break
    if not n_lacking:
        return True
    search = DepthFirst(space, "trap")
    status = search.run("traps")
    search.close()
    return status == FINISHED
