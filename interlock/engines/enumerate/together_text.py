"""Compiled routines by which several threads expand one stretch of parents.

Why the numbers of states do not depend on the threads
------------------------------------------------------
Let the *rank* of a successor be its parent's number and, below that, its move's. A search by one
thread looks at successors by rising rank, so it numbers the new states of a stretch by the least
rank that leads to each. That is what these routines do, in three parts with a wait for all threads
between them:

1. ``discover``: threads take blocks of parents, the next one each time, and finish what they took.
   So what is done in the end is the first so many blocks, each once. A successor's state is looked
   for in the table. Slots there only go from free to taken, by compare-and-swap, and every thread
   probes for a state along the same slots, so a state gets one slot and one *fresh place*. The
   place's rank is lowered to that of each successor that leads there (atomic minimum), hence is the
   least of them, whoever came first. A thread notes a place for the block at hand where it took it
   or lowered its rank. Ranks rise within a block: its notes stand by rank, and the last to lower a
   rank, which is the block the place belongs to in the end, has a note of it. Other notes are void.
   ``block_news`` counts a place for the block of its rank; who lowers a rank moves the count along.
2. ``number_blocks`` adds these counts up: which number each block's first new state has.
3. ``settle`` goes through the notes of each block and numbers what is not void.

None of it depends on how far a stretch goes: a stretch behind it goes on with greater ranks, and
finds numbered what the one before has found. So stretches may be cut by room, time and levels.
"""

from __future__ import annotations

from dataclasses import dataclass

from interlock.engines.enumerate.context import (
    BATCH,
    LAST_IN_CHECKPOINT,
    Routine,
    Ticket,
)
from interlock.engines.enumerate.ir import Value
from interlock.engines.enumerate.runtime import NOWHERE, Tables, hash_of

# A rank: the parent's number counted from where its stretch's blocks begin, above these
# bits of its move.
_MOVE_BITS = 16


@dataclass(frozen=True)
class Portions:
    """How much is given to a thread at a time.

    Attributes
    ----------
    block_bits : int
        A block has 2 to this many parents, at most as many as lie between two checkpoints.
    fresh : int
        Fresh places.
    entered_bits : int
        2 to this many states that are entered into a new table.
    """

    block_bits: int = 6
    fresh: int = 128
    entered_bits: int = 12

    @property
    def block(self) -> int:
        """Parents of a block."""
        return 1 << self.block_bits


def together_text(n_words: int, portions: Portions) -> str:
    """IR of the routines; those of `runtime.space_text` stand beside them."""
    routines = [
        _discover(n_words, portions),
        _number_blocks(portions),
        _settle(n_words, portions),
        _forget(),
        _enter(n_words, portions),
    ]
    return "\n".join(routines)


@dataclass(frozen=True)
class _Growing(Tables):
    """Tables to which several threads add.

    Attributes
    ----------
    n_numbered : Value
        States that have a number; what an entry calls by a greater one stands at a fresh place.
    fresh_words : Value
    """

    n_numbered: Value
    fresh_words: Value

    def entry(self, slot: Value) -> Value:
        """What a slot of the table holds just now."""
        return self.fn.shared_load("i32", self.table, slot).to("i64")

    def state(self, number: Value) -> Value:
        """Where the words of a state are, with a number or at a fresh place."""
        is_numbered = number < self.n_numbered
        base = self.order.or_else(is_numbered, self.fresh_words)
        place = number.or_else(is_numbered, number - self.n_numbered)
        return self.fn.at("i64", base, place * self.n_words)


class _Stretch:
    """Blocks of the stretch at hand; a block begins at a multiple of its size, or the stretch."""

    def __init__(self, fn: Routine, portions: Portions) -> None:
        self.fn, self.bits = fn, portions.block_bits
        self.first, self.stop = fn.word("stretch_first"), fn.word("stretch_stop")
        self.origin = (self.first >> self.bits) << self.bits

    def first_of(self, block: Value) -> Value:
        """The first parent of a block."""
        start = self.origin + (block << self.bits)
        return start.or_else(self.first < start, self.first)

    def stop_of(self, block: Value) -> Value:
        """The number behind its last parent."""
        return self.fn.least(self.origin + ((block + 1) << self.bits), self.stop)

    def rank(self, parent: Value) -> Value:
        """The rank of a successor by move 0; other moves stand in its lowest bits."""
        return (parent - self.origin) << _MOVE_BITS

    def block_of(self, rank: Value) -> Value:
        """The block that the parent of a successor is in."""
        return rank >> (_MOVE_BITS + self.bits)


