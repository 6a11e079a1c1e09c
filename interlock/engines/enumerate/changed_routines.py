"""Compiled routines for a changed system beside a space that is known already.

The states of the known space stay where they are. What the changed system reaches that is not
among them is appended behind them and entered into the same table, so every other routine works
on both; afterwards it is taken out again. An entry that came last is in nobody's way: no other was
moved for it, so taking out all that came later leaves the table as it was.
"""

from __future__ import annotations

from interlock.engines.enumerate.context import BATCH, Routine
from interlock.engines.enumerate.ir import Value
from interlock.engines.enumerate.runtime import (
    DECLARATIONS,
    DONE,
    MUST_GROW,
    NOWHERE,
    REFUSED,
    Tables,
    hash_of,
    lookup_text,
)

# Flags of a state while ways to the aim are looked for.
ARRIVES, DIFFERS = 1, 2
ARGUMENTS = {"gather": 4, "spread": 4, "retract": 2, "aim": 5, "inherit": 1}


def beside_text(n_words: int) -> str:
    """IR of the routines."""
    routines = [_gather(n_words), _spread(n_words), _retract(n_words), _aim(n_words), _inherit()]
    return "\n".join([DECLARATIONS, lookup_text(n_words), *routines])


def _gather(n_words: int) -> str:
    """``gather(shared, function, first, stop)``: append the states where it is not 0 to seeds."""
    fn = Routine("gather", ["ptr", "i64", "i64"])
    _, function, first, stop = fn.args
    order, seeds = fn.pointer("order"), fn.pointer("seeds")
    n_seeds = fn.mirror("n_seeds")
    with fn.count(first, stop) as number:
        bits = fn.call(function.name, [fn.at("i64", order, number * n_words)])
        with fn.if_(bits.is_not(0)):
            fn.store(number.to("i32"), seeds, n_seeds.get())
            n_seeds.add(1)
    fn.put("n_seeds", n_seeds.get())
    fn.leave(0)
    return fn.text()


def _spread(n_words: int) -> str:
    """``spread(shared, first, stop, through)``: expand states and keep what is new.

    The states are those at the places ``first..stop`` of the seeds where `through` is not 0, else
    those with these numbers. Where it stops early, ``cursor`` is left at the first place that is
    not done.
    """
    fn = Routine("spread", ["i64", "i64", "i64"])
    tables = Tables.of(fn, n_words)
    _, first, stop, through = fn.args
    seeds, came, n_known = fn.pointer("seeds"), fn.pointer("came"), fn.word("n_known")
    room, batch_moves, most_states = (
        fn.word(name) for name in ("room", "batch_moves", "most_states")
    )
    n_states, place = fn.mirror("n_states"), fn.variable("i64", first)
    members = fn.define("ptr", f"alloca [{BATCH} x i64]")
    ends = fn.define("ptr", f"alloca [{BATCH} x i64]")

    def leave(status: int) -> None:
        fn.put("n_states", n_states.get())
        fn.put("cursor", place.get())
        fn.leave(status)

    def insert(j: Value, parent: Value) -> None:
        words = tables.successor(j)

        def on_free(slot: Value, tag: Value) -> None:
            number = n_states.get()
            with fn.if_(number.is_(most_states)):
                leave(REFUSED)
            for n in range(n_words):
                fn.store(fn.load("i64", words, n), tables.state(number), n)
            fn.store((tag | (number + 1)).to("i32"), tables.table, slot)
            fn.store(parent.to("i32"), came, number - n_known)
            n_states.set(number + 1)

        tables.probe(words, fn.load("i64", tables.out_hashes, j), on_free, lambda _: None)

    with fn.while_(lambda: place.get() < stop):
        with fn.if_(n_states.get() + batch_moves > room):
            leave(MUST_GROW)
        start = place.get()
        end = fn.least(start + BATCH, stop)
        count = fn.variable("i64", 0)
        with fn.count(start, end) as at:
            number = fn.variable("i64", at)
            with fn.if_(through.is_not(0)):
                number.set(fn.load("i32", seeds, at).to("i64"))
            fn.store(number.get(), members, at - start)
            count.set(tables.expanded(number.get(), count.get()))
            fn.store(count.get(), ends, at - start)
        tables.fetch_ahead(0, count.get())
        j = fn.variable("i64", 0)
        with fn.count(0, end - start) as member:
            parent, behind = fn.load("i64", members, member), fn.load("i64", ends, member)
            with fn.while_(j.below(behind)):
                insert(j.get(), parent)
                j.add(1)
        place.set(end)
    leave(DONE)
    return fn.text()


