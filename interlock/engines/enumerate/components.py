"""Compiled searches over an explored space: strongly connected components, sweeps and paths.

The components are found by one depth-first search that keeps 32 bits a state, after D. Pearce,
"A space-efficient algorithm for finding strongly connected components", 2016 (from memory). The
successors of a state are computed when it is met and once more after each return to it; as a
state is entered once, that is twice for each state in all.
"""

from __future__ import annotations

from interlock.engines.enumerate.context import Routine
from interlock.engines.enumerate.ir import Value, Variable
from interlock.engines.enumerate.runtime import NOWHERE, Tables

# Flags of a state while loops are looked for.
STAYS, STARTS, ON_LOOP, VISITED = 1, 2, 4, 8
# What `trap` and `stay` return.
FINISHED, UNFINISHED, FOUND = 0, 1, 2

_BELOW = 1 << 15  # in a frame's position: the state leads to one further down the stack


def analysis_text(n_words: int, kind: type[Tables] = Tables) -> str:
    """IR of the routines that look for traps and loops, by tables of a kind."""
    routines = [_mark(), *(text(n_words, kind) for text in (_sweep, _search, _is_fair))]
    routines += [components_text(n_words, kind, search) for search in (_Traps(), _Stays())]
    return "\n".join(routines)


def _sweep(n_words: int, kind: type[Tables]) -> str:
    """``sweep(shared, first, stop, backward)``: hand flags back from successors to states.

    Returns how many states of the range lack flags afterwards. What was not explored has all.
    """
    fn = Routine("sweep", ["i64", "i64", "i64"])
    tables = kind.of(fn, n_words)
    _, first, stop, backward = fn.args
    flags, full = fn.pointer("flags"), fn.word("full").to("i8")
    n_lacking = fn.variable("i64", 0)

    def lacks(number: Value) -> Value:
        return fn.load("i8", flags, number).is_not(full)

    with tables.in_batches(first, stop, backward, lacks) as (number, j, end):
        bits = fn.variable("i8", fn.load("i8", flags, number))
        with fn.while_(j.below(end)):
            target = tables.found(j.get())
            j.add(1)
            with fn.if_(target.is_(NOWHERE)):
                bits.set(full)
                fn.repeat_loop()
            bits.set(bits.get() | fn.load("i8", flags, target))
        fn.store(bits.get(), flags, number)
        n_lacking.add(bits.get().is_not(full).to("i64"))
    fn.leave(n_lacking.get())
    return fn.text()


class Search:
    """What a depth-first search for components makes of the states and steps that it meets.

    Nothing, where a kind does not say otherwise.
    """

    name: str

    def is_root(self, fn: Routine, flags: Value) -> Value:
        """Whether the search starts from a state with these flags."""
        raise NotImplementedError

    def enters(self, fn: Routine, flags: Value) -> Value:
        """Whether it goes on into a state with these flags."""
        raise NotImplementedError

    def on_unexplored(self, fn: Routine, number: Value) -> None:
        """A step leads from a state to one that was not explored."""

    def hand_over(
        self, fn: Routine, number: Value, move: Value, target: Value, mark: Value
    ) -> None:
        """A state gets what it is to know of the target that one of its moves leads to.

        The target has been gone into, or never will be: then its `mark` is 0. Where the target
        belongs to the same component this may come before all is known of it; what is known in
        the end the last state of the component has been handed all the same.
        """

    def member(self, fn: Routine, number: Value, member: Value) -> None:
        """A component is complete: a member gets what its last state `number` knows."""

    def complete(self, fn: Routine, number: Value, first: Value, stop: Value) -> None:
        """All of these places of the stack, the last of them `number`, are one component."""