def _discover(n_words: int, portions: Portions) -> str:
    """``discover(shared)``: expand blocks until none is left or enough fresh places are taken."""
    fn = Routine("discover")
    stretch = _Stretch(fn, portions)
    finder = _Finder(stretch, n_words, portions.fresh)
    tables, tickets = finder.tables, finder.tickets
    n_blocks, fresh_limit = fn.word("n_blocks"), fn.word("fresh_limit")
    ends = fn.define("ptr", f"alloca [{BATCH} x i64]")
    n_moves, j = fn.variable("i64", 0), fn.variable("i64", 0)
    with fn.while_(lambda: fn.shared_load("i64", tickets, Ticket.FRESH) < fresh_limit):
        block = fn.shared_add(1, tickets, Ticket.BLOCK)
        with fn.if_((block < n_blocks) ^ 1):
            fn.leave_loop()
        finder.begin()
        taken, stop = fn.variable("i64", stretch.first_of(block)), stretch.stop_of(block)
        with fn.while_(taken.below(stop)):
            first = taken.get()
            end = fn.least(first + BATCH, stop)
            count = fn.variable("i64", 0)
            with fn.count(first, end) as parent:
                count.set(tables.expanded(parent, count.get()))
                fn.store(count.get(), ends, parent - first)
            tables.fetch_ahead(0, count.get())
            j.set(0)
            with fn.count(first, end) as parent:
                lowest = stretch.rank(parent)
                with fn.while_(j.below(fn.load("i64", ends, parent - first))):
                    move = fn.load("i16", tables.out_moves, j.get()).to("i64")
                    finder.insert(j.get(), lowest | move)
                    j.add(1)
            n_moves.add(count.get())
            taken.set(end)
        finder.end(block)
    fn.put("n_moves", n_moves.get())
    fn.leave(0)
    return fn.text()


class _Finder:
    """How a thread enters successors into the table and keeps its notes."""

    def __init__(self, stretch: _Stretch, n_words: int, at_once: int) -> None:
        self.fn = fn = stretch.fn
        self.stretch, self.n_words, self.at_once = stretch, n_words, at_once
        n_numbered, fresh_words = fn.word("n_states"), fn.pointer("fresh_words")
        self.tables = _Growing.of(fn, n_words, n_numbered=n_numbered, fresh_words=fresh_words)
        self.tickets, self.block_news = fn.pointer("tickets"), fn.pointer("block_news")
        self.ranks, self.slots = fn.pointer("fresh_ranks"), fn.pointer("fresh_slots")
        self.notes, self.n_notes = fn.pointer("notes"), fn.variable("i64", 0)
        self.first_note, self.n_news = fn.variable("i64", 0), fn.variable("i64", 0)
        # The fresh place to be used next, and the first that is not this thread's.
        self.place, self.last_place = fn.variable("i64", 0), fn.variable("i64", 0)

    def begin(self) -> None:
        """Begin a block."""
        self.first_note.set(self.n_notes.get())

    def end(self, block: Value) -> None:
        """Say what belongs to the block: as many as there are notes, less what others take."""
        fn, first = self.fn, self.first_note.get()
        n_notes = self.n_notes.get() - first
        fn.store(fn.at("i32", self.notes, first), fn.pointer("block_notes"), block)
        fn.store(n_notes, fn.pointer("block_n_notes"), block)
        fn.shared_add(n_notes, self.block_news, block)

    def _note(self, fresh: Value) -> None:
        self.fn.store(fresh.to("i32"), self.notes, self.n_notes.get())
        self.n_notes.add(1)

    def insert(self, j: Value, rank: Value) -> None:
        """Enter the successor `j` of the buffer, if it is new, and note what it leads to."""
        fn, tables = self.fn, self.tables
        words = tables.successor(j)

        def on_free(slot: Value, tag: Value) -> None:
            with fn.if_(self.place.get().is_(self.last_place.get())):
                self.place.set(fn.shared_add(self.at_once, self.tickets, Ticket.FRESH))
                self.last_place.set(self.place.get() + self.at_once)
            fresh = self.place.get()
            place = fn.at("i64", tables.fresh_words, fresh * self.n_words)
            for n in range(self.n_words):
                fn.store(fn.load("i64", words, n), place, n)
            fn.store(rank, self.ranks, fresh)
            fn.store(slot, self.slots, fresh)
            entry = tag | (tables.n_numbered + fresh + 1)
            before = fn.shared_claim(entry.to("i32"), tables.table, slot)
            with fn.if_(before.is_not(0)):
                fn.repeat_loop()  # Another thread was faster, with this state or another one.
            self.place.set(fresh + 1)
            self._note(fresh)

        def on_found(number: Value) -> None:
            fresh = number - tables.n_numbered
            with fn.if_((number < tables.n_numbered) ^ 1):
                self._lower(fresh, rank)

        tables.probe(words, fn.load("i64", tables.out_hashes, j), on_free, on_found)

    def _lower(self, fresh: Value, rank: Value) -> None:
        fn = self.fn
        with fn.if_(rank < fn.shared_load("i64", self.ranks, fresh)):
            before = fn.shared_least(rank, self.ranks, fresh)
            with fn.if_(rank < before):
                fn.shared_add(NOWHERE, self.block_news, self.stretch.block_of(before))
                self._note(fresh)


