"""One exploration, kept, that answers many questions about which flags go with what.

The engine's contract is one list of queries for one exploration. A study of faults asks in
rounds, and most of its questions are of one kind: with which combinations of a few variables
does something occur? They are answered here by forgetting everything else first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from copy import copy
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.symbolic.cutsets import check_flags
from interlock.engines.symbolic.diagrams import DEFAULT_BYTES
from interlock.engines.symbolic.exclusive import merged
from interlock.engines.symbolic.forgetting import SIMPLER, may_be_done
from interlock.engines.symbolic.legs import Walk, leads_from_anywhere
from interlock.engines.symbolic.loops import FairLoops, resting
from interlock.engines.symbolic.moves import SymbolicMove
from interlock.engines.symbolic.parts import SearchedParts, made_under, only_where, reached_where
from interlock.engines.symbolic.paths import Paths
from interlock.engines.symbolic.projection import Projection
from interlock.engines.symbolic.settled_runs import AnsweredPaths
from interlock.engines.symbolic.space import LimitError, Space
from interlock.engines.symbolic.traps import Traps
from interlock.engines.symbolic.unflagged import Unflagged
from interlock.kernel.expr import Expr, and_, var
from interlock.kernel.projected import MOST_SETS, CutSets
from interlock.kernel.query import Limits, ProgressSink, Query, Reach, Stay, Trap
from interlock.kernel.system import System
from interlock.kernel.witness import Step, Witness

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

_Asked = TypeVar("_Asked")

# What is worked out once of an exploration, and anew of a part.
_OF_ONE = ("_tame", "_flags_here", "_edge", "_answered", "_resting", "_traps", "_unflagged")


class Explored:
    """Everything reachable in a system, explored when built, up to the limits.

    What it answers is told by `kernel.projected.Projected`.

    Parameters
    ----------
    system : System
    flags : sequence of str
        Variables that moves only ever set; they tell which faults have struck.
    limits : Limits
    progress : callable, optional

    Attributes
    ----------
    n_states : int
        Reachable states, so far where a limit was hit.
    limit : str or None
        The limit that was hit; then there are no answers.

    Raises
    ------
    DeclinedError
        If a flag may go back to 0, or the symbolic engine cannot take the system.
    """

    def __init__(
        self,
        system: System,
        flags: Sequence[str],
        limits: Limits = NO_LIMITS,
        progress: ProgressSink | None = None,
    ) -> None:
        check_flags(system, flags)
        self._merged = merged(system)
        self._own = system
        self.system = system if self._merged is None else self._merged.system
        self.flags = tuple(flags)
        self._budget = Budget(limits, progress)
        self._space: Space | None = None
        self._violating: dict[Query, Node] = {}
        self._ruled_out: set[Query] = set()
        self._within: dict[Stay, Node] = {}
        self._lasts: dict[Stay, Node] = {}
        self._may_be_set = self.flags
        # By flags, the same with no other ever set.
        self._with: dict[tuple[str, ...], Explored] = {}
        self._all: Explored | None = None
        self._searched = SearchedParts()
        # Of a part, where no flag is set that it leaves out.
        self._among: Node | None = None
        # The moves out of a part, each only where it leads out.
        self._leading_out: tuple[SymbolicMove, ...] = ()
        # Of a part where moves are allowed and where they are made, until it is looked for.
        self._to_reach: tuple[dict[str, Node], dict[str, Node]] | None = None
        self.n_states = 1
        try:
            # Rings are for runs; what is asked here needs only the set.
            self._space = Space(self.system, self._budget, breadth_first_work=0)
            self._space.explore()
        except LimitError:
            pass
        except MemoryError:
            self._note_memory()
        if self._space is not None:
            self.n_states = self._space.n_reached

    @property
    def limit(self) -> str | None:
        """The limit that was hit, in the exploration or in an answer since."""
        return self._budget.limit

    @property
    def seconds(self) -> float:
        """Wall time since the exploration began."""
        return self._budget.seconds

    def _within_limits(self, answer: Callable[[], _Asked | None]) -> _Asked | None:
        """An answer; None where a limit was hit before there was one."""
        try:
            return answer()
        except LimitError:
            return None
        except MemoryError:
            self._note_memory()
            return None

    def _note_memory(self) -> None:
        most = self._budget.limits.max_bytes
        self._budget.limit = self._budget.limit or (
            f"bytes {DEFAULT_BYTES if most is None else most:,}"
        )

    def minimal_sets(
        self, *queries: Query, most_sets: int = MOST_SETS, among: Sequence[str] | None = None
    ) -> CutSets:
        """The minimal sets of flags with which one of `queries` is found."""
        before = self._budget.seconds
        try:
            dd, seen = self._whole().diagrams, self._seen
            among = self.flags if among is None else among
            unset = seen.unset(flag for flag in self.flags if flag not in among)
            found = [self._flags_of(self._asked(query)) & unset for query in queries]
            enough = dd.disjunction([seen.forgotten(states, among) for states in found])
            sets, counts = seen.minimal_sets(enough, among, most_sets)
            return CutSets(sets, counts, None, self._budget.seconds - before, dd.n_bytes)
        except LimitError:
            pass
        except MemoryError:
            self._note_memory()
        return CutSets((), (), self.limit, self._budget.seconds - before, 0)

    def occurring(
        self, query: Query, names: Sequence[str] | None = None
    ) -> tuple[tuple[int, ...], ...] | None:
        """Which values some variables take together where `query` is found, sorted."""
        names = self.flags if names is None else names
        only_flags = set(names) <= set(self.flags)
        found_by = self._flags_of if only_flags else self._violations
        return self._within_limits(lambda: self._seen.rows(found_by(self._asked(query)), names))

    def without_flags(self, where: Expr, names: Sequence[str], n_scans: int) -> Expr | None:
        """A condition: these variables have the values that they take somewhere without a flag."""
        return self._within_limits(
            lambda: self._unflagged.condition(self._asked(where), names, n_scans)
        )

    @cached_property
    def _unflagged(self) -> Unflagged:
        return Unflagged(self._whole(), self._seen, self.flags)

    def nearest(self, target: Expr) -> Witness | None:
        """A run to a state with `target` in which a scan answers each move, see `AnsweredPaths`.

        Where no such run leads there, and in a part, one of the fewest moves. None where there is
        no such run, or a limit was hit before a shortest was found.
        """
        steps = self._within_limits(lambda: self._steps_to(self._asked(target)))
        if steps is None:
            return None
        run = Witness(self.system.initial, tuple(steps))
        return run if self._merged is None else self._merged.run(run)

    def _steps_to(self, target: Expr) -> list[Step] | None:
        space = self._whole()
        # Runs by which scans answer moves are not held to what is allowed in a part.
        paths = self._answered if self._all is None else Paths(space)
        return paths.to_nearest(space.encoding.truth(target))

    @cached_property
    def _answered(self) -> AnsweredPaths:
        return AnsweredPaths(self._whole())

    def _whole(self) -> Space:
        space = self._any_space()
        if self._to_reach is not None:
            assert self._all is not None
            assert self._among is not None
            allowed, made = self._to_reach
            space.reached, space.chained = reached_where(
                self._all._whole(),
                allowed,
                made,
                self._all._seen.unset(self.flags),
                self._among,
                self._all._searched.inside(allowed),
            )
            self._to_reach = None
            self._all._searched.note(allowed, space)
        return space

    def _any_space(self) -> Space:
        """The space; of a part maybe not yet with what is reached."""
        if self._space is None or not self._space.is_complete:
            raise LimitError
        return self._space

    def _asked(self, asked: _Asked) -> _Asked:
        """A query or an expression over the variables that were explored."""
        return asked if self._merged is None else self._merged.asked(asked)

    @cached_property
    def _seen(self) -> Projection:
        return Projection(self._whole().encoding, self._merged)

    def _flags_of(self, query: Query) -> Node:
        """A set in which the flags take the values together with which a query is found."""
        match query:
            case Trap(goal) if self._on_the_whole._traps.keep_flags:
                here = self._whole().reached | self._edge
                under = self._flags_here & self._may_have(query)
                return self._on_the_whole._traps.among(goal, here, under)
            case Stay() if query not in self._violating:
                return self._lasting_with_flags(query)
            case _:
                return self._violations(query)

    def rule_out(self, queries: Iterable[Query]) -> None:
        """Take as known that these are found in no state without any flag."""
        self._ruled_out.update(map(self._asked, queries))

    def _may_have(self, query: Query) -> Node:
        """Where a query may be found, as far as flags tell."""
        space = self._whole()
        is_known = query in self._ruled_out
        return ~self._seen.unset(self.flags) if is_known else space.diagrams.true

    @property
    def _on_the_whole(self) -> Explored:
        """What this is a part of, or itself: ways on may leave a part."""
        return self if self._all is None else self._all._on_the_whole

    @cached_property
    def _flags_here(self) -> Node:
        """The values that the flags take together."""
        return self._seen.forgotten(self._whole().reached | self._edge, self.flags)

    def _violations(self, query: Query) -> Node:
        if query not in self._violating:
            self._violating[query] = self._find(query)
        return self._violating[query]

    def _find(self, query: Query) -> Node:
        if isinstance(query, Stay):
            return self._lasting(query)
        space = self._whole()
        match query:
            case Reach(target, ()):
                return (space.reached | self._edge) & space.encoding.truth(target)
            case Reach():
                return self._along(space, query)
            case Trap(goal):
                if self._all is not None:
                    return self._all._violations(query) & (space.reached | self._edge)
                return self._traps.under(goal, space.diagrams.true)
            case _:
                raise TypeError(f"{type(query).__name__} is never found")

    def _along(self, space: Space, query: Reach) -> Node:
        """Where runs along legs end in the target, one move beyond a part included."""
        around = copy(space)
        around.reached = space.reached | self._edge
        around.moves = self._on_the_whole._whole().moves
        found = may_be_done(
            around, query, self._seen.bits_of(self.flags), around.reached.node_count() // SIMPLER
        )
        if found is not None:
            found = found & self._may_have(query)
            if not found.satisfiable():
                return found
            with_these = tuple(flag for flag in self._may_be_set if self._seen.has(found, flag))
            if not self._leading_out and len(with_these) < len(self._may_be_set):
                return self._only_with(with_these)._violations(query)
        if not self._leading_out and not leads_from_anywhere(space, query):
            return space.diagrams.false
        walk = Walk(space, query.along)
        wanted = space.encoding.truth(query.target)
        return wanted & (walk.done | walk.done_beyond(self._leading_out))

    def _only_with(self, flags: tuple[str, ...]) -> Explored:
        if flags not in self._with:
            self._with[flags] = self._part({}, flags)
        return self._with[flags]

    def _lasting(self, query: Stay) -> Node:
        """Where fair endless runs go on for ever that stay from a start on."""
        known: Node | None = None
        if self._all is not None and self._among is not None:
            # What goes on for ever in a part does so in all. Mostly nothing is left of that with
            # the moves of the part, and then it need not be known what the part reaches.
            known = FairLoops(self._tame, self._all._violations(query) & self._among).core
            if not known.satisfiable():
                return known
        within = self._staying(query)
        return FairLoops(self._tame, within if known is None else within & known).core

    def _staying(self, query: Stay) -> Node:
        """All states in which a run may be that stays from a start on."""
        if query not in self._within:
            space = self._whole()
            starts = Walk(space, query.along).done if query.along else None
            _, self._within[query] = space.lasting(query.start, query.stay, starts)
        return self._within[query]

    def _lasting_with_flags(self, query: Stay) -> Node:
        """As `_flags_of`, for what goes on for ever."""
        if query not in self._lasts:
            self._lasts[query] = self._found_lasting(query)
        return self._lasts[query]

    def _found_lasting(self, query: Stay) -> Node:
        """Some of `_lasting`, with each value of the flags that it has.

        Mostly a run goes on for ever where nothing happens any more, and such states are soon
        found; loops are only looked for under the flags that none of them has.
        """
        may: Node | None = None
        if self._all is not None and self._among is not None and self._to_reach is not None:
            # What goes on for ever in a part does so in all. Where nothing of that is left with
            # the moves of the part, it need not be known what the part reaches.
            flags = self._all._seen.forgotten(self._all._lasting_with_flags(query), self.flags)
            may = FairLoops(self._tame, self._all._staying(query) & self._among & flags).core
            if not may.satisfiable():
                return may
        within = self._staying(query)
        within = within if may is None else within & may
        shown = within & self._resting
        left = within & ~self._seen.forgotten(shown, self.flags) & self._may_have(query)
        return shown | FairLoops(self._tame, left).core if left.satisfiable() else shown

    @cached_property
    def _resting(self) -> Node:
        # What rests in a part rests in all, where moves are made in more states and owed as often.
        return resting(self._tame, None if self._all is None else self._all._resting)

    def part(
        self, allowed: Mapping[str, Expr], among: Sequence[str] | None = None
    ) -> Explored | None:
        """As much as is reached by moves that are made only where they are allowed.

        It is looked for once a question needs it. None where a limit was hit.
        """
        return self._within_limits(
            lambda: self._part(allowed, self.flags if among is None else among)
        )

    def _part(self, allowed: Mapping[str, Expr], among: Sequence[str]) -> Explored:
        whole = self._whole()
        truth = whole.encoding.truth
        where = {name: truth(self._asked(expr)) for name, expr in allowed.items()}
        # A flag is only ever set: what sets another one is not made at all.
        others = [flag for flag in self.flags if flag not in among]
        shut_off = {m.name for m in self._own.moves if not m.updates.keys().isdisjoint(others)}
        made = {**where, **dict.fromkeys(shut_off, whole.diagrams.false)}
        new = copy(self)
        for kept in _OF_ONE:
            new.__dict__.pop(kept, None)
        new._violating, new._within, new._lasts, new._with = {}, {}, {}, {}
        new._searched = SearchedParts()
        new._all = self
        new._may_be_set = tuple(flag for flag in self._may_be_set if flag in among)
        new._among = self._seen.unset(others)
        new._space = copy(whole)
        new._space.moves = only_where(made, whole.moves)
        new._space.forget_rings()
        new._leading_out = tuple(
            move.restricted(~where[move.name])
            for move in whole.moves
            if move.name in where and move.name not in shut_off
        )
        new._to_reach = (where, made)
        return new

    @cached_property
    def _edge(self) -> Node:
        """What one move beyond a part leads to; nothing of the whole."""
        space = self._whole()
        return space.diagrams.disjunction(m.image(space.reached) for m in self._leading_out)

    @cached_property
    def _traps(self) -> Traps:
        return Traps(self._whole(), self._seen, self.flags)

    @cached_property
    def _tame(self) -> Space:
        """The explored space, its moves only as far as they set no flag that is not set already.

        Nothing has to strike: what goes on for ever, and a way on, must do without.
        """
        conditions = {
            move.name: self._asked(and_(*(var(f) for f in self.flags if f in move.updates)))
            for move in self._own.moves
        }
        return made_under(self._any_space(), self.system, conditions)
