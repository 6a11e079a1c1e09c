"""Which combinations of values occur?"""

from __future__ import annotations

import ctypes
from collections.abc import Sequence

from interlock.engines.enumerate.context import KEY_CACHE_BITS
from interlock.engines.enumerate.space import Space
from interlock.kernel.codec import Codec, Field
from interlock.kernel.evaluate import State

_KEYS_AT_ONCE = 1 << 16


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
    keys = space.new_array("keys", 8, _KEYS_AT_ONCE + 1)
    space.new_array("key_cache", 8, 1 << KEY_CACHE_BITS)
    space.new_array("key_known", 1, 1 << KEY_CACHE_BITS)
    found: set[int] = set()

    def collect(first: int, stop: int) -> None:
        for start in range(first, stop, _KEYS_AT_ONCE):
            end = min(start + _KEYS_AT_ONCE, stop)
            count = space.routines["collect"](space.shared.address, function, start, end)
            found.update((ctypes.c_uint64 * count).from_address(keys.address))

    space.in_slices("values", space.n_states, collect, to_the_end=True)
    space.drop("keys", "key_cache", "key_known")
    codec = Codec(tuple(fields), 1)
    return tuple(sorted(codec.unpack((key,)) for key in found))
