"""Several threads on spaces so small that one would do, and made to get into each other's way."""

from __future__ import annotations

import ctypes
import random
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from interlock.base import cores
from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.enumerate import space
from interlock.engines.enumerate.jit import Library
from interlock.engines.enumerate.program import Program
from interlock.engines.enumerate.space import Space
from interlock.engines.enumerate.together import Sizes
from interlock.engines.enumerate.together_text import Portions
from interlock.kernel import expr as ex
from interlock.kernel.codec import Codec
from interlock.kernel.expr import Expr, and_, const, eq, le, var
from interlock.kernel.query import Limits
from interlock.kernel.system import Domain, Move, MoveKind, System, Variable

_DRAWN = 1 << 10
_EXPAND = ctypes.CFUNCTYPE(ctypes.c_uint64, *[ctypes.c_uint64] * 4)


@contextmanager
def threads_everywhere(n_threads: int) -> Iterator[None]:
    """Within this even a handful of states is explored and looked at by `n_threads`."""
    tiny = Sizes(
        Portions(1, 2, 3),
        few_parents=4,
        most_parents=64,
        fresh_each=1,
        alone=1,
        few_states=0,
        piece=8,
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(space, "SIZES", tiny)
        cores.use(n_threads)
        try:
            yield
        finally:
            cores.use(None)


def explored(system: System, limits: Limits = NO_LIMITS, chance: int = 0) -> Space:
    """The space of a system; with a `chance` other than 0 its threads are held up here and there.

    A parent is held up or not by its number and `chance`, so that later blocks are done first.
    """
    codec = Codec.of_system(system)
    program = Library(Program(system, codec).text(), optimised=False)
    found = Space(system, codec, program, Budget(limits, None), analysing=True)
    if not chance:
        found.explore()
        return found
    plain = _EXPAND(program.address("expand"))
    chosen = random.Random(chance)
    slow = {number for number in range(_DRAWN) if chosen.random() < 0.1}

    def held_up(state: int, out: int, moves: int, count: int) -> int:
        number = (state - found.shared["order"]) // (8 * found.n_words)
        if number % _DRAWN in slow:
            time.sleep(0.0005)
        return int(plain(state, out, moves, count))

    callback = _EXPAND(held_up)
    found.shared["expand"] = ctypes.cast(callback, ctypes.c_void_p).value or 0
    found.explore()
    found.shared["expand"] = program.address("expand")
    return found


def random_counters(seed: int) -> System:
    """A few small variables and moves that set, raise, lower or swap them; drawn from `seed`."""
    chosen = random.Random(seed)
    tops = {f"v{n}": chosen.choice([1, 2, 3, 5]) for n in range(chosen.randint(4, 6))}
    names = sorted(tops)

    def guard() -> Expr:
        parts = []
        for name in chosen.sample(names, chosen.randint(0, 2)):
            value = const(chosen.randint(0, tops[name]))
            parts.append(chosen.choice([eq, le])(var(name), value))
        return and_(*parts)

    def update(name: str) -> Expr:
        by = chosen.choice([const(1), const(-1), var(chosen.choice(names))])
        new = chosen.choice([const(chosen.randint(0, tops[name])), ex.add(var(name), by)])
        return ex.clamp(new, 0, tops[name])

    moves = []
    for n in range(chosen.randint(8, 16)):
        targets = chosen.sample(names, chosen.randint(1, 2))
        kind = chosen.choice([MoveKind.PLANT, MoveKind.PLANT, MoveKind.SCAN])
        moves.append(Move(f"m{n}", kind, guard(), {name: update(name) for name in targets}, None))
    variables = tuple(Variable(name, Domain(0, top), 0) for name, top in tops.items())
    return System(variables, tuple(moves))
