"""When the steps of a space are kept, and how."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from interlock.engines.enumerate.kept_steps import STEPS
from interlock.engines.enumerate.routines import searches_by_kept_steps
from interlock.engines.enumerate.space import Space

# To work all steps out takes as long as a search or two. Small spaces are searched in no time.
FEWEST_SEARCHES = 3
FEWEST_STATES = 1 << 16
MOST_BYTES = 1 << 30


def keep_steps(space: Space, n_searches: int, fewest_states: int = FEWEST_STATES) -> bool:
    """Keep the steps of a complete space, where so many searches are worth that.

    Without room for them, or time, nothing is kept, and the searches make the moves anew.
    """
    shared, n_states = space.shared, space.n_states
    n_bytes = 4 * (n_states + 1) + 6 * shared["n_moves"]
    wanted = space.complete and n_searches >= FEWEST_SEARCHES and n_states >= fewest_states
    if not wanted or n_bytes > MOST_BYTES or not space.has_room_for(n_bytes):
        return False
    for name, width, length in zip(
        STEPS, (4, 4, 2), (n_states + 1, shared["n_moves"], shared["n_moves"]), strict=True
    ):
        space.new_array(name, width, length)
    shared["n_steps"] = 0
    keep = space.routines["keep_steps"]
    if not space.in_slices("steps", n_states, lambda a, b: keep(shared.address, a, b)):
        space.drop(*STEPS)
        return False
    space.n_kept_bytes = n_bytes
    space.by_kept_steps, by_kept_steps = searches_by_kept_steps(space.n_words)
    space.routines = space.routines | by_kept_steps
    return True


@contextmanager
def moved_by(space: Space, expand: int) -> Iterator[None]:
    """Searches make moves by another function meanwhile: kept steps are not these."""
    shared, routines = space.shared, space.routines
    before, shared["expand"] = shared["expand"], expand
    space.routines = space.made_anew
    try:
        yield
    finally:
        shared["expand"], space.routines = before, routines
