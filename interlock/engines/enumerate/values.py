"""Which combinations of values occur?"""

from __future__ import annotations

import ctypes
from collections.abc import Sequence

from interlock.engines.enumerate.context import KEY_CACHE_BITS
from interlock.engines.enumerate.space import Space
from interlock.engines.enumerate.together import Crew, Member
from interlock.kernel.codec import Codec, Field
from interlock.kernel.evaluate import State


def find_values(space: Space, fields: Sequence[Field], function: int) -> tuple[State, ...]:
    """The combinations in explored states, sorted.

    Parameters
    ----------
    space : Space
    fields : sequence of Field
        Where each value is in a key.
    function : int
        Address of the function that gives the key of a state.
    """
    # The place behind the last key may be written, too.
    own = {"keys": (8, space.sizes.piece + 1), "key_cache": (8, 1 << KEY_CACHE_BITS)}
    own["key_known"] = (1, 1 << KEY_CACHE_BITS)
    collect = space.routines["collect"]
    with Crew(space, space.n_states, own) as crew:
        found: dict[Member, set[int]] = {member: set() for member in crew.members}

        def work(member: Member, start: int, end: int) -> None:
            n_keys = collect(member.shared.address, function, start, end)
            address = member.arrays["keys"].address
            found[member].update((ctypes.c_uint64 * n_keys).from_address(address))

        space.in_slices(
            "values", space.n_states, lambda a, b: crew.over(work, a, b), to_the_end=True
        )
    codec = Codec(tuple(fields), 1)
    return tuple(sorted(codec.unpack((key,)) for key in set().union(*found.values())))