def _number_blocks(portions: Portions) -> str:
    """``number_blocks(shared)``: where the numbers of each block begin, and where they all end."""
    fn = Routine("number_blocks")
    stretch, news = _Stretch(fn, portions), fn.pointer("block_news")
    checkpoints = fn.pointer("checkpoints")
    number = fn.mirror("n_states")
    with fn.count(0, fn.word("n_blocks")) as block:
        first = stretch.first_of(block)
        with fn.if_((first & LAST_IN_CHECKPOINT).is_(0)):
            place = first >> LAST_IN_CHECKPOINT.bit_length()
            fn.store(number.get().to("i32"), checkpoints, place)
        n_news = fn.load("i64", news, block)
        fn.store(number.get(), news, block)
        number.add(n_news)
    fn.leave(number.get())
    return fn.text()


def _settle(n_words: int, portions: Portions) -> str:
    """``settle(shared)``: number the new states of blocks until none is left."""
    fn = Routine("settle")
    tables, tickets, n_blocks = Tables.of(fn, n_words), fn.pointer("tickets"), fn.word("n_blocks")
    words, ranks = fn.pointer("fresh_words"), fn.pointer("fresh_ranks")
    slots, stretch = fn.pointer("fresh_slots"), _Stretch(fn, portions)
    with fn.while_(lambda: fn.const("i1", 1).is_(1)):
        block = fn.shared_add(1, tickets, Ticket.BLOCK)
        with fn.if_((block < n_blocks) ^ 1):
            fn.leave(0)
        number = fn.variable("i64", fn.load("i64", fn.pointer("block_news"), block))
        notes = fn.load("ptr", fn.pointer("block_notes"), block)
        n_notes = fn.load("i64", fn.pointer("block_n_notes"), block)
        with fn.count(0, n_notes) as n:
            fresh = fn.load("i32", notes, n).to("i64")
            fn.prefetch(fn.at("i32", tables.table, fn.load("i64", slots, fresh)))
        with fn.count(0, n_notes) as n:
            fresh = fn.load("i32", notes, n).to("i64")
            owner = stretch.block_of(fn.load("i64", ranks, fresh))
            with fn.if_(owner.is_(block)):
                here, state = fn.at("i64", words, fresh * n_words), tables.state(number.get())
                for k in range(n_words):
                    fn.store(fn.load("i64", here, k), state, k)
                slot = fn.load("i64", slots, fresh)
                number.add(1)
                tag = tables.entry(slot) & (tables.index_mask ^ NOWHERE)
                fn.store((tag | number.get()).to("i32"), tables.table, slot)
    return fn.text()


def _forget() -> str:
    """``forget(shared)``: take out of the table what `discover` has entered."""
    fn = Routine("forget")
    table, slots = fn.pointer("table"), fn.pointer("fresh_slots")
    with fn.count(0, fn.word("n_blocks")) as block:
        notes = fn.load("ptr", fn.pointer("block_notes"), block)
        with fn.count(0, fn.load("i64", fn.pointer("block_n_notes"), block)) as n:
            fresh = fn.load("i32", notes, n).to("i64")
            fn.store(fn.const("i32", 0), table, fn.load("i64", slots, fresh))
    fn.leave(0)
    return fn.text()


def _enter(n_words: int, portions: Portions) -> str:
    """``enter(shared)``: enter numbered states into a new table until none is left.

    Which slot a state gets depends on who comes first; whether and as what it is found does not.
    """
    fn = Routine("enter")
    tables, tickets, n_states = Tables.of(fn, n_words), fn.pointer("tickets"), fn.word("n_states")
    with fn.while_(lambda: fn.const("i1", 1).is_(1)):
        start = fn.shared_add(1, tickets, Ticket.BLOCK) << portions.entered_bits
        with fn.if_((start < n_states) ^ 1):
            fn.leave(0)
        taken = fn.variable("i64", start)
        stop = fn.least(start + (1 << portions.entered_bits), n_states)
        with fn.while_(taken.below(stop)):
            first = taken.get()
            end = fn.least(first + BATCH, stop)
            with fn.count(first, end) as number:
                value = hash_of(fn, n_words, tables.state(number))
                fn.store(value, tables.out_hashes, number - first)
                fn.prefetch(fn.at("i32", tables.table, tables.slot(value)))
            with fn.count(first, end) as number:
                value = fn.load("i64", tables.out_hashes, number - first)
                entry = (tables.tag(value) | (number + 1)).to("i32")
                _claim(fn, tables, value, entry)
            taken.set(end)
    return fn.text()


def _claim(fn: Routine, tables: Tables, hashed: Value, entry: Value) -> None:
    """Enter a state that is not in the table in the first free slot."""
    slot = fn.variable("i64", tables.slot(hashed))
    with fn.while_(lambda: fn.shared_claim(entry, tables.table, slot.get()).is_not(0)):
        following = slot.get() + 1
        slot.set(following.or_else(following < tables.n_slots, 0))