def components_text(n_words: int, kind: type[Tables], search: Search) -> str:
    """``NAME(shared, budget)``: a depth-first search, resumable.

    It visits the roots, in their order, and what the search goes on into from them.
    """
    fn = Routine(search.name, ["i64"])
    tables = kind.of(fn, n_words)
    left = fn.variable("i64", fn.args[1])
    with fn.while_(lambda: left.get().is_not(0)):
        left.set(left.get() - 1)
        with fn.if_(fn.word("n_frames").is_(0)):
            _next_root(fn, search)
            fn.repeat_loop()
        depth = fn.word("n_frames") - 1
        number = fn.load("i32", fn.pointer("frames"), depth).to("i64")
        position = fn.load("i16", fn.pointer("positions"), depth).to("i64")
        below = fn.variable("i64", position & _BELOW)
        count = tables.expanded(number, 0)
        first = position & (_BELOW - 1)
        tables.fetch_ahead(first, count)
        j = fn.variable("i64", first)
        descends = fn.variable("i1", 0)
        with fn.while_(lambda: j.get() < count):
            _follow(fn, tables, search, number, depth, j, below, descends)
        with fn.if_(descends.get()):
            fn.repeat_loop()
        fn.put("n_frames", depth)
        _close(fn, search, number, below.get())
    fn.leave(UNFINISHED)
    return fn.text()


class _Traps(Search):
    """Visits the states that lack flags and completes these."""

    name = "trap"

    def is_root(self, fn: Routine, flags: Value) -> Value:
        return flags.is_not(fn.word("full").to("i8"))

    enters = is_root

    def on_unexplored(self, fn: Routine, number: Value) -> None:
        fn.store(fn.word("full").to("i8"), fn.pointer("flags"), number)

    def hand_over(
        self, fn: Routine, number: Value, _move: Value, target: Value, _mark: Value
    ) -> None:
        flags = fn.pointer("flags")
        bits = fn.load("i8", flags, target)
        fn.store(fn.load("i8", flags, number) | bits, flags, number)

    def member(self, fn: Routine, number: Value, member: Value) -> None:
        flags = fn.pointer("flags")
        fn.store(fn.load("i8", flags, number), flags, member)


class _Stays(Search):
    """Visits what can be reached from STARTS through STAYS and stops at a fair component."""

    name = "stay"

    def is_root(self, _fn: Routine, flags: Value) -> Value:
        return (flags & STARTS).is_not(0)

    def enters(self, _fn: Routine, flags: Value) -> Value:
        return (flags & STAYS).is_not(0)

    def complete(self, fn: Routine, number: Value, first: Value, stop: Value) -> None:
        # The members are still on the stack, only no longer counted; the last joins them.
        fn.store(number.to("i32"), fn.pointer("stack"), stop - 1)
        is_fair = fn.call("@is_fair", [fn.shared, first, stop])
        with fn.if_(is_fair.is_not(0)):
            fn.put("cursor", number)
            fn.leave(FOUND)


def _push(fn: Routine, number: Value) -> None:
    depth, marks, visit = fn.word("n_frames"), fn.pointer("marks"), fn.word("visit")
    fn.store(number.to("i32"), fn.pointer("frames"), depth)
    fn.store(fn.const("i16", 0), fn.pointer("positions"), depth)
    fn.store(visit.to("i32"), marks, number)
    fn.put("visit", visit + 1)
    fn.put("n_frames", depth + 1)
    with fn.if_(fn.word("most_frames") < depth + 1):
        fn.put("most_frames", depth + 1)


def _next_root(fn: Routine, search: Search) -> None:
    cursor = fn.word("cursor")
    with fn.if_(cursor.is_(fn.word("n_roots"))):
        fn.leave(FINISHED)
    fn.put("cursor", cursor + 1)
    root = fn.variable("i64", cursor)
    with fn.if_(fn.word("roots").is_not(0)):
        root.set(fn.load("i32", fn.pointer("roots"), cursor).to("i64"))
    number = root.get()
    wanted = search.is_root(fn, fn.load("i8", fn.pointer("flags"), number))
    with fn.if_(wanted & fn.load("i32", fn.pointer("marks"), number).is_(0)):
        _push(fn, number)


