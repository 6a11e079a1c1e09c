"""All minimal cut sets of every order from one exploration.

Every fault may strike at any moment; the bad states that can be reached are then projected on
the fault flags. A combination of flags in the projection is enough for the accident, and so is
every larger one, as a fault may also not strike. The minimal ones are those from which no flag
can be taken away.

Source: A. Rauzy, "New algorithms for fault trees analysis", Reliability Engineering and System
Safety 40 (1993), for minimal solutions of a diagram; with the projection closed upwards they
are told by one condition for each flag.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import TYPE_CHECKING

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.symbolic.chaining import Search, Step, chained
from interlock.engines.symbolic.diagrams import DEFAULT_BYTES
from interlock.engines.symbolic.encoding import Encoding
from interlock.engines.symbolic.moves import SymbolicMove, copied_variables
from interlock.engines.symbolic.space import LimitError
from interlock.kernel.expr import TRUE, Expr
from interlock.kernel.projected import MOST_SETS, CutSets
from interlock.kernel.query import DeclinedError, Limits, ProgressSink
from interlock.kernel.system import MoveKind, System

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Diagrams, Node


def minimal_cut_sets(
    system: System,
    bad: Expr,
    flags: Sequence[str],
    limits: Limits = NO_LIMITS,
    progress: ProgressSink | None = None,
    most_sets: int = MOST_SETS,
    most_faults: int | None = None,
) -> CutSets:
    """Find every minimal set of `flags` with which a state with `bad` can be reached.

    Parameters
    ----------
    system : System
        With moves that set the flags, as many of them as they like.
    bad : Expr
    flags : sequence of str
        Variables that are 0 at first and that moves, but no scan, only ever set to 1. A set
        stands for what was set when something bad happened, so an event that sets two flags is
        a set of two; give it a flag of its own to count it once.
    limits : Limits
        States are counted where the search keeps them: after scans, if the system has scans.
    progress : callable or None
    most_sets : int
        How many sets to list.
    most_faults : int or None
        Search order by order up to this many faults, leaving out whatever contains a set that
        was found before. Then a limit leaves the sets of the orders that were done. None finds
        all orders at once, which is faster where it can be done at all.

    Raises
    ------
    DeclinedError
        If a flag may go back to 0, or the symbolic engine cannot take the system.
    """
    check_flags(system, flags)
    budget = Budget(limits, progress)
    sets: tuple[tuple[str, ...], ...] = ()
    counts: tuple[int, ...] = ()
    complete_to: int | None = -1
    n_bytes = 0
    try:
        encoding = Encoding(system, copied_variables(system), limits.max_bytes)
        bits = [encoding.bits[system.index[flag]][0] for flag in flags]
        hunt = _Hunt(encoding, bad, bits, budget)
        stages = hunt.at_once() if most_faults is None else hunt.by_order(most_faults)
        for accidents, done_to in stages:
            sets, counts = list_minimal(encoding.diagrams, accidents, bits, flags, most_sets)
            complete_to, n_bytes = done_to, max(n_bytes, encoding.diagrams.n_bytes)
    except LimitError:
        pass
    except MemoryError:
        most = DEFAULT_BYTES if limits.max_bytes is None else limits.max_bytes
        budget.limit = budget.limit or f"bytes {most:,}"
    return CutSets(sets, counts, budget.limit, budget.seconds, n_bytes, complete_to)


def list_minimal(
    dd: Diagrams, accidents: Node, bits: Sequence[int], flags: Sequence[str], most_sets: int
) -> tuple[tuple[tuple[str, ...], ...], tuple[int, ...]]:
    """The minimal sets of a family over `bits`, at most so many, and how many of each order."""
    minimal = minimal_of(dd, accidents, bits)
    listing = Listing(minimal, dict(zip(bits, flags, strict=True)))
    return _sorted(islice(listing.sets(), most_sets), flags), listing.n_by_order


def check_flags(system: System, flags: Sequence[str]) -> None:
    """Raise DeclinedError for a variable that does not tell what struck."""
    for flag in flags:
        variable = system.variable(flag)
        setting = [move for move in system.moves if flag in move.updates]
        if (variable.domain.lo, variable.domain.hi, variable.initial) != (0, 1, 0):
            raise DeclinedError(f"cut sets: {flag} is no flag that is FALSE at first")
        if any(move.updates[flag] is not TRUE for move in setting):
            raise DeclinedError(f"cut sets: {flag} may be reset, so it does not tell what struck")
        if any(move.kind is MoveKind.SCAN for move in setting):
            raise DeclinedError(f"cut sets: {flag} is set by the scan, so it is no fault")


class _Hunt:
    """Finds combinations of flags that are enough, in stages: those so far, and up to where."""

    def __init__(self, encoding: Encoding, bad: Expr, bits: Sequence[int], budget: Budget) -> None:
        self._dd = encoding.diagrams
        self._bits = bits
        self._budget = budget
        moves = [SymbolicMove.of(encoding, move) for move in encoding.system.moves]
        self._search = Search(encoding, moves, self._check)
        self._bad = encoding.truth(bad)

    def at_once(self) -> Iterator[tuple[Node, int | None]]:
        """Everything in one stage."""
        found = self._closed(self._search.start, self._dd.true)
        yield self._accidents(found), None

    def by_order(self, most: int) -> Iterator[tuple[Node, int | None]]:
        """One stage for each number of faults."""
        enough = found = self._dd.false
        for order in range(most + 1):
            few = self._at_most(order)
            # The search may start behind a fault that struck at power-up.
            found = self._closed(found | self._search.start, few & ~enough)
            # More faults than are enough lead to no further minimal set.
            enough = enough | upwards(self._dd, self._accidents(found) & few, self._bits)
            found = found & ~enough
            is_last = not self._leads_into(found, ~few & ~enough)
            yield enough, None if is_last else order
            if is_last:
                return

    def _leads_into(self, found: Node, beyond: Node) -> bool:
        """Whether something of `beyond` is at the start or one step behind `found`."""
        begun = self._search.start | self._search.irregular
        if (begun & beyond).satisfiable():
            return True
        return any(
            (step(found) & beyond).satisfiable()
            for level in reversed(self._search.levels)
            for step in level
        )

    def _closed(self, start: Node, within: Node) -> Node:
        """What can be reached from `start` inside `within`."""

        def inside(step: Step) -> Step:
            return lambda states: step(states) & within

        first = found = start & within
        most = self._budget.limits.max_states
        levels = [[inside(step) for step in level] for level in self._search.levels]
        for found in chained(levels, first):
            n_states = self._search.count(found)
            self._budget.report("exploring", n_states, 0)
            if most is not None and n_states > most:
                self._budget.refuse_state(most)
                raise LimitError
            self._check()
        return found

    def _check(self) -> None:
        self._dd.tidy()
        n_bytes = self._dd.n_bytes if self._budget.limits.max_bytes is not None else 0
        if self._budget.spent(n_bytes):
            raise LimitError

    def _accidents(self, found: Node) -> Node:
        """The combinations of flags in the bad states that `found` stands for."""
        accidents = self._dd.false
        latches = self._dd.positive(self._bits)
        for part in self._search.projected(found, self._bad, latches):
            accidents = accidents | part
            self._check()
        return accidents

    def _at_most(self, n: int) -> Node:
        """Not more than `n` flags are set."""
        rows = [self._dd.true] * (n + 1)
        for bit in sorted(self._bits, reverse=True):
            fewer = [self._dd.false, *rows[:-1]]
            rows = [self._dd.bits[bit].ite(a, b) for a, b in zip(fewer, rows, strict=True)]
        return rows[n]


def _without(dd: Diagrams, node: Node, bit: int) -> Node:
    return node.substitute(dd.substitution([(bit, dd.false)]))


def upwards(dd: Diagrams, family: Node, bits: Sequence[int]) -> Node:
    """The sets that contain one of `family`."""
    for bit in sorted(bits, reverse=True):
        family = family | dd.bits[bit] & _without(dd, family, bit)
    return family


def minimal_of(dd: Diagrams, family: Node, bits: Sequence[int]) -> Node:
    """The minimal elements of a family of sets; every bit is decided in each of them."""
    enough = upwards(dd, family, bits)
    minimal = enough
    for bit in sorted(bits, reverse=True):
        minimal = minimal & ~(dd.bits[bit] & _without(dd, enough, bit))
    return minimal


class Listing:
    """Counts and lists the sets of a family in which every flag is decided."""

    def __init__(self, family: Node, flags: dict[int, str]) -> None:
        self._family = family
        self._flags = flags
        self._counts: dict[Node, tuple[int, ...]] = {}

    @property
    def n_by_order(self) -> tuple[int, ...]:
        """How many sets have 0, 1, 2, … members."""
        return self._count(self._family)

    def _count(self, node: Node) -> tuple[int, ...]:
        if node not in self._counts:
            cofactors = node.cofactors()
            if cofactors is None:
                self._counts[node] = (1,) if node.satisfiable() else ()
            else:
                with_it, without = (self._count(cofactor) for cofactor in cofactors)
                shifted = (0, *with_it) if with_it else ()
                n = max(len(shifted), len(without))
                padded = [(*counts, *(0,) * (n - len(counts))) for counts in (shifted, without)]
                self._counts[node] = tuple(map(sum, zip(*padded, strict=True)))
        return self._counts[node]

    def sets(self) -> Iterator[tuple[str, ...]]:
        """The sets, those with the fewest members first."""
        for order, n_sets in enumerate(self.n_by_order):
            if n_sets:
                yield from self._of_order(self._family, order)

    def _of_order(self, node: Node, order: int) -> Iterator[tuple[str, ...]]:
        counts = self._count(node)
        if order >= len(counts) or not counts[order]:
            return
        cofactors = node.cofactors()
        if cofactors is None:
            yield ()
            return
        bit = node.node_var()
        assert bit is not None
        if order:
            for rest in self._of_order(cofactors[0], order - 1):
                yield (self._flags[bit], *rest)
        yield from self._of_order(cofactors[1], order)


def _sorted(sets: Iterator[tuple[str, ...]], flags: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    place = {flag: number for number, flag in enumerate(flags)}
    ordered = (tuple(sorted(one, key=place.__getitem__)) for one in sets)
    return tuple(sorted(ordered, key=lambda one: (len(one), [place[flag] for flag in one])))
