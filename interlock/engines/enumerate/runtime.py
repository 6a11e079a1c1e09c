"""Compiled routines that know nothing of a system but how many words its states have.

The table of states is open-addressing with linear probing. An entry has 32 bits: an index into
the order array plus 1, and in the bits that no index needs a part of the state's hash, which
spares most looks at the order array. Successors are handled in batches, so that the memory they
need is asked for long before it is read.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Self

from interlock.engines.enumerate.context import BATCH, KEY_CACHE_BITS, LAST_IN_CHECKPOINT, Routine
from interlock.engines.enumerate.ir import Function, Value, Variable

# What `explore` returns.
DONE, MUST_GROW, REFUSED = 0, 1, 2
NOWHERE = (1 << 64) - 1

DECLARATIONS = """
declare void @llvm.prefetch.p0(ptr, i32, i32, i32)
declare i64 @llvm.cttz.i64(i64, i1)
"""

_POINTERS = ("expand", "order", "table", "out_words", "out_moves", "out_hashes")

# Odd constants of the 64-bit finaliser of MurmurHash3 (A. Appleby, public domain; from memory).
_MIX_1 = 0xFF51AFD7ED558CCD
_MIX_2 = 0xC4CEB9FE1A85EC53


def space_text(n_words: int) -> str:
    """IR of the routines that build and read a space."""
    routines = [
        lookup_text(n_words),
        _index_of(n_words),
        _explore(n_words),
        _rehash(n_words),
        _flag(n_words),
        _tally(n_words),
        _find_parent(n_words),
        _collect(n_words),
    ]
    return "\n".join([DECLARATIONS, *routines])


def hash_of(fn: Function, n_words: int, words: Value) -> Value:
    """The hash of the state at `words`."""
    value = fn.load("i64", words)
    for n in range(1, n_words):
        value = (value ^ (value >> 32)) * _MIX_1
        value = (value ^ (value >> 29)) + fn.load("i64", words, n)
    value = (value ^ (value >> 32)) * _MIX_1
    value = (value ^ (value >> 29)) * _MIX_2
    return value ^ (value >> 32)


@dataclass(frozen=True)
class Tables:
    """Addresses and numbers that do not change while a routine runs, read once at its start."""

    fn: Routine
    n_words: int
    expand: Value
    order: Value
    table: Value
    n_slots: Value
    index_mask: Value
    out_words: Value
    out_moves: Value
    out_hashes: Value

    @classmethod
    def of(cls, fn: Routine, n_words: int, **more: Any) -> Self:
        """Read them, and take `more` that a kind of its own has."""
        index_mask = (fn.const("i64", 1) << fn.word("index_bits")) - 1
        found = {name: fn.pointer(name) for name in _POINTERS} | more
        return cls(fn, n_words, n_slots=fn.word("n_slots"), index_mask=index_mask, **found)

    def entry(self, slot: Value) -> Value:
        """What a slot of the table holds; 0 where it is free."""
        return self.fn.load("i32", self.table, slot).to("i64")

    def state(self, number: Value) -> Value:
        """Where the words of a state are."""
        return self.fn.at("i64", self.order, number * self.n_words)

    def successor(self, number: Value) -> Value:
        """Where the words of a successor are, in the buffer."""
        return self.fn.at("i64", self.out_words, number * self.n_words)

    @contextmanager
    def in_batches(
        self, first: Value, stop: Value, backward: Value, wanted: Callable[[Value], Value]
    ) -> Iterator[tuple[Value, Variable, Value]]:
        """For each wanted state of a range, its number and where its successors begin and end.

        The body has to count the second up to the third. Where `backward` is not 0 the range is
        gone through from its end.
        """
        fn = self.fn
        members = fn.define("ptr", f"alloca [{BATCH} x i64]")
        ends = fn.define("ptr", f"alloca [{BATCH} x i64]")
        taken = fn.variable("i64", first)
        with fn.while_(lambda: taken.get() < stop):
            n_members, count = fn.variable("i64", 0), fn.variable("i64", 0)
            with fn.while_(lambda: (taken.get() < stop) & (n_members.get() < BATCH)):
                ahead = taken.get()
                taken.add(1)
                number = (first + stop - 1 - ahead).or_else(backward.is_not(0), ahead)
                with fn.if_(wanted(number)):
                    count.set(self.expanded(number, count.get()))
                    fn.store(number, members, n_members.get())
                    fn.store(count.get(), ends, n_members.get())
                    n_members.add(1)
            self.fetch_ahead(0, count.get())
            j = fn.variable("i64", 0)
            with fn.count(0, n_members.get()) as place:
                yield fn.load("i64", members, place), j, fn.load("i64", ends, place)

    def expanded(self, number: Value, count: Value | int) -> Value:
        """Append the successors of a state to the buffers; the new count."""
        args = [self.state(number), self.out_words, self.out_moves, count]
        return self.fn.call(self.expand.name, args)

    def found(self, j: Value) -> Value:
        """The index of a successor whose hash is in the buffer, or NOWHERE."""
        hashed = self.fn.load("i64", self.out_hashes, j)
        return self.fn.call("@lookup", [self.fn.shared, self.successor(j), hashed])

    def move(self, j: Value) -> Value:
        """The number of the move that a successor was found by."""
        return self.fn.load("i16", self.fn.pointer("out_moves"), j).to("i64")

    def leads_back(self, number: Value, j: Value) -> Value:
        """Whether a successor is the state itself."""
        return same_words(self.fn, self.n_words, self.state(number), self.successor(j))

    def slot(self, hashed: Value) -> Value:
        """Where the probing for a hash begins: the upper half of hash × number of slots."""
        wide = hashed.to("i128") * self.n_slots.to("i128")
        return (wide >> 64).to("i64")

    def tag(self, hashed: Value) -> Value:
        """The part of a hash that an entry keeps."""
        return (hashed & 0xFFFFFFFF) & (self.index_mask ^ NOWHERE)

    def fetch_ahead(self, first: Value | int, stop: Value) -> None:
        """Hash the successors ``first..stop`` and ask for the memory their look-up needs."""
        fn = self.fn
        with fn.count(first, stop) as j:
            value = hash_of(fn, self.n_words, self.successor(j))
            fn.store(value, self.out_hashes, j)
            fn.prefetch(fn.at("i32", self.table, self.slot(value)))
        with fn.count(first, stop) as j:
            slot = self.slot(fn.load("i64", self.out_hashes, j))
            entry = self.entry(slot)
            fn.prefetch(self.state((entry & self.index_mask) - 1))

    def probe(
        self,
        words: Value,
        hashed: Value,
        on_free: Callable[[Value, Value], None],
        on_found: Callable[[Value], None],
    ) -> None:
        """Look for the state at `words`; the code of exactly one of the callbacks runs.

        That of `on_free` may look at the slot once more by `repeat_loop`.
        """
        fn = self.fn
        tag = self.tag(hashed)
        slot = fn.variable("i64", self.slot(hashed))
        with fn.while_(lambda: fn.const("i1", 1).is_(1)):
            at = slot.get()
            entry = self.entry(at)
            with fn.if_(entry.is_(0)):
                on_free(at, tag)
                fn.leave_loop()
            with fn.if_((entry & (self.index_mask ^ NOWHERE)).is_(tag)):
                number = (entry & self.index_mask) - 1
                with fn.if_(same_words(fn, self.n_words, words, self.state(number))):
                    on_found(number)
                    fn.leave_loop()
            following = at + 1
            slot.set(following.or_else(following < self.n_slots, 0))


def same_words(fn: Function, n_words: int, a: Value, b: Value) -> Value:
    """Whether two states are the same."""
    differ = fn.load("i64", a) ^ fn.load("i64", b)
    for n in range(1, n_words):
        differ = differ | (fn.load("i64", a, n) ^ fn.load("i64", b, n))
    return differ.is_(0)


def lookup_text(n_words: int) -> str:
    """``lookup(shared, words, hash)``: the index of a state, or NOWHERE."""
    fn = Routine("lookup", ["ptr", "i64"])
    _, words, value = fn.args
    Tables.of(fn, n_words).probe(words, value, lambda *_: fn.leave(NOWHERE), fn.leave)
    return fn.text()


def _index_of(n_words: int) -> str:
    """``index_of(shared, words)``: the same for a state whose hash is not known."""
    fn = Routine("index_of", ["ptr"])
    words = fn.args[1]
    fn.leave(fn.call("@lookup", [fn.shared, words, hash_of(fn, n_words, words)]))
    return fn.text()


def _explore(n_words: int) -> str:
    """``explore(shared, stop)``: expand states until `stop` are expanded or something is full."""
    fn = Routine("explore", ["i64"])
    stop = fn.args[1]
    tables = Tables.of(fn, n_words)
    names = ("n_states", "next", "level_end", "n_levels", "n_moves")
    mirrors = {name: fn.mirror(name) for name in names}
    n_states, following, level_end, n_levels, n_moves = mirrors.values()
    room, batch_moves = fn.word("room"), fn.word("batch_moves")
    most_states, checkpoints = fn.word("most_states"), fn.pointer("checkpoints")

    def leave(status: int) -> None:
        for name, mirror in mirrors.items():
            fn.put(name, mirror.get())
        fn.leave(status)

    def insert(j: Value) -> None:
        words = tables.successor(j)

        def on_free(slot: Value, tag: Value) -> None:
            number = n_states.get()
            with fn.if_(number.is_(most_states)):
                n_moves.add(j)
                leave(REFUSED)
            for n in range(n_words):
                fn.store(fn.load("i64", words, n), tables.state(number), n)
            fn.store((tag | (number + 1)).to("i32"), tables.table, slot)
            n_states.set(number + 1)

        hashed = fn.load("i64", tables.out_hashes, j)
        tables.probe(words, hashed, on_free, lambda _: None)

    with fn.while_(lambda: (following.get() < stop) & (following.get() < n_states.get())):
        with fn.if_(following.get().is_(level_end.get())):
            with fn.if_(n_levels.get().is_(fn.word("levels_room"))):
                leave(MUST_GROW)
            level_end.set(n_states.get())
            fn.store(n_states.get(), fn.pointer("levels"), n_levels.get())
            n_levels.add(1)
        with fn.if_(n_states.get() + batch_moves > room):
            leave(MUST_GROW)
        first = following.get()
        with fn.if_((first & LAST_IN_CHECKPOINT).is_(0)):
            place = first >> (LAST_IN_CHECKPOINT.bit_length())
            fn.store(n_states.get().to("i32"), checkpoints, place)
        end = fn.least(first + BATCH, level_end.get())
        end = fn.least(end, (first | LAST_IN_CHECKPOINT) + 1)
        count = fn.variable("i64", 0)
        with fn.count(first, end) as number:
            count.set(tables.expanded(number, count.get()))
        # Where a state is refused, the block of 256 expansions has begun all the same.
        following.set(first + 1)
        tables.fetch_ahead(0, count.get())
        with fn.count(0, count.get()) as j:
            insert(j)
        n_moves.add(count.get())
        following.set(end)
    leave(DONE)
    return fn.text()


def _rehash(n_words: int) -> str:
    """``rehash(shared)``: enter every state into the table, which is empty."""
    fn = Routine("rehash")
    tables, n_states = Tables.of(fn, n_words), fn.word("n_states")
    first = fn.variable("i64", 0)
    with fn.while_(lambda: first.get() < n_states):
        start = first.get()
        end = fn.least(start + 2 * BATCH, n_states)
        with fn.count(start, end) as number:
            value = hash_of(fn, n_words, tables.state(number))
            fn.store(value, tables.out_hashes, number - start)
            fn.prefetch(fn.at("i32", tables.table, tables.slot(value)))
        with fn.count(start, end) as number:
            value = fn.load("i64", tables.out_hashes, number - start)
            slot = _free_slot(fn, tables, value)
            fn.store((tables.tag(value) | (number + 1)).to("i32"), tables.table, slot)
        first.set(end)
    fn.leave(0)
    return fn.text()


def _free_slot(fn: Routine, tables: Tables, hashed: Value) -> Value:
    slot = fn.variable("i64", tables.slot(hashed))
    with fn.while_(lambda: fn.load("i32", tables.table, slot.get()).is_not(0)):
        following = slot.get() + 1
        slot.set(following.or_else(following < tables.n_slots, 0))
    return slot.get()


def _flag(n_words: int) -> str:
    """``flag(shared, function, first, stop)``: the flags of states, from a function of a state."""
    fn = Routine("flag", ["ptr", "i64", "i64"])
    _, function, first, stop = fn.args
    order, flags = fn.pointer("order"), fn.pointer("flags")
    with fn.count(first, stop) as number:
        bits = fn.call(function.name, [fn.at("i64", order, number * n_words)])
        fn.store(bits.to("i8"), flags, number)
    fn.leave(0)
    return fn.text()


def _tally(n_words: int) -> str:
    """``tally(shared, function, first, stop)``: count each condition and note its first state."""
    fn = Routine("tally", ["ptr", "i64", "i64"])
    _, function, first, stop = fn.args
    order, counts, firsts = fn.pointer("order"), fn.pointer("counts"), fn.pointer("firsts")
    with fn.count(first, stop) as number:
        bits = fn.call(function.name, [fn.at("i64", order, number * n_words)])
        seen = fn.word("seen")
        new = fn.variable("i64", bits & (seen ^ NOWHERE))
        with fn.if_(new.get().is_not(0)):
            fn.put("seen", seen | bits)
            with fn.while_(new.nonzero()):
                bit = fn.call("@llvm.cttz.i64", [new.get(), fn.const("i1", 1)])
                fn.store(number, firsts, bit)
                new.set(new.get() & (new.get() - 1))
        left = fn.variable("i64", bits)
        with fn.while_(left.nonzero()):
            bit = fn.call("@llvm.cttz.i64", [left.get(), fn.const("i1", 1)])
            fn.store(fn.load("i64", counts, bit) + 1, counts, bit)
            left.set(left.get() & (left.get() - 1))
    fn.leave(0)
    return fn.text()


def _find_parent(n_words: int) -> str:
    """``find_parent(shared, first, stop, child)``: the first state of a range with a move there.

    Returns the state's index, or NOWHERE; the successor's position is left in ``cursor``.
    """
    fn = Routine("find_parent", ["i64", "i64", "i64"])
    _, first, stop, child = fn.args
    tables = Tables.of(fn, n_words)
    wanted = tables.state(child)
    with fn.count(first, stop) as number:
        count = tables.expanded(number, 0)
        with (
            fn.count(0, count) as j,
            fn.if_(same_words(fn, n_words, wanted, tables.successor(j))),
        ):
            fn.put("cursor", j)
            fn.leave(number)
    fn.leave(NOWHERE)
    return fn.text()


def _collect(n_words: int) -> str:
    """``collect(shared, function, first, stop)``: append the keys of states to ``keys``.

    A key that the cache still knows is left out; others may come again. Returns how many keys
    were appended.
    """
    fn = Routine("collect", ["ptr", "i64", "i64"])
    _, function, first, stop = fn.args
    tables = Tables.of(fn, n_words)
    keys, cache, known = fn.pointer("keys"), fn.pointer("key_cache"), fn.pointer("key_known")
    count = fn.variable("i64", 0)
    with fn.count(first, stop) as number:
        place = fn.at("i64", keys, count.get())
        holds = fn.call(function.name, [tables.state(number), place])
        with fn.if_(holds.is_not(0)):
            key = fn.load("i64", place)
            slot = (key * _MIX_1) >> (64 - KEY_CACHE_BITS)
            is_known = fn.load("i64", cache, slot).is_(key)
            is_known = is_known & fn.load("i8", known, slot).is_not(0)
            with fn.if_(is_known ^ 1):
                fn.store(key, cache, slot)
                fn.store(fn.const("i8", 1), known, slot)
                count.add(1)
    fn.leave(count.get())
    return fn.text()