def _follow(
    fn: Routine,
    tables: Tables,
    search: Search,
    number: Value,
    depth: Value,
    j: Variable,
    below: Variable,
    descends: Variable,
) -> None:
    """Follow one successor; where it is new, leave the loop and come back to it later."""
    marks, target = fn.pointer("marks"), tables.found(j.get())
    with fn.if_(target.is_(NOWHERE)):
        search.on_unexplored(fn, number)
        j.add(1)
        fn.repeat_loop()
    mark = fn.load("i32", marks, target)
    is_new = mark.is_(0)
    enters = search.enters(fn, fn.load("i8", fn.pointer("flags"), target))
    with fn.if_(is_new & enters):
        fn.store((j.get() | below.get()).to("i16"), fn.pointer("positions"), depth)
        _push(fn, target)
        descends.set(1)
        fn.leave_loop()
    search.hand_over(fn, number, tables.move(j.get()), target, mark)
    is_lower = mark < fn.load("i32", marks, number)
    with fn.if_(is_lower & (is_new ^ 1)):
        fn.store(mark, marks, number)
        below.set(_BELOW)
    j.add(1)


def _close(fn: Routine, search: Search, number: Value, below: Value) -> None:
    """All successors are done: complete a component, or wait for the one this belongs to."""
    marks, stack = fn.pointer("marks"), fn.pointer("stack")
    with fn.if_(below.is_not(0)):
        n_stack = fn.word("n_stack")
        fn.store(number.to("i32"), stack, n_stack)
        fn.put("n_stack", n_stack + 1)
        with fn.if_(fn.word("most_stack") < n_stack + 1):
            fn.put("most_stack", n_stack + 1)
        fn.repeat_loop()
    component = fn.word("component").to("i32")
    fn.put("component", fn.word("component") - 1)
    own = fn.load("i32", marks, number)
    before = fn.word("n_stack")
    top = fn.variable("i64", before)
    with fn.while_(lambda: top.get().is_not(0)):
        member = fn.load("i32", stack, top.get() - 1).to("i64")
        with fn.if_(fn.load("i32", marks, member) < own):
            fn.leave_loop()
        fn.store(component, marks, member)
        search.member(fn, number, member)
        top.set(top.get() - 1)
    fn.store(component, marks, number)
    size = before - top.get()
    fn.put("n_stack", top.get())
    fn.put("visit", fn.word("visit") - size - 1)
    search.complete(fn, number, top.get(), before + 1)


def _or_unowed(fn: Routine, tables: Tables, number: Value, into: Value) -> None:
    """Add the fair moves that a state does not owe to the bits at `into`."""
    state = tables.state(number)
    fn.call(fn.pointer("unowed").name, [state, into])


def _bit_of_move(fn: Routine, move: Value) -> tuple[Value, Value]:
    """Whether a move is fair, and its number among the fair ones."""
    bit = fn.load("i16", fn.pointer("fair_bits"), move)
    return bit.is_not(0xFFFF), bit.to("i64")


def _is_fair(n_words: int, kind: type[Tables]) -> str:
    """``is_fair(shared, first, stop)``: whether the component of these stack places is fair."""
    fn = Routine("is_fair", ["i64", "i64"])
    tables = kind.of(fn, n_words)
    _, first, stop = fn.args
    stack, marks, paid = fn.pointer("stack"), fn.pointer("marks"), fn.pointer("paid")
    fair_words = fn.word("fair_words")
    with fn.count(0, fair_words) as n:
        fn.store(fn.const("i64", 0), paid, n)
    has_step = fn.variable("i1", 0)
    alone = (stop - first).is_(1)
    with fn.count(first, stop) as place:
        number = fn.load("i32", stack, place).to("i64")
        count = tables.expanded(number, 0)
        with fn.if_(count.is_(0)):
            fn.leave(1)
        _or_unowed(fn, tables, number, paid)
        component = fn.load("i32", marks, number)
        with fn.if_(alone ^ 1):
            tables.fetch_ahead(0, count)
        with fn.count(0, count) as j:
            inside = fn.variable("i1", tables.leads_back(number, j))
            with fn.if_((inside.get() | alone) ^ 1):
                target = tables.found(j)
                with fn.if_(target.is_not(NOWHERE)):
                    inside.set(fn.load("i32", marks, target).is_(component))
            with fn.if_(inside.get()):
                has_step.set(1)
                is_fair, bit = _bit_of_move(fn, tables.move(j))
                with fn.if_(is_fair):
                    old = fn.load("i64", paid, bit >> 6)
                    fn.store(old | (fn.const("i64", 1) << (bit & 63)), paid, bit >> 6)
    with fn.if_(has_step.get() ^ 1):
        fn.leave(0)
    wanted = fn.pointer("pending")
    with fn.count(0, fair_words) as n:
        missing = fn.load("i64", wanted, n) & (fn.load("i64", paid, n) ^ NOWHERE)
        with fn.if_(missing.is_not(0)):
            fn.leave(0)
    fn.leave(1)
    return fn.text()