def _retract(n_words: int) -> str:
    """``retract(shared, first)``: take the states from `first` on out of the table again."""
    fn = Routine("retract", ["i64"])
    tables = Tables.of(fn, n_words)
    first = fn.args[1]
    with fn.count(first, fn.word("n_states")) as number:
        slot = fn.variable("i64", tables.slot(hash_of(fn, n_words, tables.state(number))))

        def is_other(number: Value = number) -> Value:
            entry = fn.load("i32", tables.table, slot.get()).to("i64")
            return (entry & tables.index_mask).is_not(number + 1)

        with fn.while_(is_other):
            following = slot.get() + 1
            slot.set(following.or_else(following < tables.n_slots, 0))
        fn.store(fn.const("i32", 0), tables.table, slot.get())
    fn.put("n_states", first)
    fn.leave(0)
    return fn.text()


def _aim(n_words: int) -> str:
    """``aim(shared, first, stop, backward, noting)``: find steps to states that arrive.

    Flags of ``first..stop`` say which states arrive. A state with a step to one that does arrives,
    too; where `noting` is not 0 it is noted in `aimed`, with that step's end in `toward`. Returns
    how many states do not arrive.
    """
    fn = Routine("aim", ["i64", "i64", "i64", "i64"])
    tables = Tables.of(fn, n_words)
    _, first, stop, backward, noting = fn.args
    flags, aimed, toward = fn.pointer("flags"), fn.pointer("aimed"), fn.pointer("toward")
    n_lacking = fn.variable("i64", 0)

    def lacks(number: Value) -> Value:
        return (fn.load("i8", flags, number) & ARRIVES).is_(0)

    with tables.in_batches(first, stop, backward, lacks) as (number, j, end):
        lacking = fn.variable("i64", 1)
        with fn.while_(j.below(end)):
            target = tables.found(j.get())
            move = fn.load("i16", tables.out_moves, j.get())
            j.add(1)
            with fn.if_(target.is_not(NOWHERE) & lacking.get().is_not(0)):
                arrives = (fn.load("i8", flags, target) & ARRIVES).is_not(0)
                with fn.if_(arrives):
                    fn.store(fn.load("i8", flags, number) | ARRIVES, flags, number)
                    lacking.set(0)
                    with fn.if_(noting.is_not(0)):
                        place = fn.word("n_aimed")
                        fn.store(number.to("i32"), aimed, place)
                        fn.store(target.to("i32"), toward, place)
                        fn.store(move, fn.pointer("moved"), place)
                        fn.put("n_aimed", place + 1)
        n_lacking.add(lacking.get())
    fn.leave(n_lacking.get())
    return fn.text()


def _inherit() -> str:
    """``inherit(shared)``: let states arrive whose noted step leads to one that arrives.

    Not where the systems differ and the step is by a move that does.
    """
    fn = Routine("inherit")
    flags, aimed, toward = fn.pointer("flags"), fn.pointer("aimed"), fn.pointer("toward")
    moved, gone = fn.pointer("moved"), fn.pointer("gone")
    with fn.count(0, fn.word("n_aimed")) as place:
        number = fn.load("i32", aimed, place).to("i64")
        target = fn.load("i32", toward, place).to("i64")
        mine = fn.load("i8", flags, number)
        arrives = fn.load("i8", flags, target) & ARRIVES
        move = fn.load("i16", moved, place).to("i64")
        stays = (mine & DIFFERS).is_(0) | fn.load("i8", gone, move).is_(0)
        with fn.if_(stays):
            fn.store(mine | arrives, flags, number)
    fn.leave(0)
    return fn.text()