def _mark() -> str:
    """``mark(shared, component)``: flag its states as being on the loop."""
    fn = Routine("mark", ["i64"])
    component = fn.args[1].to("i32")
    flags, marks = fn.pointer("flags"), fn.pointer("marks")
    with fn.count(0, fn.word("n_states")) as number:
        inside = fn.load("i32", marks, number).is_(component)
        with fn.if_(inside):
            fn.store(fn.load("i8", flags, number) | ON_LOOP, flags, number)
    fn.leave(0)
    return fn.text()


def _search(n_words: int, kind: type[Tables]) -> str:
    """``search(shared, source, inside, target, paying)``: a shortest path.

    It runs through states with the flag `inside` to the nearest state with the flag `target`,
    or, where `paying` is not 0, to the nearest one that pays a pending fair move: by not owing
    it or by a step inside that takes it. `frames` are left with the predecessors.
    Returns the state's index, or NOWHERE.
    """
    fn = Routine("search", ["i64", "i64", "i64", "i64"])
    tables = kind.of(fn, n_words)
    _, source, inside, target_flag, paying = fn.args
    flags, queue, came = fn.pointer("flags"), fn.pointer("stack"), fn.pointer("frames")
    inside, target_flag = inside.to("i8"), target_flag.to("i8")

    def visit(number: Value, length: Variable) -> None:
        fn.store(fn.load("i8", flags, number) | VISITED, flags, number)
        fn.store(number.to("i32"), queue, length.get())
        length.add(1)

    length, head = fn.variable("i64", 0), fn.variable("i64", 0)
    visit(source, length)
    result = fn.variable("i64", NOWHERE)
    with fn.while_(lambda: head.get() < length.get()):
        number = fn.load("i32", queue, head.get()).to("i64")
        head.add(1)
        with fn.if_((fn.load("i8", flags, number) & target_flag).is_not(0)):
            result.set(number)
            fn.leave_loop()
        count = tables.expanded(number, 0)
        tables.fetch_ahead(0, count)
        with fn.if_(paying.is_not(0)):
            pays = _pays(fn, tables, number, count, inside)
            with fn.if_(pays):
                result.set(number)
                fn.leave_loop()
        with fn.count(0, count) as j:
            found = tables.found(j)
            with fn.if_(found.is_not(NOWHERE)):
                is_new = (fn.load("i8", flags, found) & (inside | VISITED)).is_(inside)
                with fn.if_(is_new):
                    fn.store(number.to("i32"), came, found)
                    visit(found, length)
    with fn.count(0, length.get()) as place:
        number = fn.load("i32", queue, place).to("i64")
        kept = fn.load("i8", flags, number) & (0xFF ^ VISITED)
        fn.store(kept, flags, number)
    fn.leave(result.get())
    return fn.text()


def _pays(fn: Routine, tables: Tables, number: Value, count: Value, inside: Value) -> Value:
    paid, pending, fair_words = fn.pointer("paid"), fn.pointer("pending"), fn.word("fair_words")
    flags = fn.pointer("flags")
    with fn.count(0, fair_words) as n:
        fn.store(fn.const("i64", 0), paid, n)
    _or_unowed(fn, tables, number, paid)
    with fn.count(0, count) as j:
        found = tables.found(j)
        is_fair, bit = _bit_of_move(fn, tables.move(j))
        with fn.if_(is_fair & found.is_not(NOWHERE)):
            stays_in = (fn.load("i8", flags, found) & inside).is_not(0)
            with fn.if_(stays_in):
                old = fn.load("i64", paid, bit >> 6)
                fn.store(old | (fn.const("i64", 1) << (bit & 63)), paid, bit >> 6)
    pays = fn.variable("i1", 0)
    with fn.count(0, fair_words) as n:
        both = fn.load("i64", paid, n) & fn.load("i64", pending, n)
        pays.set(pays.get() | both.is_not(0))
    return pays.get()
